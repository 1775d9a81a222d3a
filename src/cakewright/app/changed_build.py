"""A build of a plan with another nest: computed anew, priced and dated, and refused where it has begun already."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from cakewright.app.plan_build import Batch, compute_build
from cakewright.app.plan_costs import plan_costs
from cakewright.app.replan import Replanned, replan
from cakewright.errors import InputError
from cakewright.model.build import Build, Nest
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.nesting.task import NestPiece
from cakewright.stopping import Stop
from cakewright.store.schedule import Progress


def recomputed(plan: WeekPlan, build: Build, nest: Nest, reason: str = "") -> Build:
    """The build with another nest of the same pieces: proof, way out, layers, hours, heat and powder.

    CakewrightError when the exact check finds a distance or a wall violated.
    """
    pieces = tuple(NestPiece(p.piece, p.part_key, p.line) for p in nest.placements if not p.is_cage)
    batch = Batch(build.key, plan.cell.machine(build.machine), pieces, reason or build.reason, build.line_reasons)
    volume = sum(plan.parts[p.part_key].measures.volume_mm3 for p in nest.placements)
    cake = nest.base_mm[0] * nest.base_mm[1] * nest.height_mm
    nest = replace(nest, density=volume / cake if cake > 0 else 0.0)
    return compute_build(batch, nest, plan.parts, [plan.line(n) for n in build.lines], plan.cell)


def with_build(plan: WeekPlan, build: Build) -> WeekPlan:
    """The plan with that build in the place of the one of the same key, its costs counted anew."""
    builds = tuple(build if b.key == build.key else b for b in plan.builds)
    lines = [plan.line(n) for n in sorted({n for b in builds for n in b.lines})]
    costs = plan_costs(builds, lines, plan.parts, plan.part_of_line, plan.cell)
    kept = tuple(c for c in plan.costs if c.line not in {new.line for new in costs})
    return replace(plan, builds=builds, costs=(*costs, *kept))


def dated(
    plan: WeekPlan, build: Build, now: datetime, progress: Sequence[Progress], stop: Callable[[], Stop] | None = None
) -> Replanned:
    """The plan with the changed build and the dates that follow from its hours; told against the plan before."""
    return replan(with_build(plan, build), now, progress=progress, stop=stop, against=plan)


def refuse_begun(plan: WeekPlan, build: Build, now: datetime, progress: Sequence[Progress]) -> None:
    """InputError when the build is loaded or prints: what stands in the powder is not moved any more.

    What somebody noted counts; without a note a task has begun when its planned start is past.
    """
    said = {p.kind: p for p in progress if p.build == build.key}
    for task in plan.schedule.of_build(build.key):
        if task.kind not in {TaskKind.LOAD, TaskKind.PRINT}:
            continue
        word = said.get(task.kind)
        if bool(word.started or word.ended) if word else task.start <= now:
            raise InputError(
                f"{build.key} has begun: '{task.kind}' is {'noted' if word else 'planned before now'}",
                remedy="change a build that has not begun, or note under 'What happened' that this one has not",
                where=build.key,
            )
