"""What narrows a schedule besides hours and places: changeovers, services, closures, utilities, powder, tests.

The arrays for the kernel, from the cell and the jobs.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, time, timedelta
from typing import Any

import numpy as np

from cakewright.model.cell import Cell, FinishStep
from cakewright.model.plan import TaskKind
from cakewright.schedule.calendars import Span, local_minute, merge, minutes_after, person_spans
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.kept import Kept, minutes_of, unset
from cakewright.schedule.trained import with_skill
from cakewright.units import MIN_PER_H

G_PER_KG = 1000


def closed_by_plan(cell: Cell, origin: datetime) -> dict[str, list[Span]]:
    """Closures of the cell file as minutes by machine, chamber, station or person.

    One of a utility closes whatever cannot run without it.
    """
    closed: dict[str, list[Span]] = defaultdict(list)
    for closure in cell.closures:
        span = local_minute(origin, closure.start, cell.zone), local_minute(origin, closure.end, cell.zone)
        needing = [m.name for m in cell.machines if closure.what in m.utilities]
        needing += [s.name for s in cell.stations if closure.what in s.utilities]
        for name in {closure.what, *needing}:
            closed[name].append(span)
    return dict(closed)


def all_closed(cell: Cell, origin: datetime, more: Mapping[str, Sequence[Span]], kept: Kept) -> dict[str, list[Span]]:
    """Closures of the cell, windows out of use, and changes of material or services that go on."""
    closed = closed_by_plan(cell, origin)
    for name, spans in more.items():
        closed[name] = [*closed.get(name, []), *spans]
    for (_, kind), task in kept.of_build.items():
        if kind in {TaskKind.CHANGE, TaskKind.SERVICE}:
            closed[task.machine] = [*closed.get(task.machine, []), minutes_of(task, origin)]
    return {name: merge(spans) for name, spans in closed.items()}


def staffed_spans(cell: Cell, skill: str, origin: datetime, horizon_min: int) -> list[Span]:
    """When at least one person with a skill is in."""
    return merge(
        span
        for person in with_skill(cell, skill, origin, horizon_min)
        for span in person_spans(person, cell.holidays, cell.zone, origin, horizon_min)
    )


def limit_arrays(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    kept: Kept,
    origin: datetime,
    watch_row: Callable[[str], int],
    station_row: int,
) -> dict[str, Any]:
    """Arrays of machines, utilities, powder and tests; `watch_row` gives the calendar in which a skill is there."""
    machines = cell.machines
    utilities = cell.utilities
    watched = np.array([m.watched_min for m in machines], dtype=np.int64)
    powder = _powder(cell, builds, origin)
    most = np.array([u.machines_at_once for u in utilities], dtype=np.int64)
    return {
        "has_services": any(m.service_every_h > 0 for m in machines),
        "has_supplies": bool(watched.any() or most.any() or powder["virgin"].any()),
        "has_clean_down": any(s.clean_down_min > 0 for s in cell.stations) and len({b.material for b in builds}) > 1,
        "machine_material": _loaded(cell, builds, kept, origin),
        "changeover": np.array([m.changeover_min for m in machines], dtype=np.int64),
        "watched": watched,
        "start_row": watch_row("start") if watched.any() else -1,
        "service_every": _minutes(m.service_every_h for m in machines),
        "service": np.array([m.service_min for m in machines], dtype=np.int64),
        "service_run": _minutes(m.hours_since_service for m in machines),
        "utility_of": np.array([[u.name in m.utilities for u in utilities] for m in machines], dtype=np.bool_).reshape(
            len(machines), len(utilities)
        ),
        "utility_most": most,
        "clean_down": np.array([0] * station_row + [s.clean_down_min for s in cell.stations], dtype=np.int64),
        **powder,
        **_tests(builds, kept, origin),
    }


def _minutes(hours: Any) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    return np.array([round(h * MIN_PER_H) for h in hours], dtype=np.int64)


def _loaded(
    cell: Cell, builds: Sequence[BuildJob], kept: Kept, origin: datetime
) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """Material on each machine when the plan starts: its own, or what kept tasks say came first."""
    names = [m.name for m in cell.materials]
    material = {job.key: job.material for job in builds}
    first: dict[str, tuple[datetime, str]] = {}
    for (key, kind), task in kept.of_build.items():
        if kind in {TaskKind.CHANGE, TaskKind.LOAD, TaskKind.PRINT} and task.start <= origin:
            first[task.machine] = min(first.get(task.machine, (task.start, material[key])), (task.start, material[key]))
    return np.array(
        [names.index(first[m.name][1] if m.name in first else m.material) for m in cell.machines], dtype=np.int64
    )


def _powder(cell: Cell, builds: Sequence[BuildJob], origin: datetime) -> dict[str, Any]:
    arrivals = sorted(
        (local_minute(origin, datetime.combine(arrival.day + timedelta(days=1), time(0)), cell.zone), i, arrival.kg)
        for i, material in enumerate(cell.materials)
        for arrival in material.arrivals
    )
    return {
        "virgin": np.array([round(job.virgin_kg * G_PER_KG) for job in builds], dtype=np.int64),
        "stock": np.array([round(m.virgin_kg * G_PER_KG) for m in cell.materials], dtype=np.int64),
        "arrival": np.array([(i, t, round(kg * G_PER_KG)) for t, i, kg in arrivals], dtype=np.int64).reshape(-1, 3),
    }


def _tests(builds: Sequence[BuildJob], kept: Kept, origin: datetime) -> dict[str, Any]:
    times = unset(len(builds), 2)
    for b, job in enumerate(builds):
        if task := kept.of_build.get((job.key, TaskKind.TEST)):
            start, end = minutes_of(task, origin)
            result = kept.of_build.get((job.key, TaskKind.RESULT))
            times[b] = start, minutes_after(origin, result.end) if result else end + job.test_wait_min
    down = [kept.of_build.get((job.key, TaskKind.CLEAN_DOWN)) for job in builds]
    return {
        "test": np.array([job.test_min for job in builds], dtype=np.int64),
        "test_wait": np.array([job.test_wait_min for job in builds], dtype=np.int64),
        "kept_test": times,
        "kept_service": np.array([(job.key, TaskKind.SERVICE) in kept.of_build for job in builds], dtype=np.bool_),
        "kept_down": np.array([(t.end - t.start) // timedelta(minutes=1) if t else 0 for t in down], dtype=np.int64),
    }


def watched_rows(steps: Sequence[FinishStep], watch_row: Callable[[str], int]) -> list[int]:
    """For each step the calendar in which somebody with its skill is in, -1 where it may run unwatched."""
    return [watch_row(step.skill) if step.watched else -1 for step in steps]
