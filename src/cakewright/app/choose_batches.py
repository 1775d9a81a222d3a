"""Which batches to build: proposals judged by real nests and a real calendar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from cakewright.app.batch_lines import BatchInput, batch_input, propose
from cakewright.app.draft_batches import Draft, Drafts
from cakewright.app.effort import Effort
from cakewright.app.move_lines import move_lines
from cakewright.app.plan_build import Batch, bulk_litres
from cakewright.app.plan_dates import build_job, line_job
from cakewright.app.progress import Progress
from cakewright.model.cell import Cell
from cakewright.model.mesh import FloatArray
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.sources.plan import BUILD_PRICE_H

ROUNDS = 6  # proposals a material may need before what does not fit simply goes into further builds
LEARNING_ROUNDS = 2  # the first proposal knows nothing about these parts: its nests correct the heights of the second
PRICES = (1.0, 0.25, 4.0)  # times the build price: fewer fuller builds and more earlier ones are tried as well


@dataclass(frozen=True, eq=False)
class Work:
    """What stays the same while the builds of a plan are found; `drafts` makes the quick nests."""

    cell: Cell
    parts: Mapping[str, Part]
    part_of_line: Mapping[int, str]
    rotations: Mapping[str, FloatArray]
    effort: Effort
    seed: int
    start: datetime
    progress: Progress
    drafts: Drafts


def choose_batches(lines: Sequence[OrderLine], work: Work) -> list[Batch]:
    """The batches of one material that cost least: weighted hours of lateness plus a price for each build.

    Each proposal of the batching search is nested quickly and put on the real calendar. What the nests
    teach about heights, and which sets do not fit one chamber, goes into the next proposal.
    """
    known = batch_input(lines, work.part_of_line, work.parts, work.rotations, work.cell)
    best: tuple[float, list[Batch]] | None = None
    for attempt in range(1, ROUNDS + 1):
        price = PRICES[max(0, attempt - LEARNING_ROUNDS) % len(PRICES)]
        batches = propose(
            known,
            work.cell,
            build_price_h=price * BUILD_PRICE_H.value,
            start=work.start,
            stop=work.effort.batching(),
            seed=work.seed,
        )
        drafts = work.drafts.of(batches)
        known = _learn(known, drafts)
        fits = not any(d.nest.left_out for d in drafts)
        cost = _cost(drafts, lines, work)
        if fits and (best is None or cost < best[0]):
            best = cost, batches
        work.progress("choosing batches", attempt, ROUNDS, f"{len(batches)} builds, {cost:.0f} weighted hours")
        if best and attempt >= LEARNING_ROUNDS + len(PRICES) - 1:
            break
    if best:
        cost, better = best
        if cost > BUILD_PRICE_H.value * len(better) + 1e-6:  # something is late: moving lines can help
            better, cost = move_lines(better, lambda b: _judged(b, lines, work), work.effort.moves(), work.seed)
        work.progress("choosing batches", ROUNDS, ROUNDS, f"{len(better)} builds, {cost:.0f} weighted hours")
        return better
    work.progress("choosing batches", ROUNDS, ROUNDS)
    return batches


def _judged(batches: Sequence[Batch], lines: Sequence[OrderLine], work: Work) -> float:
    """Cost of batches by their quick nests and dates; infinite when one does not nest."""
    drafts = work.drafts.of(batches)
    return float("inf") if any(d.nest.left_out for d in drafts) else _cost(drafts, lines, work)


def _learn(known: BatchInput, drafts: Sequence[Draft]) -> BatchInput:
    for draft in drafts:
        known = known.learn(draft.batch, draft.nest)
    return known


def _cost(drafts: Sequence[Draft], lines: Sequence[OrderLine], work: Work) -> float:
    """Weighted hours of lateness on the real calendar, plus the price of the builds."""
    cell = work.cell
    jobs = [build_job(d, [line for line in lines if line.line in d.lines], cell) for d in drafts]
    litres = bulk_litres(lines, work.parts, work.part_of_line, cell.nesting.clearance_mm)
    wishes = [line_job(line, drafts, cell, litres[line.line]) for line in lines]
    _, promises = plan_schedule(cell, jobs, wishes, start=work.start, stop=work.effort.judging(), seed=work.seed)
    weight = {wish.line: wish.weight for wish in wishes}
    late = sum(
        weight[p.line] * max(0.0, (p.ready - p.due_by).total_seconds() / 3600) for p in promises if p.ready is not None
    )
    return late + BUILD_PRICE_H.value * len(drafts)
