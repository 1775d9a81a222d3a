"""One simulated week as tasks on the calendar, so that the validator can judge it like a plan.

Durations are those of the run. A build that stopped and its remake are builds of their own ('B3', 'B3 try 2'). Bench
work that had begun before the week is left out: it is a fact, not something the simulation chose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from cakewright.model.cell import Cell
from cakewright.model.plan import Schedule, Task, TaskKind
from cakewright.schedule.calendars import instant_of
from cakewright.schedule.course import Course, Names
from cakewright.schedule.jobs import BuildJob
from cakewright.schedule.week_rules import CLEAN, LOAD, UNLOAD, UNPACK, Scratch

_MINUTE = timedelta(minutes=1)
_STAGES = ((LOAD, TaskKind.LOAD), (UNLOAD, TaskKind.UNLOAD), (UNPACK, TaskKind.UNPACK), (CLEAN, TaskKind.CLEAN))


def realized_week(
    cell: Cell, builds: Sequence[BuildJob], schedule: Schedule, course: Course, names: Names, week: Scratch
) -> tuple[tuple[BuildJob, ...], Schedule]:
    """The builds with the durations of a run, and its schedule; `week` holds what the run wrote down."""
    writer = _Writer(cell, schedule, course, names)
    jobs = []
    for s in range(len(week.machine)):
        if week.machine[s] >= 0:
            jobs.append(writer.build(builds[s % len(builds)], s, week))
    for k in range(len(course.preds)):
        writer.bench(k, names, week)
    tasks = tuple(sorted(writer.tasks, key=lambda t: (t.start, t.end, t.kind, t.build)))
    return tuple(jobs), replace(schedule, tasks=tasks)


class _Writer:
    """Collects tasks with names and instants."""

    def __init__(self, cell: Cell, schedule: Schedule, course: Course, names: Names) -> None:
        self.people = names.people
        self.cell, self.origin, self.course, self.tasks = cell, schedule.start, course, list[Task]()

    def add(self, kind: TaskKind, build: str, start: int, end: int, *, person: int = -1, machine: str = "",
            chamber: str = "", station: int = -1, lines: tuple[int, ...] = (), label: str = "") -> None:  # fmt: skip
        """File one task unless it lasts no time."""
        if end <= start:
            return
        people = (self.people[person],) if person >= 0 else ()
        bench = self.cell.stations[station - self.course.station_row].name if station >= 0 else ""
        begin, over = instant_of(self.origin, start), instant_of(self.origin, end)
        self.tasks.append(Task(kind, build, lines, begin, over, machine, chamber, bench, people, label))

    def build(self, job: BuildJob, s: int, week: Scratch) -> BuildJob:
        """Tasks of one try of a build, and the build as it went."""
        n = len(self.course.machine)
        b, again = s % n, s // n
        key = f"{job.key} try {again + 1}" if again else job.key
        machine, chamber = self.cell.machines[week.machine[s]].name, self.cell.chambers[week.chamber[s]].name
        load, door, printed, cold = (int(x) for x in (week.at[s, LOAD], week.till[s, LOAD], week.printed[s],
                                                      week.cold[s]))  # fmt: skip
        change, service = int(week.change[s]), int(week.service[s])
        if self.course.planned[b, LOAD] >= 0 or again:
            self.add(TaskKind.SERVICE, key, load - change - service, load - change, machine=machine)
            self.add(TaskKind.CHANGE, key, load - change, load, machine=machine, label=f"to {job.material}")
        self.add(TaskKind.PRINT, key, door, printed, machine=machine, chamber=chamber)
        self.add(TaskKind.COOL, key, printed, cold, chamber=chamber)
        for stage, kind in _STAGES:
            start, end = int(week.at[s, stage]), int(week.till[s, stage])
            station = int(week.station[s]) if stage == UNPACK else -1
            self.add(kind, key, start, end, person=int(week.by[s, stage]), chamber=chamber, station=station,
                     machine=machine if stage in (LOAD, UNLOAD) else "")  # fmt: skip
        down = int(week.down[s])
        self.add(TaskKind.CLEAN_DOWN, key, int(week.at[s, UNPACK]) - down, int(week.at[s, UNPACK]),
                 person=int(week.by[s, UNPACK]), station=int(week.station[s]))  # fmt: skip
        stopped = s + n < len(week.machine) and week.machine[s + n] >= 0  # a low cake is cool sooner than a whole one
        least = job.minimum_cool_in_machine_min
        minutes = [int(week.till[s, stage] - week.at[s, stage]) for stage, _ in _STAGES]
        went = replace(job, key=key, print_min={machine: max(1, printed - door)}, cool_min=max(0, cold - printed))
        went = replace(went, load_min=minutes[0], unload_min=minutes[1], unpack_min=minutes[2], clean_min=minutes[3])
        least = min(least, cold - printed) if stopped else least
        kg = 0.0 if again else job.virgin_kg
        return replace(went, minimum_cool_in_machine_min=least, virgin_kg=kg, pinned_machine=None, test_min=0)

    def bench(self, k: int, names: Names, week: Scratch) -> None:
        """The hands and the station of one piece of bench work."""
        c, start = self.course, int(week.node_at[k])
        if c.node_planned[k] < 0 or start < 0:
            return
        hands, run, dry = (int(x) for x in week.node_till[k])
        lines = tuple(n for i, n in enumerate(names.lines) if c.node_lines[k, i])
        person, station, label = int(week.node_by[k]), int(week.node_where[k]), f"work {k}: "
        kind = TaskKind.FINISH if names.kinds[k] is TaskKind.WAIT else names.kinds[k]
        self.add(kind, "", start, hands if person >= 0 else start, person=person, station=station, lines=lines,
                 label=label)  # fmt: skip
        self.add(kind, "", hands if person >= 0 else start, run, station=station, lines=lines, label=label)
        self.add(TaskKind.WAIT, "", run, dry, lines=lines, label=label)
