"""Where a moved task can stand: who may do it then, which machine, chamber and station suit, and what holds them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta

from cakewright.documents.words import moment
from cakewright.model.cell import Cell, Person
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.schedule.calendars import instant_of, person_spans, subtract
from cakewright.schedule.jobs import BuildJob
from cakewright.schedule.limits import closed_by_plan
from cakewright.schedule.trained import ended_words, with_skill
from cakewright.schedule.validate_hours import on_shift

_MINUTE = timedelta(minutes=1)
_LOOK_DAYS = 21
_SKILL = {
    TaskKind.LOAD: "start", TaskKind.UNLOAD: "start", TaskKind.UNPACK: "unpack", TaskKind.CLEAN: "unpack",
    TaskKind.TEST: "inspect", TaskKind.INSPECT: "inspect", TaskKind.PACK: "pack",
}  # fmt: skip


class Refusal(Exception):  # noqa: N818 - an answer to a person, not an error
    """A move that cannot be made: what stands against it, what to do, and from when on it would go."""

    def __init__(self, found: str, remedy: str = "", soonest: datetime | None = None) -> None:
        super().__init__(found)
        self.found, self.remedy, self.soonest = found, remedy, soonest


def skill_of(plan: WeekPlan, task: Task) -> str:
    """The skill that a task asks for."""
    if task.kind in _SKILL:
        return _SKILL[task.kind]
    kind = task.label.partition(": ")[2].split(",")[0].removesuffix(" runs by itself")
    steps = plan.cell.finish(plan.line(task.lines[0]).finish).steps
    return next((s.skill for s in steps if s.station_kind == kind), "finish")


def is_untrained(plan: WeekPlan, task: Task) -> bool:
    """True when somebody would do a task after the last day of their training for it."""
    if not any(p.until and p.name in task.people for p in plan.cell.people):
        return False
    skill = skill_of(plan, task)
    ends = [(p, p.last_day(skill)) for p in plan.cell.people if p.name in task.people]
    return any(last and not on_shift(plan.cell, p, task.start, task.end, last) for p, last in ends)


def person_for(plan: WeekPlan, task: Task, facts: Sequence[Task]) -> tuple[str, ...]:
    """Who does a moved task: whoever did it if they are in, else somebody with the skill, best free in the plan.

    Raises Refusal when nobody with the skill is in for all of it, or all who are have begun something else.
    """
    if not task.people:
        return ()
    cell, skill = plan.cell, skill_of(plan, task)
    can = with_skill(cell, skill, task.start, _LOOK_DAYS * 24 * 60)
    there = [p for p in can if on_shift(cell, p, task.start, task.end) and not _is_closed(cell, p.name, task)]
    minutes = (task.end - task.start) // _MINUTE
    if not there:
        soonest = soonest_in(cell, can, minutes, task.start)
        raise Refusal(
            f"nobody who may {_verb(task, skill)} is in for {minutes} min from {moment(task.start, cell.zone)}"
            + ended_words(cell, skill, task.start.astimezone(cell.zone).date()),
            f"from {moment(soonest, cell.zone)} somebody is" if soonest else "change the shifts in the cell file",
            soonest,
        )
    held = {name: t for t in facts if t.start < task.end and task.start < t.end for name in t.people}
    free = [p for p in there if p.name not in held]
    if not free:
        until = max(held[p.name].end for p in there)
        raise Refusal(
            f"{' and '.join(p.name for p in there)} are at work begun before until {moment(until, cell.zone)}",
            f"from {moment(until, cell.zone)} it would go",
            until,
        )
    taken = {name for t in plan.schedule.tasks if t.start < task.end and task.start < t.end for name in t.people}
    best = min(free, key=lambda p: (p.name not in task.people, p.name in taken, len(p.skills), p.name))
    return (best.name,)


def _verb(task: Task, skill: str) -> str:
    return {"start": "load or lift out", "unpack": "unpack or clean"}.get(skill, skill)


def _is_closed(cell: Cell, name: str, task: Task) -> bool:
    spans = closed_by_plan(cell, task.start).get(name, [])
    return any(start * _MINUTE < task.end - task.start and end > 0 for start, end in spans)


def soonest_in(cell: Cell, people: Sequence[Person], minutes: int, after: datetime) -> datetime | None:
    """When somebody of these is next in for so many minutes in one stretch; None within three weeks."""
    found = []
    closed = closed_by_plan(cell, after)
    for person in people:
        spans = person_spans(person, cell.holidays, cell.zone, after, _LOOK_DAYS * 24 * 60)
        found += [s for s, e in subtract(spans, closed.get(person.name, ())) if e - s >= minutes]
    return instant_of(after, min(found)) if found else None


def check_machine(plan: WeekPlan, job: BuildJob, name: str) -> None:
    """Refusal when a machine cannot print a build, with those that can."""
    machine = next((m for m in plan.cell.machines if m.name == name), None)
    can = ", ".join(job.print_min)
    if machine is None:
        raise Refusal(f"there is no machine {name!r}", f"use one of: {can}")
    if not machine.takes(job.material):
        raise Refusal(f"{name} does not run {job.material}", f"{job.key} can be printed on {can}")
    if machine.chamber_type != job.chamber_type:
        raise Refusal(f"{name} takes no chamber of type {job.chamber_type}", f"{job.key} can be printed on {can}")
    if name not in job.print_min:
        raise Refusal(f"{job.key} is sliced for another layer than that of {name}", f"it can be printed on {can}")
    if job.pinned_machine not in {None, name}:
        raise Refusal(f"{job.key} is pinned to {job.pinned_machine}", "leave it there")


def check_station(plan: WeekPlan, task: Task, name: str) -> None:
    """Refusal when a station does not do the work of a task."""
    cell = plan.cell
    kind = next((s.kind for s in cell.stations if s.name == task.station), "")
    material = next(b.material for n in task.lines for b in plan.builds_of(n))
    can = [s.name for s in cell.stations if s.kind == kind and (not s.materials or material in s.materials)]
    if name not in can:
        raise Refusal(f"{name} does not {kind} {material}", f"use one of: {', '.join(can)}")


def chamber_for(
    plan: WeekPlan, job: BuildJob, wanted: str | None, old: str, stay: tuple[datetime, datetime], facts: Sequence[Task]
) -> str:
    """The chamber of a moved loading: the wanted one if it suits and is not in use by what has begun, else the best.

    `stay` is how long it would be held. Without a wish the old chamber is kept unless what has begun is in it.
    """
    suits = [c.name for c in plan.cell.chambers if c.type == job.chamber_type and c.takes(job.material)]
    if wanted is not None and wanted not in suits:
        raise Refusal(f"chamber {wanted} does not suit {job.key}", f"use one of: {', '.join(suits)}")
    held = {name: until for name in suits if (until := held_until(plan, name, job.key, facts)) is not None}
    names = [wanted] if wanted is not None else sorted(suits, key=lambda n: (n != old, _uses(plan, n, job.key, stay)))
    free = [n for n in names if n not in held or held[n] <= stay[0]]
    if not free:
        name = min(names, key=lambda n: held[n])
        raise Refusal(
            f"chamber {name} is not clean before {moment(held[name], plan.cell.zone)}",
            f"load it then, or take another chamber of {', '.join(suits)}",
            held[name],
        )
    return free[0]


def check_is_free(plan: WeekPlan, machine: str, key: str, start: datetime, facts: Sequence[Task]) -> None:
    """Refusal when what has begun still lies in a machine."""
    until = held_until(plan, machine, key, facts)
    if until is not None and until > start:
        held = next(t.build for t in facts if t.machine == machine and t.end <= until and t.build != key)
        raise Refusal(
            f"{machine} holds {held} until it is lifted out, planned {moment(until, plan.cell.zone)}",
            "load it after that",
            until,
        )


def held_until(plan: WeekPlan, name: str, key: str, facts: Sequence[Task]) -> datetime | None:
    """When a machine or chamber is given back by builds that have begun; None when nothing has begun in it."""
    begun = {t.build for t in facts if t.build != key and t.kind in {TaskKind.LOAD, TaskKind.PRINT}
             and name in (t.machine, t.chamber)}  # fmt: skip
    own = [t for t in plan.schedule.tasks if t.build in begun and name in (t.machine, t.chamber)]
    return max((t.end for t in own), default=None)


def _uses(plan: WeekPlan, chamber: str, key: str, stay: tuple[datetime, datetime]) -> int:
    """Tasks of other builds in a chamber while it would be held."""
    return sum(t.chamber == chamber and t.build != key and t.start < stay[1] and stay[0] < t.end
               for t in plan.schedule.tasks)  # fmt: skip


def stay_of(plan: WeekPlan, job: BuildJob, load: datetime, machine: str) -> tuple[datetime, datetime, datetime]:
    """(loading begins, out of the machine, chamber clean) when hands come as soon as shifts allow."""
    cell = plan.cell
    start, unpack = (with_skill(cell, skill, load, 2 * _LOOK_DAYS * 24 * 60) for skill in ("start", "unpack"))

    def done(people: Sequence[Person], minutes: int, after: datetime) -> datetime:
        return (soonest_in(cell, people, minutes, after) or after) + minutes * _MINUTE

    printed = load + (job.load_min + job.print_min[machine]) * _MINUTE
    out = done(start, job.unload_min, printed + job.minimum_cool_in_machine_min * _MINUTE)
    opened = done(unpack, job.unpack_min, max(out, printed + job.cool_min * _MINUTE))
    return load, out, done(unpack, job.clean_min, opened)


def pushed_by(
    plan: WeekPlan, job: BuildJob, load: Task, old: Task, stay: tuple[datetime, datetime, datetime]
) -> Collection[str]:
    """Builds that stand in the way of a moved loading, or whose change of material depends on it."""
    changing = {m.name for m in plan.cell.machines if m.changeover_min and m.other_materials}
    pushed = set()
    for task in plan.schedule.tasks:
        if task.build in {"", job.key}:
            continue
        in_machine = task.machine == load.machine and task.start < stay[1] and stay[0] < task.end
        in_chamber = task.chamber == load.chamber and task.start < stay[2] and stay[0] < task.end
        touched = task.machine in changing & {load.machine, old.machine} and task.end > min(load.start, old.start)
        if in_machine or in_chamber or touched:
            pushed.add(task.build)
    return pushed
