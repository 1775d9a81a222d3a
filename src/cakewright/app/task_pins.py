"""What stands still when a task is moved: the task where it is wanted, what comes before it, and who makes room."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from cakewright.app.begun_tasks import BENCH
from cakewright.app.task_chain import before_it, chain_name, moved_together
from cakewright.app.task_place import (
    Refusal,
    chamber_for,
    check_is_free,
    check_machine,
    check_station,
    person_for,
    pushed_by,
    stay_of,
)
from cakewright.documents.words import moment
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.schedule.jobs import BuildJob

BY_THEMSELVES = {
    TaskKind.COOL: "cooling follows the print by itself; move the loading",
    TaskKind.WAIT: "drying follows its bath by itself; move the bath",
    TaskKind.RESULT: "the result comes by itself; move the test",
    TaskKind.CHANGE: "the change of material belongs to the loading after it; move the loading",
    TaskKind.SERVICE: "the service is due by printed hours; move the loading after it",
    TaskKind.CLEAN_DOWN: "the bench is cleaned for the unpacking after it; move the unpacking",
}


def loading_of(plan: WeekPlan, asked: Task, moved: Task) -> tuple[Task, Task]:
    """A print is moved by its loading, which ends when the print begins."""
    load = next((t for t in plan.schedule.of_build(asked.build) if t.kind is TaskKind.LOAD), None)
    if asked.kind is not TaskKind.PRINT or load is None:
        return asked, moved
    by = moved.start - asked.start
    return load, replace(load, start=load.start + by, end=load.end + by)


def pins_of(
    plan: WeekPlan,
    asked: Task,
    moved: Task,
    chamber: str | None,
    now: datetime,
    facts: Sequence[Task],
    jobs: Sequence[BuildJob],
) -> tuple[list[Task], Task, Collection[str]]:
    """The tasks that are to stand still, the moved one among them, and the builds that have to make room."""
    zone = plan.cell.zone
    if asked.kind in BY_THEMSELVES or (asked.kind is TaskKind.FINISH and _runs_on(plan, asked)):
        raise Refusal(
            f"{chain_name(asked)} cannot be moved by itself",
            BY_THEMSELVES.get(asked.kind, "what runs by itself follows the hands before it; move those"),
        )
    begun = {_work(t) for t in facts}
    if _work(asked) in begun:
        raise Refusal(f"{chain_name(asked)} has begun {moment(asked.start, zone)}", "note what really happened to it")
    if moved.start < now:
        raise Refusal(f"{moment(moved.start, zone)} is past, it is {moment(now, zone)}", "put it later", now)
    run = moved_together(plan, asked)
    before = [t for one in run for t in before_it(plan, one) if _work(t) not in begun]
    if (moved.machine, moved.chamber) != (asked.machine, asked.chamber) and asked.kind is not TaskKind.LOAD:
        raise Refusal("machine and chamber are chosen by the loading", "move the loading")
    if moved.station != asked.station:
        check_station(plan, asked, moved.station)
    push: Collection[str] = ()
    if asked.kind is TaskKind.LOAD:
        job = next(j for j in jobs if j.key == asked.build)
        moved, changes, push = _new_loading(plan, job, asked, moved, chamber, now, facts)
        before += changes
    elif asked.kind is TaskKind.UNPACK:
        before += _shifted(plan, asked, moved)
    moved = replace(moved, people=person_for(plan, moved, facts))
    mates = [replace(t, start=moved.start, end=moved.end, people=moved.people, station=moved.station)
             for t in run if t != asked]  # fmt: skip
    return [*dict.fromkeys(before), moved, *mates], moved, push


def _work(task: Task) -> tuple[object, ...]:
    """A task without its instants, which may be noted otherwise than planned."""
    start = task.start if task.kind in {TaskKind.INSPECT, TaskKind.PACK, *BENCH} else None
    return task.kind, task.build, task.lines, task.label, start


def _runs_on(plan: WeekPlan, task: Task) -> bool:
    """True for the part of a bath that runs by itself after somebody's hands."""
    return not task.people and any(
        t.kind is TaskKind.FINISH and t.end == task.start and t.people and chain_name(t) == chain_name(task)
        for t in plan.schedule.tasks
    )


def _new_loading(
    plan: WeekPlan, job: BuildJob, asked: Task, moved: Task, chamber: str | None, now: datetime, facts: Sequence[Task]
) -> tuple[Task, list[Task], Collection[str]]:
    """A loading where it is wanted, the change of material before it, and the builds in its way."""
    cell = plan.cell
    if moved.start < job.release:
        released = moment(job.release, cell.zone)
        raise Refusal(f"{job.key} cannot be loaded before {released}: it is not released", "put it later", job.release)
    check_machine(plan, job, moved.machine)
    check_is_free(plan, moved.machine, job.key, moved.start, facts)
    stay = stay_of(plan, job, moved.start, moved.machine)
    moved = replace(moved, chamber=chamber_for(plan, job, chamber, asked.chamber, (stay[0], stay[2]), facts))
    return moved, _change_before(plan, job, moved, now), pushed_by(plan, job, moved, asked, stay)


def _change_before(plan: WeekPlan, job: BuildJob, load: Task, now: datetime) -> list[Task]:
    """The change of material that a loading needs after what is planned before it on the machine."""
    machine = plan.cell.machine(load.machine)
    prints = [t for t in plan.schedule.tasks if t.kind is TaskKind.PRINT and t.machine == machine.name]
    earlier = [t for t in prints if t.start < load.start and t.build != job.key]
    loaded = plan.build(max(earlier, key=lambda t: t.start).build).material if earlier else machine.material
    if loaded == job.material or not machine.changeover_min:
        return []
    begins = load.start - timedelta(minutes=machine.changeover_min)
    if begins < now:
        soonest = now + timedelta(minutes=machine.changeover_min)
        raise Refusal(
            f"{machine.name} must be changed from {loaded} to {job.material} first, {machine.changeover_min / 60:g} h",
            f"from {moment(soonest, plan.cell.zone)} it would go", soonest,
        )  # fmt: skip
    label = f"to {job.material}"
    return [Task(TaskKind.CHANGE, job.key, load.lines, begins, load.start, machine=machine.name, label=label)]


def _shifted(plan: WeekPlan, asked: Task, moved: Task) -> list[Task]:
    """The cleaning of the bench before an unpacking moves along with it."""
    by = moved.start - asked.start
    return [replace(t, start=t.start + by, end=t.end + by, station=moved.station) for t in
            plan.schedule.of_build(asked.build) if t.kind is TaskKind.CLEAN_DOWN]  # fmt: skip
