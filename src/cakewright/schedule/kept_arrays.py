"""Kept tasks as the arrays that the kernel reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from cakewright.errors import InputError
from cakewright.model.cell import Cell, FinishStep, Person
from cakewright.model.plan import Task, TaskKind
from cakewright.schedule.baskets import Basket, step_minutes
from cakewright.schedule.calendars import Span, minutes_after, subtract
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.kept import OF_BUILD, Kept, minutes_of, unset


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of the busy table by name; somebody whose training ends has `stretches` of several rows."""

    person: Mapping[str, int]
    stretches: Mapping[str, tuple[int, ...]]
    chamber: Mapping[str, int]
    station: Mapping[str, int]


def rows_of(people: Sequence[Person], cell: Cell) -> Rows:
    """People first, then chambers, then stations."""
    chamber_row, station_row = len(people), len(people) + len(cell.chambers)
    return Rows(
        {p.name: i for i, p in enumerate(people)},
        {p.name: tuple(i for i, q in enumerate(people) if q.name == p.name) for p in people},
        {c.name: chamber_row + i for i, c in enumerate(cell.chambers)},
        {s.name: station_row + i for i, s in enumerate(cell.stations)},
    )


def kept_arrays(
    kept: Kept,
    cell: Cell,
    builds: Sequence[BuildJob],
    baskets: Sequence[Basket],
    lines: Sequence[LineJob],
    origin: datetime,
    rows: Rows,
    busy: Sequence[Sequence[Span]],
) -> dict[str, Any]:
    """Arrays whose names begin with `kept_`, and the hands and stations that are taken from the start."""
    steps = _of_baskets(kept, baskets, origin, rows)
    running = steps.pop("kept_running")
    return {
        **_of_builds(kept, cell, builds, origin, rows),
        **steps,
        "kept_op_tasks": [_of_line(kept, line) for line in lines],
        "kept_booking": _bookings(kept, origin, rows, busy, running),
    }


def _of_builds(kept: Kept, cell: Cell, builds: Sequence[BuildJob], origin: datetime, rows: Rows) -> dict[str, Any]:
    n = len(builds)
    machines = [m.name for m in cell.machines]
    at, end, by = unset(n, 4), unset(n, 4), np.full((n, 4), -1, dtype=np.int64)
    heat, place = unset(n, 2), np.full((n, 3), -1, dtype=np.int64)
    for b, job in enumerate(builds):
        for i, kind in enumerate(OF_BUILD):
            if task := kept.of_build.get((job.key, kind)):
                at[b, i], end[b, i] = minutes_of(task, origin)
                by[b, i] = rows.person[task.people[0]] if task.people else -1
        printing, cooling = kept.of_build.get((job.key, TaskKind.PRINT)), kept.of_build.get((job.key, TaskKind.COOL))
        if printing:
            heat[b, 0] = minutes_after(origin, printing.end)
            if job.load_min == 0:
                at[b, 0] = end[b, 0] = minutes_after(origin, printing.start)
        if cooling:
            heat[b, 1] = minutes_after(origin, cooling.end)
        first = kept.of_build.get((job.key, TaskKind.LOAD), printing)
        unpack = kept.of_build.get((job.key, TaskKind.UNPACK))
        if first:
            place[b, :2] = machines.index(first.machine), rows.chamber[first.chamber]
        if unpack:
            place[b, 2] = rows.station[unpack.station]
    return {"kept_at": at, "kept_end": end, "kept_by": by, "kept_heat": heat, "kept_place": place}


def _of_baskets(kept: Kept, baskets: Sequence[Basket], origin: datetime, rows: Rows) -> dict[str, Any]:
    n = sum(len(basket.finish.steps) for basket in baskets)
    times, who = unset(n, 3), np.full((n, 2), -1, dtype=np.int64)
    running: list[tuple[int, int, int]] = []
    s = 0
    for basket in baskets:
        queue = list(kept.of_basket.get(basket.name, ()))
        for step in basket.finish.steps:
            parts = _parts_of(step, queue)
            if parts:
                start, end = minutes_after(origin, parts[0].start), minutes_after(origin, parts[-1].end)
                if len(parts) == 1 and 0 < step.staffed_min < step.minutes:  # hands are done, the rest is to come
                    rest, end = end, max(end, start + step_minutes(step, basket.pieces)[1])
                    running.append((rows.station[parts[0].station], rest, end))
                waits = bool(step.wait_min) and bool(queue) and queue[0].kind is TaskKind.WAIT
                over = minutes_after(origin, queue.pop(0).end) if waits else end + step.wait_min
                times[s] = start, end, over
                who[s] = rows.person[parts[0].people[0]] if parts[0].people else -1, rows.station[parts[0].station]
            s += 1
        if queue:
            raise InputError(
                f"{len(queue)} kept tasks of {basket.name} belong to no step of finish {basket.finish.name}",
                remedy="keep the steps of a basket in order, from the first on",
            )
    return {"kept_step": times, "kept_step_who": who, "kept_running": running}


def _parts_of(step: FinishStep, queue: list[Task]) -> list[Task]:
    """The tasks of one step, taken off the queue: the hands' part, then what runs by itself."""
    if not queue or queue[0].kind is not TaskKind.FINISH or not (step.minutes or step.per_piece_s):
        return []
    parts = [queue.pop(0)]
    if 0 < step.staffed_min < step.minutes and queue and queue[0].kind is TaskKind.FINISH and not queue[0].people:
        parts.append(queue.pop(0))
    return parts


def _of_line(kept: Kept, line: LineJob) -> dict[TaskKind, tuple[Task, ...]]:
    return {kind: kept.of_line.get((line.line, kind), ()) for kind in (TaskKind.INSPECT, TaskKind.PACK)}


def _bookings(
    kept: Kept, origin: datetime, rows: Rows, busy: Sequence[Sequence[Span]], running: Sequence[tuple[int, int, int]]
) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """(row, start, end) of people and stations in kept tasks, as far as they are not off duty anyway."""
    taken = {(r, x, y) for r, a, b in running for x, y in subtract([(a, b)], busy[r])}
    for task in kept.tasks:
        for r in [
            *(row for name in task.people for row in rows.stretches[name]),
            *([rows.station[task.station]] if task.station else []),
        ]:
            taken |= {(r, a, b) for a, b in subtract([minutes_of(task, origin)], busy[r])}
    return np.array(sorted(taken), dtype=np.int64).reshape(-1, 3)


def kept_ops(
    tasks: Sequence[Mapping[TaskKind, tuple[Task, ...]]],
    kinds: Sequence[Sequence[TaskKind]],
    origin: datetime,
    rows: Rows,
) -> dict[str, Any]:
    """Start, end and person of bench portions: the kept ones of each kind come first."""
    n = sum(map(len, kinds))
    times, by = unset(n, 2), np.full(n, -1, dtype=np.int64)
    i = 0
    for of_line, portions in zip(tasks, kinds, strict=True):
        queues = {kind: list(queue) for kind, queue in of_line.items()}
        for kind in portions:
            if queue := queues[kind]:
                task = queue.pop(0)
                times[i] = minutes_of(task, origin)
                by[i] = rows.person[task.people[0]] if task.people else -1
            i += 1
        left = [task for queue in queues.values() for task in queue]
        if left:
            raise InputError(
                f"more kept '{left[0].kind}' tasks than the work of the line has portions",
                remedy="leave tasks of work out that is no longer planned",
                where=f"line {left[0].lines[0]}",
            )
    return {"kept_op": times, "kept_op_by": by}
