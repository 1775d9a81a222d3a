"""Plan again: what has begun stays, what people were told for the next hours stays if it can, the rest may move."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from cakewright.app.begun_tasks import Windows, begun_tasks, committed_tasks
from cakewright.app.end_in_shift import with_endings
from cakewright.app.plan_build import bulk_litres
from cakewright.app.plan_dates import build_job, line_job
from cakewright.app.promise_dates import promise_dates
from cakewright.app.trained_cell import as_trained
from cakewright.errors import InputError
from cakewright.model.order import OrderLine
from cakewright.model.plan import LinePromise, Schedule, Task, TaskKind, WeekPlan
from cakewright.schedule.difference import Difference, difference
from cakewright.schedule.instance import origin_of
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.sources.promise import COMMIT_HOURS, STEADY_TASK_MIN
from cakewright.stopping import MaxSteps, Stop
from cakewright.store import Store
from cakewright.store.schedule import Progress

REPLAN_STEPS = 600
AGAIN_FROM = "planned again from plan "


@dataclass(frozen=True, eq=False)
class Replanned:
    """A plan made again, not yet kept: `plan` with new dates, what it changes, and what it took for granted.

    `started` tasks had begun, `noted` of them with instants that somebody noted; `committed` more were kept because
    people were told. `given_up` says why the commitment could not be kept, '' when it was.
    """

    plan: WeekPlan
    difference: Difference
    started: int
    noted: int
    committed: int
    given_up: str = ""


def replan(
    plan: WeekPlan,
    now: datetime,
    *,
    progress: Sequence[Progress] = (),
    committed_until: datetime | None = None,
    unavailable: Windows | None = None,
    stop: Callable[[], Stop] | None = None,
    seed: int | None = None,
    work: tuple[Sequence[BuildJob], Sequence[LineJob]] | None = None,
    against: WeekPlan | None = None,
    steady_min: float = STEADY_TASK_MIN.value,
    pinned: Sequence[Task] = (),
    push: Collection[str] = (),
) -> Replanned:
    """Dates for the rest of a plan, seen from `now`.

    Tasks planned to have begun are taken as begun as planned unless `progress` says otherwise. Tasks that begin before
    `committed_until` keep their place too, except those that what happened has pushed; when even that does not fit,
    only what has begun is kept and the answer says so.

    Two plans are made: one that moves nothing but what is pushed, and one that is free behind the commitment. The freer
    one is taken when it saves more lateness than its moves cost (`steady_min` for each task of a person). `stop` makes
    a rule for each search; the default counts steps, so the answer repeats. `work` replaces what the builds and lines
    of the plan ask for; the difference is told against `against`, which is the plan itself when left out. `pinned`
    tasks stand where somebody wants them, with what comes before them in their work; the rest is mended around them,
    the builds of `push` first of all.
    """
    now = origin_of(now)
    out = unavailable or {}
    work = work or jobs_of(plan)[:2]
    facts, noted = begun_tasks(plan, now, progress)
    horizon = max(committed_until or now, now)
    last = max((t.end for t in plan.schedule.tasks), default=now)
    told = committed_tasks(plan, now, horizon, facts, progress, out, pinned, push)
    everything = committed_tasks(plan, now, last, facts, progress, out, pinned, push)
    fixed = [*facts, *pinned]
    tried, given_up = [], ""
    weights = {w.line: w.weight for w in work[1]}
    for kept in {len(everything): everything, len(told): told}.values():  # the same tasks are not tried twice
        try:
            tried.append((kept, _schedule(plan, now, [*fixed, *kept], out, _rule(stop), seed, work)))
        except InputError as wrong:
            if not kept:
                raise
            given_up = wrong.found if kept is told or len(kept) == len(told) else given_up
    if not tried:
        told = []
        tried.append((told, _schedule(plan, now, fixed, out, _rule(stop), seed, work)))
    kept, (schedule, promises) = min(tried, key=lambda one: _price(plan, one[1], steady_min, weights))
    old = against or plan
    change = difference(old.schedule, schedule, old.promises, promises, plan.cell.zone)
    chosen = {t.build: t.machine for t in schedule.tasks if t.kind is TaskKind.PRINT}
    builds = tuple(replace(b, machine=chosen.get(b.key, b.machine)) for b in plan.builds)
    builds = with_endings(builds, schedule, plan.cell)
    schedule = replace(schedule, notes=(*schedule.notes, f"{AGAIN_FROM}{plan.version}: {change.headline}"))
    made = replace(plan, schedule=schedule, promises=promises, builds=builds, version=0)
    return Replanned(made, change, len(facts), noted, len(told), given_up)


def _rule(stop: Callable[[], Stop] | None) -> Stop:
    return stop() if stop else MaxSteps(REPLAN_STEPS)


def _price(
    plan: WeekPlan, found: tuple[Schedule, tuple[LinePromise, ...]], steady_min: float, weights: Mapping[int, float]
) -> float:
    """Weighted minutes of lateness, plus `steady_min` for every task of a person that is not where it was."""
    schedule, promises = found
    old = set(plan.schedule.tasks)
    moved = sum(1 for t in schedule.tasks if t.people and t not in old)
    return sum(weights.get(p.line, 1.0) * _late_min(p) for p in promises) + steady_min * moved


def weighted_late_min(plan: WeekPlan, promises: Sequence[LinePromise]) -> float:
    """Minutes of lateness, each line with the weight of its class."""
    weights = {line.line: plan.cell.quality_class(line.quality_class).weight for line in plan.orders.lines}
    return sum(weights.get(p.line, 1.0) * _late_min(p) for p in promises)


def _late_min(promise: LinePromise) -> float:
    ready = promise.ready or promise.due_by
    return max(0.0, (ready - promise.due_by) / timedelta(minutes=1))


def jobs_of(plan: WeekPlan) -> tuple[list[BuildJob], list[LineJob], list[OrderLine]]:
    """What the builds and lines of a plan ask of the cell."""
    held = {n for b in plan.builds for n in b.lines}
    lines = [line for line in plan.orders.lines if line.line in held]
    litres = bulk_litres(lines, plan.parts, plan.part_of_line, plan.cell.nesting.clearance_mm)
    jobs = [build_job(b, [line for line in lines if line.line in b.lines], plan.cell) for b in plan.builds]
    return jobs, [line_job(line, plan.builds, plan.cell, litres.get(line.line, 0.0)) for line in lines], lines


def with_promises(plan: WeekPlan, *, seed: int | None = None) -> WeekPlan:
    """The plan with its dates simulated anew, from the start of its schedule on."""
    jobs, wishes, lines = jobs_of(plan)
    chosen = plan.seed if seed is None else seed
    promises = promise_dates(plan.builds, jobs, wishes, lines, plan.schedule, plan.promises, plan.cell, seed=chosen)
    return replace(plan, promises=promises)


def replan_stored(
    store: Store,
    now: datetime,
    *,
    version: int | None = None,
    unavailable: Windows | None = None,
    stop: Callable[[], Stop] | None = None,
    free: bool = False,
) -> Replanned:
    """Plan the newest stored plan (or `version`) again, with what was noted and committed for it.

    `free` lets also move what people were told for the next hours.
    """
    plan = as_trained(store.load_plan(version), store)
    told = None if free else next((c for c in store.schedule.commitments() if c.plan == plan.version), None)
    until = now + timedelta(hours=COMMIT_HOURS.value) if told else None
    return replan(
        plan,
        now,
        progress=store.schedule.progress_of(plan.version),
        committed_until=until,
        unavailable=unavailable,
        stop=stop,
    )


def accept(store: Store, made: Replanned | WeekPlan, *, by: str, at: datetime) -> int:
    """Keep a plan made again as a new version, with simulated dates; what was noted about its tasks goes with it."""
    plan = made.plan if isinstance(made, Replanned) else made
    return store.save_plan(with_promises(plan), made_by=by, at=at)


def _schedule(
    plan: WeekPlan,
    now: datetime,
    frozen: Sequence[Task],
    unavailable: Windows,
    stop: Stop,
    seed: int | None,
    work: tuple[Sequence[BuildJob], Sequence[LineJob]],
) -> tuple[Schedule, tuple[LinePromise, ...]]:
    jobs, wishes = work
    schedule, promises = plan_schedule(
        plan.cell, jobs, wishes, start=now, stop=stop, seed=plan.seed if seed is None else seed,
        frozen=frozen, unavailable=unavailable, previous=plan.schedule.tasks,
    )  # fmt: skip
    known = {p.line: p for p in plan.promises}
    packed: dict[int, datetime] = {}
    for task in schedule.tasks:
        for n in task.lines if task.kind in {TaskKind.INSPECT, TaskKind.PACK} else ():
            packed[n] = max(packed.get(n, task.end), task.end)
    return schedule, tuple(_carried(p, known.get(p.line), packed.get(p.line), now) for p in promises)


def _carried(promise: LinePromise, before: LinePromise | None, packed: datetime | None, now: datetime) -> LinePromise:
    """The advised number of pieces is that of the plan before; what is packed was ready when it was packed."""
    promise = replace(promise, start_pieces=before.start_pieces if before else None)
    if packed is not None and packed <= now:
        return replace(promise, ready=packed, reason="is packed")
    return promise
