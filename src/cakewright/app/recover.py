"""Accept a way out after a stop: nest what is missing, put it on the calendar, keep it as a new plan version."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from cakewright.app.authority import Step, require
from cakewright.app.effort import Effort
from cakewright.app.failure_desk import AGAIN, FailureDesk, Recovery, stopped_plan
from cakewright.app.line_flags import specimen_lines
from cakewright.app.plan_build import Batch, compute_build, left_out_pieces, nest_batch
from cakewright.app.plan_costs import plan_costs
from cakewright.app.progress import Progress, quiet
from cakewright.app.replan import accept, jobs_of, replan
from cakewright.app.stop_build import AfterStop, PieceFate
from cakewright.app.stopped_heat import cut_profile, cut_time, stopped_heat
from cakewright.errors import DoesNotFitError, InputError
from cakewright.model.build import Build, Removal
from cakewright.model.plan import WeekPlan
from cakewright.nesting.orientations import orientations_for
from cakewright.nesting.task import NestPiece
from cakewright.sources.promise import REACTION_MIN
from cakewright.store import Store

GONE = {PieceFate.HALF, PieceFate.NOT_BEGUN}


@dataclass(frozen=True, slots=True)
class Accepted:
    """What was kept: the new plan version, the stop's number, the build that makes the missing pieces ('' for none)."""

    plan: int
    stop: int
    remake: str


def accept_recovery(
    store: Store,
    plan: WeekPlan,
    desk: FailureDesk,
    key: str,
    *,
    effort: Effort,
    by: str,
    at: datetime,
    note: str = "",
    clock: Callable[[], datetime] | None = None,
    told: Progress = quiet,
) -> Accepted:
    """Carry out the way out `key` of a failure desk and keep the plan it leads to.

    Missing pieces keep their line and its due day. Nothing is kept when they do not nest: DoesNotFitError says so.
    """
    require(store, by, Step.STOP, at.date())
    way = way_of(desk, key)
    told("nesting the missing pieces, dates around them", 0, 2)
    made, remake = recovered_plan(plan, desk, way, effort)
    told("simulating the dates", 1, 2)
    version = accept(store, made, by=by, at=clock() if clock else at)
    after = desk.after
    number = store.schedule.note_stop(
        plan=plan.version, build=after.build, layer=after.layer, cause=desk.cause.value, margin_mm=after.margin_mm,
        stopped=desk.at, recovery=way.title, new_plan=version, at=at, by=by, note=note,
    )  # fmt: skip
    return Accepted(version, number, remake)


def way_of(desk: FailureDesk, key: str) -> Recovery:
    """The way out with that key; InputError when there is none."""
    way = next((r for r in desk.recoveries if r.key == key), None)
    if way is None:
        known = ", ".join(r.key for r in desk.recoveries)
        raise InputError(f"there is no way out {key[:40]!r}", remedy=f"use one of: {known}", where="recovery")
    return way


def recovered_plan(plan: WeekPlan, desk: FailureDesk, way: Recovery, effort: Effort) -> tuple[WeekPlan, str]:
    """The plan after a way out, really nested and dated but not kept, and the build that makes the missing pieces."""
    old = plan.build(desk.after.build)
    builds = [_what_is_left(plan, b, desk.after, desk.cause.value) if b.key == old.key else b for b in plan.builds]
    remake = ""
    missing = _missing_pieces(old, desk.after)
    if way.key.startswith("again-") and missing:
        remake = _free_key(plan, old.key + AGAIN)
        reason = f"makes again what is missing after {old.key} stopped: {desk.cause}"
        builds.append(_nested(plan, remake, old.machine, missing, reason, effort))
    elif way.key.startswith("with-") and missing:
        remake = way.key.removeprefix("with-")
        host = plan.build(remake)
        pieces = [*(NestPiece(p.piece, p.part_key, p.line) for p in host.ordered), *missing]
        reason = f"{host.reason}; takes what is missing after {old.key} stopped"
        grown = _nested(plan, remake, host.machine, pieces, reason, effort)
        builds = [grown if b.key == remake else b for b in builds]
    lines = [plan.line(n) for n in sorted({n for b in builds for n in b.lines})]
    costs = plan_costs(builds, lines, plan.parts, plan.part_of_line, plan.cell)
    changed = replace(plan, builds=tuple(builds), costs=costs)
    return _dated(plan, changed, desk, way, remake), remake


def _dated(plan: WeekPlan, changed: WeekPlan, desk: FailureDesk, way: Recovery, remake: str) -> WeekPlan:
    """Dates around the stopped cake and the nested remake."""
    stopped = stopped_plan(plan, plan.build(desk.after.build), desk.after, desk.at)
    jobs, wishes, _ = jobs_of(changed)
    release = desk.at + timedelta(minutes=REACTION_MIN.value)
    if way.key == "again-last":
        loads = [t.start for t in plan.schedule.tasks if t.kind.name == "LOAD" and t.start > desk.at]
        release = max([release, *(start + timedelta(minutes=1) for start in loads)])
    jobs = [replace(j, release=max(j.release, release)) if j.key == remake else j for j in jobs]
    start = replace(stopped, builds=changed.builds, costs=changed.costs)
    return replan(start, desk.at, work=(jobs, wishes), against=plan).plan


def _missing_pieces(build: Build, after: AfterStop) -> list[NestPiece]:
    fate = {piece: f for piece, _, f in after.fates}
    return [NestPiece(p.piece + AGAIN, p.part_key, p.line) for p in build.ordered if fate[p.piece] in GONE]


def _nested(plan: WeekPlan, key: str, machine: str, pieces: list[NestPiece], reason: str, effort: Effort) -> Build:
    the_machine = plan.cell.machine(machine)
    lines = sorted({p.line for p in pieces})
    batch = Batch(key, the_machine, tuple(pieces), reason, tuple((n, reason) for n in lines))
    parts = {p.part_key: plan.parts[p.part_key] for p in pieces}
    rotations = {k: orientations_for(part.mesh, part.orientation, plan.seed) for k, part in parts.items()}
    placed = nest_batch(
        batch, parts, rotations, plan.cell, stop=effort.nest(), seed=plan.seed, settle_stop=effort.settle(),
        straight=specimen_lines(plan.line(n) for n in lines),
    )  # fmt: skip
    left = left_out_pieces(batch, placed)
    if left:
        raise DoesNotFitError(
            f"{len(left)} of {len(pieces)} pieces find no place in {key}: {left[0][1].reason}",
            remedy="nothing was changed; choose another way out",
        )
    return compute_build(batch, placed, parts, [plan.line(n) for n in lines], plan.cell)


def _free_key(plan: WeekPlan, wanted: str) -> str:
    taken = {b.key for b in plan.builds}
    while wanted in taken:
        wanted += AGAIN
    return wanted


def _what_is_left(plan: WeekPlan, build: Build, after: AfterStop, cause: str) -> Build:
    """The stopped build as it lies in its chamber: whole pieces only, as high as it came; scrap is in the notes.

    Its cooling is computed anew from where the cake stopped, scrap included.

    A stop before anything is whole leaves the build as it was planned: there is a cake to cool and to clear away.
    """
    fate = {piece: f for piece, _, f in after.fates}
    whole = tuple(p for p in build.nest.placements if fate[p.piece] not in GONE)
    note = f"stopped after layer {after.layer}: {cause}; {after.count(PieceFate.HALF)} half-made pieces are scrap"
    if not whole:
        return replace(build, nest=replace(build.nest, notes=(*build.nest.notes, note)), reason=note)
    names = {p.piece for p in whole}
    cooling, heat = stopped_heat(plan, build, after)
    lines = tuple(n for n in build.lines if any(p.line == n for p in whole))
    return replace(
        build,
        lines=lines,
        nest=replace(build.nest, placements=whole, height_mm=after.at_mm, notes=(*build.nest.notes, note)),
        removal=_only(build.removal, names),
        profile=cut_profile(build.profile, after.layer),
        print_time=cut_time(build.print_time, after.layer),
        cooling=cooling,
        reason=note,
        line_reasons=tuple(r for r in build.line_reasons if r[0] in lines),
        heat=heat,
    )


def _only(removal: Removal, names: set[str]) -> Removal:
    stuck = (tuple(p for p in group if p in names) for group in removal.stuck)
    hooked = ((p, tuple(w for w in waits if w in names)) for p, waits in removal.hooked if p in names)
    return Removal(
        tuple(p for p in removal.order if p in names),
        tuple(group for group in stuck if len(group) > 1),
        tuple((p, waits) for p, waits in hooked if waits),
    )
