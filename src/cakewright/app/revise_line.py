"""A customer sends a new revision of a line that was ordered: what it means depends on where its pieces are.

Nothing is changed by asking. The answer holds an offer for all pieces in the new revision; kept and accepted like any
other it becomes an order line, while what was made of the old revision stays in the books.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from pathlib import Path

from cakewright.app.begun_tasks import begun_tasks
from cakewright.app.effort import Effort
from cakewright.app.intake import read_part
from cakewright.app.progress import Progress, quiet
from cakewright.app.quotes import make_offer
from cakewright.documents.words import moment
from cakewright.errors import InputError
from cakewright.model.offer import Offer
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.parts.signature import is_same_part, signature
from cakewright.store.schedule import Progress as Noted

CENT = Decimal("0.01")


class Stage(StrEnum):
    """How far pieces are. Values are words on the page."""

    POOLED = "pooled"  # ordered, in no build
    NESTED = "nested"  # in a build that is not loaded yet
    PRINTING = "printing"  # loaded or printing: nobody takes them out
    PRINTED = "printed"  # in a cake, on a tray, or further


BEGUN = (Stage.PRINTING, Stage.PRINTED)


@dataclass(frozen=True, slots=True)
class StageShare:
    """Pieces of the line at one stage. `build` is empty for pooled ones; `lost` is what they have cost so far."""

    stage: Stage
    build: str
    pieces: int
    lost: Decimal
    effect: str


@dataclass(frozen=True, eq=False)
class RevisionChange:
    """What the new file would change. `offer` prices and dates all pieces in the new revision."""

    line: OrderLine
    revised: OrderLine
    same_shape: bool
    shares: tuple[StageShare, ...]
    unit_before: Decimal
    offer: Offer
    currency: str

    @property
    def lost(self) -> Decimal:
        """Cost of the pieces that are made, or being made, in the old revision."""
        return sum((s.lost for s in self.shares), Decimal(0)).quantize(CENT)

    @property
    def unit_after(self) -> Decimal:
        """Likely price of one piece in the new revision."""
        return (self.offer.likely / self.offer.quantity).quantize(CENT)


def revise_line(
    plan: WeekPlan,
    number: int,
    file: Path,
    revision: str,
    *,
    now: datetime,
    clock: Callable[[], float],
    noted: Sequence[Noted] = (),
    effort: Effort | None = None,
    progress: Progress = quiet,
    seed: int = 1,
) -> RevisionChange:
    """What a new revision of line `number` means at `now`; nothing is changed.

    `noted` says what people noted of the builds; without a note a task has begun when its planned start is past. A
    build that has begun keeps the old pieces: they are paid for and not wanted. InputError when the line is not in
    the plan, or neither revision nor file have changed.
    """
    line = next((one for one in plan.orders.lines if one.line == number), None)
    if line is None:
        raise InputError(f"there is no line {number} in plan {plan.version}", remedy="choose a line of the plan")
    revised = replace(line, revision=revision.strip(), file=file.name)
    offer = make_offer(
        file, revised, plan.cell, plan, now=now, clock=clock, wanted=line.due, effort=effort, progress=progress,
        seed=seed,
    )  # fmt: skip
    old = plan.parts[plan.part_of_line[number]] if number in plan.part_of_line else None
    if old is not None and old.origin.sha256 == offer.file_sha256 and revised.revision == line.revision:
        raise InputError(
            f"{line.key}: file and revision are the ones that were ordered", remedy="send the file of the new revision"
        )
    return RevisionChange(
        line, revised, old is not None and _same_shape(old, file, revised, plan), stage_shares(plan, line, now, noted),
        _unit_before(plan, line), offer, plan.cell.rates.currency,
    )  # fmt: skip


def stage_shares(plan: WeekPlan, line: OrderLine, now: datetime, noted: Sequence[Noted]) -> tuple[StageShare, ...]:
    """Where the pieces of a line are, by build in the order of their loading, and what a new revision does there."""
    facts = {(t.build, t.kind): t for t in begun_tasks(plan, now, noted)[0]}
    unit = _cost_of_piece(plan, line)
    shares, placed = [], 0
    for build in sorted(plan.builds_of(line.line), key=lambda b: _loading(plan, b.key)):
        count = len(build.pieces_of(line.line))
        placed += count
        stage = _stage(facts, build.key, now)
        lost = (unit * count).quantize(CENT) if stage in BEGUN else Decimal(0)
        shares.append(StageShare(stage, build.key, count, lost, _effect(plan, stage, build.key, line)))
    left = line.quantity - placed
    if left > 0:
        shares.append(StageShare(Stage.POOLED, "", left, Decimal(0), _effect(plan, Stage.POOLED, "", line)))
    return tuple(shares)


def _stage(facts: dict[tuple[str, TaskKind], Task], build: str, now: datetime) -> Stage:
    printed = facts.get((build, TaskKind.PRINT))
    if printed is not None and printed.end <= now:
        return Stage.PRINTED
    return Stage.PRINTING if printed is not None or (build, TaskKind.LOAD) in facts else Stage.NESTED


def _loading(plan: WeekPlan, build: str) -> datetime:
    return min((t.start for t in plan.schedule.of_build(build)), default=plan.start)


def _effect(plan: WeekPlan, stage: Stage, build: str, line: OrderLine) -> str:
    old = f"revision {line.revision}" if line.revision else "the old revision"
    if stage is Stage.POOLED:
        return "in no build: the new file takes the place of the old one, nothing is lost"
    if stage is Stage.NESTED:
        when = moment(_loading(plan, build), plan.cell.zone)
        return (
            f"{build} is loaded {when}: nest and plan again before; its map, labels, travellers and machine file of "
            f"plan {plan.version} are void"
        )
    if stage is Stage.PRINTING:
        return f"cannot be taken out of {build}: they come out as {old}; keep them apart at break-out"
    return f"are there as {old}: keep them apart; ask whether the customer takes them"


def _cost_of_piece(plan: WeekPlan, line: OrderLine) -> Decimal:
    cost = next((c for c in plan.costs if c.line == line.line), None)
    pieces = sum(len(b.pieces_of(line.line)) for b in plan.builds_of(line.line))
    return Decimal(str(cost.total)) / pieces if cost is not None and pieces else Decimal(0)


def _unit_before(plan: WeekPlan, line: OrderLine) -> Decimal:
    return (_cost_of_piece(plan, line) * Decimal(str(1 + plan.cell.rates.margin))).quantize(CENT)


def _same_shape(old: Part, file: Path, line: OrderLine, plan: WeekPlan) -> bool:
    """Is it the old shape in a new file, so that only papers change?"""
    return is_same_part(signature(old.mesh), signature(read_part(line, plan.cell, file).mesh))
