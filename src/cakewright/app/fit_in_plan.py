"""Would a new line still fit into the plan as it stands: which build, what it adds, when it is ready, who waits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from cakewright.app.effort import Effort
from cakewright.app.line_flags import specimen_lines
from cakewright.app.plan_build import Batch, bulk_litres, compute_build, left_out_pieces, nest_batch
from cakewright.app.plan_costs import plan_costs
from cakewright.app.plan_dates import plan_dates
from cakewright.model.build import Build
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import LineCost, LinePromise, TaskKind, WeekPlan
from cakewright.nesting.orientations import orientations_for
from cakewright.nesting.task import NestPiece

MOST_BUILDS_TRIED = 3


@dataclass(frozen=True, slots=True)
class Moved:
    """A line that is ready later because of the new one."""

    line: int
    before: datetime
    after: datetime
    is_late: bool


@dataclass(frozen=True, eq=False)
class InPlan:
    """A planned build that can take the line, nested anew with it; `more_mm` and `more_s` are what it adds."""

    build: Build
    more_mm: float
    more_s: float
    promise: LinePromise
    cost: LineCost
    moved: tuple[Moved, ...]
    promises: tuple[LinePromise, ...]


def fit_in_plan(
    plan: WeekPlan, line: OrderLine, part: Part, *, now: datetime, effort: Effort, seed: int = 1
) -> tuple[InPlan | None, tuple[str, ...]]:
    """The first planned build that can take all pieces of `line`, by the start of its print; and why others cannot.

    A build is tried when its material and class allow and its chamber is not loaded yet. It is nested,
    sliced, timed and cooled with the new pieces, and the whole calendar is made anew. `line.line` and
    `part.key` must not occur in the plan.
    """
    reasons: list[str] = []
    tried = 0
    for build, loaded in _open_builds(plan, line.material, now):
        if tried == MOST_BUILDS_TRIED:
            break
        tried += 1
        grown, why = _with_line(plan, build, line, part, effort, seed)
        if grown is None:
            reasons.append(f"{build.key}, loaded {loaded.astimezone(plan.cell.zone):%a %H:%M}: {why}")
            continue
        return _dated(plan, build, grown, line, part, effort, seed), tuple(reasons)
    if not tried:
        reasons.append(f"no build of {line.material} is still to be loaded in plan {plan.version}")
    return None, tuple(reasons)


def _open_builds(plan: WeekPlan, material: str, now: datetime) -> list[tuple[Build, datetime]]:
    """Builds of the material that are not loaded yet, by the time of loading."""
    loads = {t.build: t.start for t in plan.schedule.tasks if t.kind is TaskKind.LOAD}
    loads |= {
        t.build: min(t.start, loads.get(t.build, t.start)) for t in plan.schedule.tasks if t.kind is TaskKind.PRINT
    }
    found = [(b, loads[b.key]) for b in plan.builds if b.material == material and loads.get(b.key, now) > now]
    return sorted(found, key=lambda pair: pair[1])


def _with_line(
    plan: WeekPlan, build: Build, line: OrderLine, part: Part, effort: Effort, seed: int
) -> tuple[Build | None, str]:
    old = [NestPiece(p.piece, p.part_key, p.line) for p in build.ordered]
    new = [NestPiece(f"{line.key}-{i + 1:02d}", part.key, line.line) for i in range(line.quantity)]
    reason = f"added to the plan: {line.title}"
    batch = Batch(
        key=build.key,
        machine=plan.cell.machine(build.machine),
        pieces=(*old, *new),
        reason=build.reason,
        line_reasons=(*build.line_reasons, (line.line, reason)),
    )
    parts = {**{p.part_key: plan.parts[p.part_key] for p in old}, part.key: part}
    rotations = {key: orientations_for(p.mesh, p.orientation, seed) for key, p in parts.items()}
    placed = nest_batch(
        batch, parts, rotations, plan.cell, stop=effort.nest(), seed=seed, settle_stop=effort.settle(),
        straight=specimen_lines([*(plan.line(n) for n in build.lines), line]),
    )  # fmt: skip
    left = left_out_pieces(batch, placed)
    if left:
        return None, f"{len(left)} of {len(batch.pieces)} pieces find no place, {left[0][1].reason}"
    lines = [*(plan.line(n) for n in build.lines), line]
    return compute_build(batch, placed, parts, lines, plan.cell), ""


def _dated(plan: WeekPlan, old: Build, grown: Build, line: OrderLine, part: Part, effort: Effort, seed: int) -> InPlan:
    builds = [grown if b.key == old.key else b for b in plan.builds]
    lines = [*(plan.line(n) for n in sorted(plan.part_of_line)), line]
    lines = [x for x in lines if any(x.line in b.lines for b in builds)]
    parts = {**plan.parts, part.key: part}
    part_of_line = {**plan.part_of_line, line.line: part.key}
    litres = bulk_litres(lines, parts, part_of_line, plan.cell.nesting.clearance_mm)
    _, promises, _ = plan_dates(builds, lines, litres, plan.cell, start=plan.start, effort=effort, seed=seed)
    now_ready = {p.line: p for p in promises}
    costs = {c.line: c for c in plan_costs(builds, lines, parts, part_of_line, plan.cell)}
    return InPlan(
        build=grown,
        more_mm=grown.nest.height_mm - old.nest.height_mm,
        more_s=grown.print_time.total_s - old.print_time.total_s,
        promise=now_ready[line.line],
        cost=costs[line.line],
        moved=_moved(plan.promises, now_ready),
        promises=promises,
    )


def _moved(before: Sequence[LinePromise], after: dict[int, LinePromise]) -> tuple[Moved, ...]:
    found = []
    for promise in before:
        then = after.get(promise.line)
        if promise.ready is None or then is None or then.ready is None:
            continue
        if then.ready > promise.ready + timedelta(minutes=1):
            found.append(Moved(promise.line, promise.ready, then.ready, then.is_late and not promise.is_late))
    return tuple(sorted(found, key=lambda m: m.before - m.after))


def free_number(plan: WeekPlan) -> int:
    """A line number that the plan does not use."""
    return max((line.line for line in plan.orders.lines), default=0) + 1


def as_new_line(line: OrderLine, plan: WeekPlan) -> OrderLine:
    """The line under a number that the plan does not use."""
    return replace(line, line=free_number(plan))
