"""Tasks that are fixed: started, done or promised. They keep their times and names; everything else goes around them.

`UNSET` marks what is not fixed. Times of kept tasks may lie before the origin.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise

import numpy as np

from cakewright.errors import InputError
from cakewright.model.cell import Cell
from cakewright.model.plan import Task, TaskKind
from cakewright.schedule.calendars import FAR, Span, minutes_after
from cakewright.schedule.jobs import BuildJob, LineJob

UNSET = -FAR
OF_BUILD = (TaskKind.LOAD, TaskKind.UNLOAD, TaskKind.UNPACK, TaskKind.CLEAN)
BEFORE = (TaskKind.CHANGE, TaskKind.SERVICE)  # done for a build, before it is begun
_BENCH = (TaskKind.FINISH, TaskKind.WAIT)
_REMEDY = "give the tasks of the plan that is being replaced, unchanged"


@dataclass(frozen=True, slots=True)
class Kept:
    """Kept tasks by what they belong to."""

    tasks: tuple[Task, ...] = ()
    of_build: Mapping[tuple[str, TaskKind], Task] = field(default_factory=dict)
    of_basket: Mapping[str, tuple[Task, ...]] = field(default_factory=dict)  # by name of the basket, in order of time
    of_line: Mapping[tuple[int, TaskKind], tuple[Task, ...]] = field(default_factory=dict)

    def basket_lines(self) -> dict[str, tuple[int, ...]]:
        """Lines of each basket that has been begun."""
        return {name: tasks[0].lines for name, tasks in self.of_basket.items()}


NOTHING_KEPT = Kept()


def sort_kept(frozen: Sequence[Task], cell: Cell, builds: Sequence[BuildJob], lines: Sequence[LineJob]) -> Kept:
    """Kept tasks sorted by build, basket and line.

    Raises InputError when one names a build, line or resource that is not given, when a build is begun without its
    loading, or when two of them use one person at once.
    """
    _check_names(frozen, cell, builds, lines)
    of_build: dict[tuple[str, TaskKind], Task] = {}
    of_basket: dict[str, list[Task]] = defaultdict(list)
    of_line: dict[tuple[int, TaskKind], list[Task]] = defaultdict(list)
    for task in sorted(frozen, key=lambda t: (t.start, t.end)):
        if task.kind in _BENCH:
            of_basket[basket_name(task)].append(task)
        elif task.kind in {TaskKind.INSPECT, TaskKind.PACK}:
            of_line[task.lines[0], task.kind].append(task)
        elif (task.build, task.kind) in of_build:
            raise InputError(f"'{task.kind}' is kept twice", remedy=_REMEDY, where=f"build {task.build}")
        else:
            of_build[task.build, task.kind] = task
    for job in builds:
        begun = [kind for key, kind in of_build if key == job.key and kind not in BEFORE]
        if begun and job.load_min and TaskKind.LOAD not in begun:
            raise InputError(f"'{begun[0]}' is kept, its loading is not", remedy=_REMEDY, where=f"build {job.key}")
    _check_people(frozen)
    return Kept(
        tuple(frozen),
        of_build,
        {name: tuple(tasks) for name, tasks in of_basket.items()},
        {key: tuple(tasks) for key, tasks in of_line.items()},
    )


def basket_name(task: Task) -> str:
    """The basket that a finishing task belongs to."""
    return task.label.partition(":")[0]


def _check_names(frozen: Sequence[Task], cell: Cell, builds: Sequence[BuildJob], lines: Sequence[LineJob]) -> None:
    machines, chambers = {m.name for m in cell.machines}, {c.name for c in cell.chambers}
    stations, people = {s.name for s in cell.stations}, {p.name for p in cell.people}
    keys, numbers = {b.key for b in builds}, {line.line for line in lines}
    for task in frozen:
        wrong = [
            name
            for name, known in (
                (task.machine, machines),
                (task.chamber, chambers),
                (task.station, stations),
                (task.build, keys),
                *((name, people) for name in task.people),
            )
            if name and name not in known
        ]
        wrong += [f"line {n}" for n in task.lines if n not in numbers]
        if wrong:
            raise InputError(
                f"the kept task '{task.kind}' names {', '.join(wrong)}, not known here",
                remedy="leave tasks of work out that is no longer planned",
                where=f"build {task.build}" if task.build else f"lines {task.lines}",
            )


def _check_people(frozen: Sequence[Task]) -> None:
    by_person: dict[str, set[tuple[datetime, datetime]]] = defaultdict(set)
    for task in frozen:
        for name in task.people:
            by_person[name].add((task.start, task.end))
    for name, spans in by_person.items():
        for (_, end), (start, _) in pairwise(sorted(spans)):
            if start < end:
                raise InputError(f"{name} is in two kept tasks at {start}", remedy="keep only one of them")


def closed_minutes(
    unavailable: Mapping[str, Sequence[tuple[datetime, datetime]]], cell: Cell, origin: datetime
) -> dict[str, list[Span]]:
    """Windows in which something is out of use, as minutes; InputError for names that are not in the cell."""
    known = {x.name for group in (cell.machines, cell.chambers, cell.stations, cell.people) for x in group}
    unknown = sorted(set(unavailable) - known)
    if unknown:
        raise InputError(
            f"out of use: {', '.join(unknown)}, not in the cell", remedy=f"use one of: {', '.join(sorted(known))}"
        )
    return {
        name: [(minutes_after(origin, a), minutes_after(origin, b)) for a, b in windows]
        for name, windows in unavailable.items()
    }


def minutes_of(task: Task, origin: datetime) -> Span:
    """Start and end on the axis."""
    return minutes_after(origin, task.start), minutes_after(origin, task.end)


def unset(*shape: int) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """An array of `UNSET`."""
    return np.full(shape, UNSET, dtype=np.int64)
