"""What a calendar shows of a plan: its lanes with their work, the hours it covers, what waits and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from cakewright.documents.staffing import Window, hours_of_person, is_staffed, staffed
from cakewright.documents.timeline import hours_of
from cakewright.model.plan import LinePromise, Task, TaskKind, WeekPlan

LANES = ("machine", "chamber", "station", "person")
INSPECT_AND_PACK = "inspect and pack"
_BENCH = (TaskKind.INSPECT, TaskKind.PACK)
_TOGETHER = timedelta(minutes=15)  # bench work closer than this is drawn as one bar
_AFTER = timedelta(hours=2)  # shown after the last task
_THROUGH = ("goes straight through", "is packed")  # how the reason of a line begins that waits for nothing


@dataclass(frozen=True, slots=True)
class Lane:
    """One row: what kind of thing it is, its name, its tasks by time, when it is or somebody is there."""

    kind: str
    name: str
    tasks: tuple[Task, ...]
    windows: tuple[Window, ...] = ()


@dataclass(frozen=True, slots=True)
class Waiting:
    """Lines that wait for the same thing, the latest date among them."""

    reason: str
    promises: tuple[LinePromise, ...]


def lanes_of(plan: WeekPlan) -> tuple[Lane, ...]:
    """Machines, chambers and people of the cell, and the stations that this plan uses."""
    tasks = sorted(plan.schedule.tasks, key=lambda t: (t.start, t.end))
    first, last = span_of(plan)
    anyone = tuple(staffed(plan.cell, first, last))
    cell = plan.cell
    found = [Lane("machine", m.name, tuple(t for t in tasks if t.machine == m.name), anyone) for m in cell.machines]
    found += [Lane("chamber", c.name, tuple(t for t in tasks if t.chamber == c.name), anyone) for c in cell.chambers]
    stations = [Lane("station", s.name, tuple(t for t in tasks if t.station == s.name), anyone) for s in cell.stations]
    found += [lane for lane in stations if lane.tasks]
    for p in cell.people:
        mine = tuple(t for t in tasks if p.name in t.people)
        found.append(Lane("person", p.name, mine, tuple(hours_of_person(cell, p, first, last))))
    return tuple(found)


def span_of(plan: WeekPlan) -> tuple[datetime, datetime]:
    """From midnight in the cell before the first task to two hours after the last, in UTC."""
    tasks = plan.schedule.tasks
    first = midnight(plan, min((t.start for t in tasks), default=plan.start))
    return first, max((t.end for t in tasks), default=plan.start) + _AFTER


def midnight(plan: WeekPlan, when: datetime, add_days: int = 0) -> datetime:
    """The midnight in the cell before `when`, or so many days later, in UTC; a day may have 23 or 25 hours."""
    local = when.astimezone(plan.cell.zone).date() + timedelta(days=add_days)
    return datetime(local.year, local.month, local.day, tzinfo=plan.cell.zone).astimezone(UTC)


def lonely_openings(plan: WeekPlan) -> dict[str, datetime]:
    """Builds whose cake is likely cool at an hour when nobody is in, with that hour (UTC)."""
    lonely: dict[str, datetime] = {}
    for build in plan.builds:
        opening = hours_of(plan, build).opening
        if opening is None:
            continue
        cool = opening[1]
        if not is_staffed(staffed(plan.cell, cool - timedelta(days=1), cool + timedelta(days=1)), cool):
            lonely[build.key] = cool
    return lonely


def waiting_lines(plan: WeekPlan) -> tuple[Waiting, ...]:
    """The lines that do not go straight through, by what they wait for, the late first, then those with most lines."""
    by_reason: dict[str, list[LinePromise]] = {}
    for promise in plan.promises:
        if not promise.reason.startswith(_THROUGH):
            by_reason.setdefault(promise.reason, []).append(promise)
    groups = [Waiting(reason, tuple(sorted(ps, key=lambda p: p.line))) for reason, ps in by_reason.items()]
    return tuple(sorted(groups, key=lambda g: (-any(p.is_late for p in g.promises), -len(g.promises), g.reason)))


def bundled(tasks: Sequence[Task]) -> Iterator[Task]:
    """Counting, inspecting and packing of many lines in a row is one bar: nobody reads twenty slivers."""
    held: Task | None = None
    for task in tasks:
        if held and task.kind in _BENCH and held.kind in _BENCH and task.start - held.end <= _TOGETHER:
            build = held.build if held.build == task.build else ""
            lines = tuple(dict.fromkeys((*held.lines, *task.lines)))
            held = replace(held, end=task.end, build=build, lines=lines, label=INSPECT_AND_PACK)
            continue
        if held:
            yield held
        held = task
    if held:
        yield held
