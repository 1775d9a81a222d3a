"""A plan's tasks as the arrays that `runs` replays: who follows whom, who may do it, when it was planned.

Made from the finished schedule only, so it does not matter how that was found. Minutes count from the schedule's start;
tasks planned before it have begun and are not moved.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from cakewright.errors import InputError
from cakewright.model.cell import Cell, FinishStep
from cakewright.model.plan import Schedule, Task, TaskKind
from cakewright.schedule.calendars import FAR, Span, gaps, merge, minutes_after, person_spans, weekday_spans
from cakewright.schedule.instance import (
    INSPECT,
    PACK,
    START,
    UNPACK,
    BoolArray,
    IntArray,
    machines_of,
)
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.kept import NOTHING_KEPT
from cakewright.schedule.limits import closed_by_plan, limit_arrays, staffed_spans
from cakewright.schedule.trained import trained_people
from cakewright.sources.schedule import HORIZON_DAYS

_MIN_PER_DAY = 24 * 60
_HANDS_OF_BUILD = (TaskKind.LOAD, TaskKind.UNLOAD, TaskKind.UNPACK, TaskKind.CLEAN)
_BENCH = (TaskKind.FINISH, TaskKind.WAIT)
_DONE = (TaskKind.INSPECT, TaskKind.PACK)
_LIMITS = ("machine_material", "changeover", "service_every", "service", "service_run", "watched", "start_row",
           "utility_of", "utility_most", "clean_down", "virgin", "stock", "arrival")  # fmt: skip


class Course(NamedTuple):
    """b builds, m machines, c chambers, n bench nodes, l lines; rows: people, stations, machines, weekday calendars."""

    busy: IntArray  # (rows, capacity, 2)
    used: IntArray  # (rows,)
    station_row: int
    machine_row: int
    chamber_row: int
    may_start: BoolArray  # (people,)
    may_unpack: BoolArray  # (people,)
    planned: IntArray  # (b, 4) start of load, lifting out, unpacking, cleaning
    who: IntArray  # (b, 4) planned person, -1 unknown
    hands: IntArray  # (b, 4)
    machine: IntArray  # (b,)
    chamber: IntArray  # (b,)
    bench: IntArray  # (b,) row of the station at which it is planned to be unpacked
    release: IntArray  # (b,)
    material: IntArray  # (slots,) of each build and its further tries
    serviced: BoolArray  # (b,) what has begun was loaded after a service
    is_set_up: BoolArray  # (b,) its change of material or service has begun before the week
    machine_material: IntArray  # (m,) at the start
    changeover: IntArray  # (m,) minutes
    service_every: IntArray  # (m,) printed minutes, 0: no service
    service: IntArray  # (m,) minutes
    service_run: IntArray  # (m,) printed minutes since the last service
    watched: IntArray  # (m,) first minutes of a print that need somebody in
    start_row: int  # calendar in which somebody who may start is in, -1 when no machine asks
    utility_of: BoolArray  # (m, utilities)
    utility_most: IntArray  # (utilities,) machines printing at once, 0: no limit
    clean_down: IntArray  # (rows,) minutes when a cake of another material follows
    virgin: IntArray  # (b,) grams, for the first try: a remake takes what is there
    stock: IntArray  # (materials,) grams
    arrival: IntArray  # (n, 3) material, minute, grams
    printing: IntArray  # (b, m) 0 where it cannot
    in_machine: IntArray  # (b,)
    print_end: IntArray  # (b,) planned
    chamber_ok: BoolArray  # (b, c)
    unpack_ok: BoolArray  # (b, rows)
    node_planned: IntArray  # (n,)
    node_who: IntArray  # (n,)
    node_may: BoolArray  # (n, people)
    node_hands: IntArray  # (n,)
    node_run: IntArray  # (n,) station time, hands included
    node_wait: IntArray  # (n,)
    node_day: IntArray  # (n,) row of its weekdays, -1
    node_watch: IntArray  # (n,) row in which somebody is in while it runs, -1: runs unwatched
    node_ok: BoolArray  # (n, rows) stations; none: no station is needed
    node_lines: BoolArray  # (n, l)
    node_done: BoolArray  # (n,) True for inspection and packing: their end may be the line's
    preds: IntArray  # (n,) how many nodes and builds it waits for
    succ_at: IntArray  # (n+1,)
    succ: IntArray
    entry_at: IntArray  # (n+1,) builds whose unpacking a node waits for
    entry: IntArray
    longest: IntArray  # (people,) longest unbroken stretch


@dataclass(slots=True)
class _Node:
    """One piece of bench work."""

    start: int
    hands: int
    run: int
    lines: frozenset[int]
    kind: TaskKind
    station: str = ""
    person: str = ""
    wait: int = 0
    builds: set[str] = field(default_factory=set)
    before: set[int] = field(default_factory=set)
    step: int = -1  # which step of its finish, -1 when that is not certain


@dataclass(frozen=True, eq=False)
class Names:
    """What the indices of a Course stand for."""

    builds: tuple[str, ...]
    lines: tuple[int, ...]
    kinds: tuple[TaskKind, ...]  # of the bench work
    people: tuple[str, ...]  # of each row; somebody whose training ends has one for each stretch


def horizon_of(schedule: Schedule) -> int:
    """Minutes that a calendar for simulated weeks covers: three times the plan, and the usual first length."""
    last = max((t.end for t in schedule.tasks), default=schedule.start)
    return 3 * max(0, minutes_after(schedule.start, last)) + int(HORIZON_DAYS.value) * _MIN_PER_DAY


def make_course(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    schedule: Schedule,
    tries: int,
    closed: Mapping[str, Sequence[Span]] | None = None,
) -> tuple[Course, Names]:
    """The arrays of a plan, with room in the calendars for `tries` of every build.

    Raises InputError when a build has no loading and no print in the schedule.
    """
    jobs = {line.line: line for line in lines if line.builds}
    nodes = _nodes(schedule, jobs)
    done = {number for node in nodes if node.kind is TaskKind.PACK or node.kind is TaskKind.INSPECT
            for number in node.lines}  # fmt: skip
    numbers = tuple(number for number in jobs if number in done)
    table = _Table(cell, schedule, closed or {})
    on_calendar = _builds(cell, builds, schedule, table, tries)
    arrays = {**on_calendar, **_bench(cell, nodes, jobs, numbers, [b.key for b in builds], table)}
    busy, used, longest = table.packed(4 * tries * len(builds) + 2 * len(nodes) + 8)
    course = Course(busy=busy, used=used, longest=longest, station_row=table.station_row,
                    machine_row=table.machine_row, chamber_row=table.chamber_row, **arrays)  # fmt: skip
    kinds, people = tuple(node.kind for node in nodes), tuple(p.name for p in table.staff)
    return course, Names(tuple(b.key for b in builds), numbers, kinds, people)


class _Table:
    """Busy spans of people, stations and machines, and calendars of weekdays, as rows of one table."""

    def __init__(self, cell: Cell, schedule: Schedule, closed: Mapping[str, Sequence[Span]]) -> None:
        self.cell, self.origin, self.horizon = cell, schedule.start, horizon_of(schedule)
        self.staff = trained_people(cell, self.origin, self.horizon)  # somebody whose training ends: once a stretch
        self.station_row = len(self.staff)
        self.machine_row = self.station_row + len(cell.stations)
        self.chamber_row = self.machine_row + len(cell.machines)
        taken = {name: [*spans] for name, spans in closed.items()}
        for name, spans in closed_by_plan(cell, self.origin).items():
            taken.setdefault(name, []).extend(spans)
        for task in schedule.tasks:
            if not task.build and not task.lines:  # upkeep: stays where it is planned
                span = (minutes_after(self.origin, task.start), minutes_after(self.origin, task.end))
                for name in (*task.people, task.machine, task.station):
                    taken.setdefault(name, []).append(span)
        self.rows = [
            merge([*gaps(person_spans(p, cell.holidays, cell.zone, self.origin, self.horizon)), *taken.get(p.name, ())])
            for p in self.staff
        ]
        for name in [x.name for group in (cell.stations, cell.machines, cell.chambers) for x in group]:
            self.rows.append(merge([(-FAR, -FAR + 1), *taken.get(name, ()), (self.horizon, FAR)]))
        self._extra: dict[object, int] = {}

    def person(self, names: Iterable[str], minute: int) -> int:
        """Row of the first name, of the stretch of training in which a minute lies; -1 for none."""
        rows = [i for name in names for i, p in enumerate(self.staff) if p.name == name]
        there = [i for i in rows if not any(start <= minute < end for start, end in self.rows[i])]
        return next(iter([*there, *rows]), -1)

    def day(self, step: FinishStep | None) -> int:
        """Row that is free on the days on which a step is run, -1 for any day."""
        if step is None or (not step.weekdays and step.every_weeks == 1):
            return -1
        key = (step.weekdays, step.every_weeks, step.first_day)
        if key not in self._extra:
            self._extra[key] = len(self.rows)
            self.rows.append(gaps(weekday_spans(
                step.weekdays, self.cell.zone, self.origin, self.horizon, step.every_weeks, step.first_day
            )))  # fmt: skip
        return self._extra[key]

    def is_day(self, step: FinishStep, minute: int) -> bool:
        """True when a step may be run at a minute as far as its days go."""
        row = self.day(step)
        return row < 0 or not any(start <= minute < end for start, end in self.rows[row])

    def watch(self, skill: str) -> int:
        """Row that is free while somebody with a skill is in."""
        if skill not in self._extra:
            self._extra[skill] = len(self.rows)
            self.rows.append(gaps(staffed_spans(self.cell, skill, self.origin, self.horizon)))
        return self._extra[skill]

    def may(self, skill: str) -> list[bool]:
        """Who has a skill, while they have it."""
        return [skill in p.skills for p in self.staff]

    def stations(self, kind: str, material: str, rows: int) -> BoolArray:
        """Rows of the stations of a kind that take a material."""
        allowed = np.zeros(rows, dtype=np.bool_)
        for i, s in enumerate(self.cell.stations):
            allowed[self.station_row + i] = s.kind == kind and (not s.materials or material in s.materials)
        return allowed

    def packed(self, extra: int) -> tuple[IntArray, IntArray, IntArray]:
        """Table, entries in use, longest free stretch of each person."""
        busy = np.zeros((len(self.rows), max(map(len, self.rows)) + extra, 2), dtype=np.int64)
        for i, spans in enumerate(self.rows):
            busy[i, : len(spans)] = spans
        longest = [max((b[0] - a[1] for a, b in pairwise(row)), default=0)
                   for row in self.rows[: self.station_row]]  # fmt: skip
        return busy, np.array([len(r) for r in self.rows], dtype=np.int64), np.array(longest, dtype=np.int64)


def _builds(cell: Cell, builds: Sequence[BuildJob], schedule: Schedule, table: _Table, tries: int) -> dict[str, Any]:
    n, origin = len(builds), schedule.start
    planned, who = np.zeros((n, 4), dtype=np.int64), np.full((n, 4), -1, dtype=np.int64)
    machine, chamber, print_end = (np.zeros(n, dtype=np.int64) for _ in range(3))
    machines, chambers = [m.name for m in cell.machines], [c.name for c in cell.chambers]
    serviced, bench = np.zeros(n, dtype=np.bool_), np.full(n, -1, dtype=np.int64)
    is_set_up, stations = np.zeros(n, dtype=np.bool_), [s.name for s in cell.stations]
    of = _by_kind(schedule)
    for b, job in enumerate(builds):
        tasks = of[job.key]
        if TaskKind.PRINT not in tasks:
            raise InputError("it has no print in the schedule", remedy="plan it first", where=f"build {job.key}")
        printing = tasks[TaskKind.PRINT]
        print_end[b] = at = minutes_after(origin, printing.end)
        machine[b], chamber[b] = machines.index(printing.machine), chambers.index(printing.chamber)
        at = minutes_after(origin, printing.start)
        for i, kind in enumerate(_HANDS_OF_BUILD):
            if kind in tasks:
                at = minutes_after(origin, tasks[kind].start)
                who[b, i] = table.person(tasks[kind].people, at)
            planned[b, i] = at
        serviced[b] = TaskKind.SERVICE in tasks
        is_set_up[b] = any(k in tasks and tasks[k].start < origin for k in (TaskKind.CHANGE, TaskKind.SERVICE))
        if TaskKind.UNPACK in tasks and tasks[TaskKind.UNPACK].station in stations:
            bench[b] = table.station_row + stations.index(tasks[TaskKind.UNPACK].station)
        if TaskKind.CLEAN_DOWN in tasks:  # by whoever unpacks, right before it
            planned[b, 2] = minutes_after(origin, tasks[TaskKind.CLEAN_DOWN].start)
    made = np.array([_minutes(job, machines, cell) for job in builds], dtype=np.int64)
    for b, job in enumerate(builds):  # where it was planned it can be printed, whatever the file says now
        made[b, machine[b]] = max(1, job.print_min.get(machines[machine[b]], 1))
    suits = np.array([[c.takes(j.material) and c.type == j.chamber_type for c in cell.chambers] for j in builds],
                     dtype=np.bool_).reshape(n, len(chambers))  # fmt: skip
    suits[np.arange(n), chamber] = True
    limits = limit_arrays(cell, builds, (), NOTHING_KEPT, origin, table.watch, table.station_row)
    names = [m.name for m in cell.materials]
    rows = len(table.rows)
    return {
        **{name: limits[name] for name in _LIMITS},
        "material": np.tile(np.array([names.index(j.material) for j in builds], dtype=np.int64), tries),
        "serviced": serviced,
        "is_set_up": is_set_up,
        "may_start": np.array(table.may(START), dtype=np.bool_),
        "may_unpack": np.array(table.may(UNPACK), dtype=np.bool_),
        "planned": planned,
        "who": who,
        "hands": np.array([[j.load_min, j.unload_min, j.unpack_min, j.clean_min] for j in builds], dtype=np.int64),
        "machine": machine,
        "chamber": chamber,
        "bench": bench,
        "release": np.array([minutes_after(origin, j.release) for j in builds], dtype=np.int64),
        "printing": made,
        "in_machine": np.array([j.minimum_cool_in_machine_min for j in builds], dtype=np.int64),
        "print_end": print_end,
        "chamber_ok": suits,
        "unpack_ok": np.array([table.stations("unpack", j.material, rows) for j in builds], dtype=np.bool_),
    }  # fmt: skip


def _by_kind(schedule: Schedule) -> dict[str, dict[TaskKind, Task]]:
    """The first task of each kind of each build."""
    found: dict[str, dict[TaskKind, Task]] = defaultdict(dict)
    for task in schedule.tasks:
        if task.build:
            found[task.build].setdefault(task.kind, task)
    return found


def _minutes(job: BuildJob, machines: Sequence[str], cell: Cell) -> list[int]:
    """Print time on each machine, 0 where it cannot be printed."""
    suits = set(machines_of(cell, job))
    return [job.print_min[name] if name in suits else 0 for name in machines]


def _nodes(schedule: Schedule, jobs: Mapping[int, LineJob]) -> list[_Node]:
    """Bench work with its order: chains of each basket, then inspection and packing of each line."""
    origin = schedule.start
    groups: dict[tuple[str, ...], list[Task]] = defaultdict(list)
    for task in sorted(schedule.tasks, key=lambda t: (t.start, t.end)):
        if task.kind in _BENCH:
            groups["basket", task.label.partition(":")[0], str(task.lines)].append(task)
        elif task.kind in {TaskKind.INSPECT, TaskKind.PACK}:
            groups["line", str(task.lines)].append(task)
    nodes: list[_Node] = []
    last_of_line: dict[int, set[int]] = defaultdict(set)
    for key, tasks in sorted(groups.items(), key=lambda item: item[0][0]):  # baskets before lines
        lines = frozenset(n for n in tasks[0].lines if n in jobs)
        if not lines:
            continue
        chain = [_node(task, origin, lines) for task in tasks]
        first = len(nodes)
        joined = _joined(chain)
        if len(joined) == len(jobs[min(lines)].finish.steps):
            for i, node in enumerate(joined):
                node.step = i
        nodes += joined
        for i in range(first + 1, len(nodes)):
            nodes[i].before.add(i - 1)
        nodes[first].builds = {build for n in lines for build in jobs[n].builds}
        if key[0] == "basket":
            for n in lines:
                last_of_line[n].add(len(nodes) - 1)
        else:
            nodes[first].before |= {i for n in lines for i in last_of_line[n]}
    _add_tests(nodes, schedule, jobs)
    return _shared(nodes)


def _add_tests(nodes: list[_Node], schedule: Schedule, jobs: Mapping[int, LineJob]) -> None:
    """Specimens tested after unpacking, also where nobody waits; who waits for the result is packed no earlier."""
    origin = schedule.start
    for key, tasks in _by_kind(schedule).items():
        waiting = frozenset(n for n, job in jobs.items() if job.waits_for_test and key in job.builds)
        if TaskKind.TEST not in tasks:
            continue
        test = _node(tasks[TaskKind.TEST], origin, waiting)
        result = tasks.get(TaskKind.RESULT)
        test.wait = max(0, minutes_after(origin, result.end) - test.start - test.run) if result else 0
        test.builds = {key}
        nodes.append(test)
        for n in waiting:
            packs = [node for node in nodes if node.kind is TaskKind.PACK and node.lines == {n}]
            if packs:
                min(packs, key=lambda node: node.start).before.add(len(nodes) - 1)


def _shared(nodes: list[_Node]) -> list[_Node]:
    """Baskets that the plan puts into one run of a station become one node: they go in together or not at all."""
    first: dict[tuple[str, int], int] = {}
    into = [first.setdefault((n.station, n.start), i) if n.station else i for i, n in enumerate(nodes)]
    kept = sorted(set(into))
    for i, node in enumerate(nodes):
        if into[i] != i:
            whole = nodes[into[i]]
            whole.lines |= node.lines
            whole.builds |= node.builds
            whole.before |= node.before
            whole.run, whole.wait = max(whole.run, node.run), max(whole.wait, node.wait)
    for i in kept:
        nodes[i].before = {kept.index(into[j]) for j in nodes[i].before if into[j] != i}
    return [nodes[i] for i in kept]


def _node(task: Task, origin: object, lines: frozenset[int]) -> _Node:
    start, end = minutes_after(origin, task.start), minutes_after(origin, task.end)  # type: ignore[arg-type]
    hands = end - start if task.people else 0
    run = end - start if task.station or task.people else 0
    wait = 0 if run else end - start
    return _Node(start, hands, run, lines, task.kind, task.station, task.people[0] if task.people else "", wait)


def _joined(chain: list[_Node]) -> list[_Node]:
    """Hands, then the station that runs by itself, then drying: one node; portions of hand work stay apart."""
    joined = [chain[0]]
    for node in chain[1:]:
        last = joined[-1]
        follows = node.start == last.start + last.run + last.wait and node.kind in _BENCH and not node.hands
        if follows and node.run and node.station == last.station and not last.wait:
            last.run += node.run
        elif follows and not node.run:
            last.wait += node.wait
        else:
            joined.append(node)
    return joined


def _bench(
    cell: Cell,
    nodes: list[_Node],
    jobs: Mapping[int, LineJob],
    numbers: Sequence[int],
    keys: Sequence[str],
    table: _Table,
) -> dict[str, Any]:
    of_station = {s.name: s for s in cell.stations}
    steps = [_step(node, jobs, of_station[node.station].kind if node.station else "", table) for node in nodes]
    days = [table.day(step) for step in steps]
    watched = [table.watch(step.skill) if step and step.watched and node.station else -1
               for node, step in zip(nodes, steps, strict=True)]  # fmt: skip
    rows = len(table.rows)
    may = [table.may(_skill(node, step)) for node, step in zip(nodes, steps, strict=True)]
    for node, row in zip(nodes, may, strict=True):
        if node.person:
            row[table.person([node.person], node.start)] = True
    ok = np.zeros((len(nodes), rows), dtype=np.bool_)
    for i, node in enumerate(nodes):
        if node.station:
            ok[i, table.station_row + list(of_station).index(node.station)] = True
    succ: list[list[int]] = [[] for _ in nodes]
    for i, node in enumerate(nodes):
        for j in node.before:
            succ[j].append(i)
    entry = [sorted(keys.index(build) for build in node.builds) for node in nodes]
    return {
        "node_planned": _ints(node.start for node in nodes),
        "node_who": _ints(table.person([node.person], node.start) for node in nodes),
        "node_may": np.array(may, dtype=np.bool_).reshape(len(nodes), len(table.staff)),
        "node_hands": _ints(node.hands for node in nodes),
        "node_run": _ints(node.run for node in nodes),
        "node_wait": _ints(node.wait for node in nodes),
        "node_day": _ints(days),
        "node_watch": _ints(watched),
        "node_ok": ok,
        "node_lines": np.array([[n in node.lines for n in numbers] for node in nodes], dtype=np.bool_).reshape(
            len(nodes), len(numbers)
        ),
        "node_done": np.array([node.kind in _DONE for node in nodes], dtype=np.bool_),
        "preds": _ints(len(node.before) + len(builds) for node, builds in zip(nodes, entry, strict=True)),
        "succ_at": _offsets(succ),
        "succ": _ints(x for xs in succ for x in xs),
        "entry_at": _offsets(entry),
        "entry": _ints(x for xs in entry for x in xs),
    }


def _step(node: _Node, jobs: Mapping[int, LineJob], kind: str, table: _Table) -> FinishStep | None:
    """The step of the finish that a node carries out.

    By its place in the chain, else by the kind of its station and the days on which it is run.
    """
    if node.kind not in _BENCH:
        return None
    steps = jobs[min(node.lines)].finish.steps
    if node.step >= 0:
        return steps[node.step]
    alike = [step for step in steps if step.station_kind == kind]
    return next((step for step in alike if table.is_day(step, node.start)), alike[0] if alike else None)


def _skill(node: _Node, step: FinishStep | None) -> str:
    if node.kind in {TaskKind.INSPECT, TaskKind.TEST}:
        return INSPECT
    return PACK if node.kind is TaskKind.PACK else step.skill if step else ""


def _ints(values: Iterable[int]) -> IntArray:
    return np.array(list(values), dtype=np.int64)


def _offsets(groups: Sequence[Sequence[int]]) -> IntArray:
    return np.concatenate([[0], np.cumsum([len(g) for g in groups])]).astype(np.int64)
