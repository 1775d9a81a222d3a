"""The judge's other half: materials, services, closures, utilities, powder, tests, and who watches.

Like `validate` it works on instants and tasks and shares no code with the solvers.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise

from cakewright.model.cell import Cell, Machine
from cakewright.model.plan import Task, TaskKind
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.validate_hours import somebody_in

Broken = Callable[[str, str, str], None]  # code, message, where
_MINUTE = timedelta(minutes=1)


def check_limits(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    tasks: Sequence[Task],
    frozen: frozenset[Task],
    started: datetime,
    broken: Broken,
) -> None:
    """File every broken rule of machines, utilities, powder and tests."""
    jobs = {job.key: job for job in builds}
    of: dict[tuple[str, TaskKind], Task] = {
        (t.build, t.kind): t for t in tasks if t.build and t.kind not in {TaskKind.FINISH, TaskKind.WAIT}
    }
    for machine in cell.machines:
        _materials_and_services(machine, jobs, of, tasks, frozen, broken)
    _closures(cell, jobs, of, tasks, frozen, broken)
    _benches(cell, jobs, of, frozen, broken)
    _utilities(cell, jobs, of, broken)
    _powder(cell, builds, of, started, broken)
    _tests(builds, lines, of, tasks, frozen, broken)
    _watched_prints(cell, jobs, of, frozen, broken)


def _stay(key: str, of: Mapping[tuple[str, TaskKind], Task]) -> tuple[datetime, datetime] | None:
    own = [of[key, kind] for kind in (TaskKind.LOAD, TaskKind.PRINT, TaskKind.UNLOAD) if (key, kind) in of]
    return (min(t.start for t in own), max(t.end for t in own)) if own else None


def _materials_and_services(
    machine: Machine,
    jobs: Mapping[str, BuildJob],
    of: Mapping[tuple[str, TaskKind], Task],
    tasks: Sequence[Task],
    frozen: frozenset[Task],
    broken: Broken,
) -> None:
    """A change of material and a service lie between two stays, are long enough, and come when they must."""
    stays = []
    for key, job in jobs.items():
        run = of.get((key, TaskKind.PRINT))
        span = _stay(key, of)
        if run and span and run.machine == machine.name:
            stays.append((*span, job, run))
    between = [t for t in tasks if t.machine == machine.name and t.kind in {TaskKind.CHANGE, TaskKind.SERVICE}]
    spans = sorted([(s, e, job.key) for s, e, job, _ in stays] + [(t.start, t.end, t.kind) for t in between])
    for (_, end, first), (start, _, second) in pairwise(spans):
        if start < end and {first, second} & {TaskKind.CHANGE, TaskKind.SERVICE}:
            broken("machine-twice", f"{machine.name} has {first} until {end} and {second} from {start}", machine.name)
    loaded, hours = machine.material, machine.hours_since_service
    begun = [
        job for start, _, job, run in sorted(stays, key=lambda x: x[0]) if run in frozen or _loaded(job, of, frozen)
    ]
    loaded = begun[0].material if begun else loaded
    queue = sorted(between, key=lambda t: t.end)
    for start, _, job, run in sorted(stays, key=lambda x: x[0]):
        known = _loaded(job, of, frozen)
        while queue and queue[0].end <= start:
            task = queue.pop(0)
            least = machine.changeover_min if task.kind is TaskKind.CHANGE else machine.service_min
            if task not in frozen and task.end - task.start < least * _MINUTE:
                broken("wrong-duration", f"{task.kind} lasts {task.end - task.start}", f"machine {machine.name}")
            if task.kind is TaskKind.CHANGE and task.build in jobs:
                loaded = jobs[task.build].material
            elif task.kind is TaskKind.SERVICE:
                hours = 0.0
        if loaded != job.material and machine.changeover_min and not known:
            broken("no-changeover", f"{machine.name} holds {loaded} when {job.material} is loaded", f"build {job.key}")
        loaded = job.material
        printed = (run.end - run.start) / timedelta(hours=1)
        if machine.service_every_h and hours and hours + printed > machine.service_every_h + 1 / 60 and not known:
            broken(
                "service-due",
                f"{machine.name} would print {hours + printed:.1f} h since its service",
                f"build {job.key}",
            )
        hours += printed


def _loaded(job: BuildJob, of: Mapping[tuple[str, TaskKind], Task], frozen: frozenset[Task]) -> bool:
    return any((job.key, kind) in of and of[job.key, kind] in frozen for kind in (TaskKind.LOAD, TaskKind.PRINT))


def _closures(
    cell: Cell,
    jobs: Mapping[str, BuildJob],
    of: Mapping[tuple[str, TaskKind], Task],
    tasks: Sequence[Task],
    frozen: frozenset[Task],
    broken: Broken,
) -> None:
    """Nothing uses what the cell file closes; a closed utility closes what needs it."""
    needs = {x.name: x.utilities for x in cell.machines} | {x.name: x.utilities for x in cell.stations}
    for closure in cell.closures:
        begins, ends = (t.replace(tzinfo=cell.zone).astimezone(UTC) for t in (closure.start, closure.end))
        shut = {closure.what} | {name for name, names in needs.items() if closure.what in names}
        for task in tasks:
            used = shut & {task.station, *task.people}
            if used and task not in frozen and task.start < ends and begins < task.end:
                broken("out-of-use", f"{', '.join(used)} is closed from {begins} ({closure.why})", f"{task.kind}")
        for key in jobs:
            held = [t for t in tasks if t.build == key and shut & {t.machine, t.chamber}]
            held = [t for t in held if t.kind not in {TaskKind.CHANGE, TaskKind.SERVICE}]
            if not held or _loaded(jobs[key], of, frozen):
                continue
            for name in shut & ({t.machine for t in held} | {t.chamber for t in held}):
                own = [t for t in held if name in (t.machine, t.chamber)]
                if min(t.start for t in own) < ends and begins < max(t.end for t in own):
                    broken("out-of-use", f"{name} is closed from {begins} ({closure.why})", f"build {key}")


def _benches(
    cell: Cell,
    jobs: Mapping[str, BuildJob],
    of: Mapping[tuple[str, TaskKind], Task],
    frozen: frozenset[Task],
    broken: Broken,
) -> None:
    """Between cakes of different materials an unpack station is cleaned down, by hand."""
    for station in cell.stations:
        if not station.clean_down_min:
            continue
        kinds = {TaskKind.UNPACK, TaskKind.CLEAN_DOWN}
        there = [t for (_, kind), t in of.items() if kind in kinds and t.station == station.name and t.build in jobs]
        dusty = ""  # the material whose powder lies on it
        for task in sorted(there, key=lambda t: (t.start, t.end)):
            material, where = jobs[task.build].material, f"build {task.build}"
            if task.kind is TaskKind.CLEAN_DOWN:
                dusty = ""
                if task not in frozen and (task.end - task.start) / _MINUTE < station.clean_down_min:
                    broken("wrong-duration", f"cleaning {station.name} takes {task.end - task.start}", where)
                if task not in frozen and len(task.people) != 1:
                    broken("nobody-assigned", f"nobody cleans {station.name}", where)
                continue
            if dusty not in {"", material} and task not in frozen:
                broken("no-clean-down", f"{station.name} is not cleaned of {dusty} before {material}", where)
            dusty = material


def _utilities(
    cell: Cell, jobs: Mapping[str, BuildJob], of: Mapping[tuple[str, TaskKind], Task], broken: Broken
) -> None:
    """No more machines print at once than a utility carries."""
    for utility in cell.utilities:
        on = {m.name for m in cell.machines if utility.name in m.utilities}
        runs = [of[key, TaskKind.PRINT] for key in jobs if (key, TaskKind.PRINT) in of]
        runs = [t for t in runs if t.machine in on]
        for run in runs:
            at_once = sum(t.start <= run.start < t.end for t in runs)
            if utility.machines_at_once and at_once > utility.machines_at_once:
                broken("utility-overrun", f"{at_once} machines print on {utility.name}", f"build {run.build}")


def _powder(
    cell: Cell,
    builds: Sequence[BuildJob],
    of: Mapping[tuple[str, TaskKind], Task],
    started: datetime,
    broken: Broken,
) -> None:
    """The virgin powder of every loading has come in by then."""
    for material in cell.materials:
        events = [
            (datetime.combine(a.day + timedelta(days=1), time(0), cell.zone).astimezone(UTC), 0, a.kg, "")
            for a in material.arrivals
        ]
        for job in builds:
            load = of.get((job.key, TaskKind.LOAD)) or of.get((job.key, TaskKind.PRINT))
            if job.material == material.name and job.virgin_kg > 0 and load and load.start >= started:
                events.append((load.start, 1, -job.virgin_kg, job.key))
        kg = material.virgin_kg
        for _, _, change, key in sorted(events):
            kg += change
            if change < 0 and kg < -0.001 * (len(builds) + 1):  # charges are planned in whole grams
                broken("powder-missing", f"{-kg:.2f} kg of virgin {material.name} are missing", f"build {key}")


def _tests(
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    of: Mapping[tuple[str, TaskKind], Task],
    tasks: Sequence[Task],
    frozen: frozenset[Task],
    broken: Broken,
) -> None:
    """Specimens are tested after unpacking; what waits for the result is packed after it."""
    results: dict[str, datetime] = {}
    for job in builds:
        if not job.test_min:
            continue
        test, unpack = of.get((job.key, TaskKind.TEST)), of.get((job.key, TaskKind.UNPACK))
        if test is None:
            broken("missing-task", "its specimens are not tested", f"build {job.key}")
            continue
        result = of.get((job.key, TaskKind.RESULT))
        results[job.key] = result.end if result else test.end + job.test_wait_min * _MINUTE
        if test in frozen:
            continue
        if test.end - test.start != job.test_min * _MINUTE or len(test.people) != 1:
            broken("wrong-duration", f"the test takes {test.end - test.start}", f"build {job.key}")
        if unpack and test.start < unpack.end:
            broken("wrong-order", "specimens are tested before they are unpacked", f"build {job.key}")
        if results[job.key] < test.end + job.test_wait_min * _MINUTE and result not in frozen:
            broken("wrong-duration", "the result comes too soon", f"build {job.key}")
    packed: dict[int, list[Task]] = defaultdict(list)
    for task in tasks:
        if task.kind is TaskKind.PACK and task not in frozen:
            packed[task.lines[0]].append(task)
    for line in lines:
        known = max((results[key] for key in line.builds if key in results), default=None)
        if line.waits_for_test and known and any(t.start < known for t in packed[line.line]):
            broken("not-released", f"is packed before the result {known}", f"line {line.line}")


def _watched_prints(
    cell: Cell,
    jobs: Mapping[str, BuildJob],
    of: Mapping[tuple[str, TaskKind], Task],
    frozen: frozenset[Task],
    broken: Broken,
) -> None:
    """Somebody who may start the machine is in for the first minutes of a print."""
    watched = {m.name: m.watched_min for m in cell.machines}
    for key in jobs:
        run = of.get((key, TaskKind.PRINT))
        if run is None or run in frozen or _loaded(jobs[key], of, frozen) or not watched.get(run.machine):
            continue
        until = min(run.end, run.start + watched[run.machine] * _MINUTE)
        if not somebody_in(cell, "start", run.start, until):
            broken("unwatched", f"nobody who may start {run.machine} is in at {run.start}", f"build {key}")
