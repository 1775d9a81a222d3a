"""The scheduling problem as plain arrays, for the kernel in `decode`.

Rows of the busy table: people, chambers, stations, then calendars of allowed weekdays. Off-duty time is a busy
span like any other, so 'when is somebody free' is one question. Machines keep their own table, which also
remembers the material, because a change of material takes time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cakewright.errors import InputError, NoCalendarError
from cakewright.model.cell import Cell, Finish, FinishStep, Machine, Person
from cakewright.model.plan import TaskKind
from cakewright.schedule.baskets import Basket, make_baskets, portions, step_minutes
from cakewright.schedule.calendars import FAR, Span, gaps, merge, minutes_after, person_spans, weekday_spans
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.kept import NOTHING_KEPT, UNSET, Kept
from cakewright.schedule.kept_arrays import kept_arrays, kept_ops, rows_of
from cakewright.schedule.limits import all_closed, limit_arrays, staffed_spans, watched_rows
from cakewright.schedule.trained import trained_people
from cakewright.sources.schedule import BASKET_HANDS_MIN, STEADY_WEIGHT

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
FloatArray = NDArray[np.float64]
START, UNPACK, INSPECT, PACK = "start", "unpack", "inspect", "pack"
_KIND = {INSPECT: TaskKind.INSPECT, PACK: TaskKind.PACK}


class Arrays(NamedTuple):
    """Everything the kernel reads; minutes from the origin; b builds, m machines, k baskets, l lines."""

    busy: IntArray  # (rows, capacity, 2) spans in which a person, chamber or station cannot be used
    used: IntArray  # (rows,) entries of `busy` in use
    machine_busy: IntArray  # (m, capacity, 3) start, end, material (-1: closed)
    machine_used: IntArray  # (m,)
    machine_material: IntArray  # (m,) material at the start
    changeover: IntArray  # (m,) minutes
    watched: IntArray  # (m,) first minutes of a print that need somebody in
    start_row: int  # calendar in which somebody who may start a machine is in, -1 when no machine asks
    service_every: IntArray  # (m,) printed minutes, 0: no service
    service: IntArray  # (m,) minutes
    service_run: IntArray  # (m,) printed minutes since the last service
    utility_of: BoolArray  # (m, utilities)
    utility_most: IntArray  # (utilities,) machines printing at once, 0: no limit
    clean_down: IntArray  # (rows,) minutes when a cake of another material follows
    virgin: IntArray  # (b,) grams
    stock: IntArray  # (materials,) grams
    arrival: IntArray  # (n, 3) material, minute, grams, in order of time
    test: IntArray  # (b,) hands
    test_wait: IntArray  # (b,)
    can: BoolArray  # (skills, people)
    release: IntArray  # (b,)
    load: IntArray  # (b,)
    printing: IntArray  # (b, m), 0 where the machine cannot
    in_machine: IntArray  # (b,) least minutes from print end to lifting out
    cool: IntArray  # (b,)
    unload: IntArray  # (b,)
    unpack: IntArray  # (b,)
    clean: IntArray  # (b,)
    material: IntArray  # (b,)
    chamber_ok: BoolArray  # (b, rows)
    unpack_ok: BoolArray  # (b, rows)
    basket_build_at: IntArray  # (k+1,) offsets into basket_build
    basket_build: IntArray
    step_at: IntArray  # (k+1,) offsets into the step arrays
    step_hands: IntArray
    step_run: IntArray
    step_wait: IntArray
    step_skill: IntArray
    step_day_row: IntArray  # row of the weekday calendar, -1 for any day
    step_watch_row: IntArray  # row of the calendar in which somebody is in, -1: runs unwatched
    step_ok: BoolArray  # (steps, rows)
    step_shared: IntArray  # (steps,) steps of equal number may share one run of a station; -1 may not
    step_litres: FloatArray  # (steps,) 0: not known
    capacity_l: FloatArray  # (rows,) 0: no limit
    line_build_at: IntArray  # (l+1,)
    line_build: IntArray
    line_basket_at: IntArray  # (l+1,)
    line_basket: IntArray
    op_at: IntArray  # (l+1,) offsets into the bench work after finishing
    op_hands: IntArray
    op_skill: IntArray
    op_gate: BoolArray  # (ops,) waits for the test results of its builds
    due: IntArray  # (l,)
    weight: FloatArray  # (l,)
    kept_at: IntArray  # (b, 4) starts of kept loading, lifting out, unpacking, cleaning; UNSET where free
    kept_end: IntArray  # (b, 4)
    kept_by: IntArray  # (b, 4) person
    kept_heat: IntArray  # (b, 2) end of a kept print, of a kept cooling
    kept_place: IntArray  # (b, 3) machine, chamber row, station row of kept tasks, -1 where free
    kept_step: IntArray  # (steps, 3) start, end, end of the wait
    kept_step_who: IntArray  # (steps, 2) person, station
    kept_op: IntArray  # (ops, 2) start, end
    kept_op_by: IntArray
    kept_test: IntArray  # (b, 2) start, minute of the result
    kept_service: BoolArray  # (b,) a service before it is kept
    kept_down: IntArray  # (b,) minutes of a kept clean-down
    has_services: bool  # some machine is serviced by printed hours
    has_supplies: bool  # powder, utilities or eyes are counted
    has_clean_down: bool  # some station is cleaned between materials
    kept_booking: IntArray  # (n, 3) row, start, end: people and stations in kept tasks
    steady_at: IntArray  # (b,) loading in the plan before, UNSET where there was none
    steady: float  # cost of a minute by which a loading moves against the plan before


@dataclass(frozen=True, eq=False)
class Instance:
    """Arrays plus the names behind their indices."""

    cell: Cell
    builds: tuple[BuildJob, ...]
    lines: tuple[LineJob, ...]  # only those with builds, in order of the arrays
    baskets: tuple[Basket, ...]
    people: tuple[Person, ...]
    machines: tuple[Machine, ...]
    skills: tuple[str, ...]
    origin: datetime
    horizon_min: int
    arrays: Arrays
    chamber_row: int
    station_row: int
    kept: Kept = NOTHING_KEPT

    def name_of_row(self, row: int) -> str:
        """The person, chamber or station of a row of the busy table; '' for -1."""
        if row < 0:
            return ""
        if row < self.chamber_row:
            return self.people[row].name
        if row < self.station_row:
            return self.cell.chambers[row - self.chamber_row].name
        return self.cell.stations[row - self.station_row].name


def origin_of(start: datetime) -> datetime:
    """The first whole minute at or after `start`, in UTC."""
    if start.tzinfo is None:
        raise InputError("the start has no time zone", remedy="give an instant with a time zone, for example UTC")
    whole = start.replace(second=0, microsecond=0)
    return whole if whole == start else whole + timedelta(minutes=1)


def machines_of(cell: Cell, job: BuildJob) -> list[str]:
    """Machines that may print a build: listed with a time, right material and chamber, pinned if pinned."""
    return [
        m.name
        for m in cell.machines
        if m.name in job.print_min
        and m.takes(job.material)
        and m.chamber_type == job.chamber_type
        and job.pinned_machine in {None, m.name}
    ]


def longest_stretches(cell: Cell, origin: datetime, horizon_min: int) -> dict[str, int]:
    """Longest unbroken span in minutes of anybody with each skill."""
    longest: dict[str, int] = {}
    for person in trained_people(cell, origin, horizon_min):
        spans = person_spans(person, cell.holidays, cell.zone, origin, horizon_min)
        most = max((e - s for s, e in spans), default=0)
        for skill in person.skills:
            longest[skill] = max(longest.get(skill, 0), most)
    return longest


def make_instance(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    origin: datetime,
    horizon_min: int,
    closed: Mapping[str, Sequence[Span]] | None = None,
    kept: Kept = NOTHING_KEPT,
    steady_at: Mapping[str, int] | None = None,
) -> Instance:
    """The arrays for a horizon.

    `closed` takes named machines, chambers, stations or people out for spans; `kept` are tasks that stay as they are;
    `steady_at` gives for builds the minute of their loading in the plan before, from which they should move little.
    """
    people = trained_people(cell, origin, horizon_min)
    people = tuple(sorted(people, key=lambda p: len(p.skills)))  # specialists are asked first
    with_builds = tuple(line for line in lines if line.builds)
    longest = longest_stretches(cell, origin, horizon_min)
    baskets = tuple(make_baskets(with_builds, longest, _largest(cell), kept.basket_lines()))
    skills = tuple(sorted({s for p in people for s in p.skills} | {START, UNPACK, INSPECT, PACK} | _step_skills(lines)))
    chamber_row, station_row = len(people), len(people) + len(cell.chambers)
    closed = all_closed(cell, origin, closed or {}, kept)
    table = _Table(cell, people, origin, horizon_min, closed)
    build_index = {job.key: i for i, job in enumerate(builds)}
    limits = limit_arrays(cell, builds, with_builds, kept, origin, table.watch_row, station_row)
    steps = _step_arrays(cell, baskets, {b.key: b.material for b in builds}, skills, station_row, table)
    ops = [_line_ops(line, longest) for line in with_builds]
    rows = station_row + len(cell.stations)
    by_name = rows_of(people, cell)
    fixed = kept_arrays(kept, cell, builds, baskets, with_builds, origin, by_name, table.rows)
    kinds = [[_KIND[skill] for _, skill in op] for op in ops]
    hands_most = 5 * len(builds) + len(steps["step_hands"]) + sum(map(len, ops)) + len(fixed["kept_booking"]) + 4
    busy, used = table.packed(hands_most)
    machine_busy, machine_used = _machine_table(cell, len(builds), closed)
    arrays = Arrays(
        busy=busy,
        used=used,
        machine_busy=machine_busy,
        machine_used=machine_used,
        **limits,
        can=np.array([[s in p.skills for p in people] for s in skills], dtype=np.bool_),
        **_build_arrays(cell, builds, origin, rows, chamber_row, station_row),
        **_ragged("basket_build", [[build_index[key] for key in b.builds] for b in baskets]),
        **steps,
        **_ragged("line_build", [[build_index[key] for key in line.builds] for line in with_builds]),
        **_ragged("line_basket", [[i for i, b in enumerate(baskets) if ln.line in b.lines] for ln in with_builds]),
        op_at=_offsets(ops),
        op_hands=_ints(hands for op in ops for hands, _ in op),
        op_skill=_ints(skills.index(skill) for op in ops for _, skill in op),
        op_gate=np.array(
            [
                line.waits_for_test and skill == PACK
                for line, op in zip(with_builds, ops, strict=True)
                for _, skill in op
            ],
            dtype=np.bool_,
        ),
        due=_ints(minutes_after(origin, line.due_by) for line in with_builds),
        weight=np.array([line.weight for line in with_builds], dtype=np.float64),
        **kept_ops(fixed.pop("kept_op_tasks"), kinds, origin, by_name),
        **fixed,
        steady_at=_ints((steady_at or {}).get(job.key, UNSET) for job in builds),
        steady=float(STEADY_WEIGHT.value),
    )
    return Instance(
        cell,
        tuple(builds),
        with_builds,
        baskets,
        people,
        cell.machines,
        skills,
        origin,
        horizon_min,
        arrays,
        chamber_row,
        station_row,
        kept,
    )


class _Table:
    """Rows of busy spans; rows for weekday calendars are added as steps ask for them."""

    def __init__(
        self,
        cell: Cell,
        people: Sequence[Person],
        origin: datetime,
        horizon_min: int,
        closed: Mapping[str, Sequence[Span]],
    ) -> None:
        self.cell, self.origin, self.horizon = cell, origin, horizon_min
        self.rows: list[list[Span]] = [
            merge([*gaps(person_spans(p, cell.holidays, cell.zone, origin, horizon_min)), *closed.get(p.name, ())])
            for p in people
        ]
        for name in [*(c.name for c in cell.chambers), *(s.name for s in cell.stations)]:
            self.rows.append(merge([(-FAR, 0), *closed.get(name, ()), (horizon_min, FAR)]))
        self._extra: dict[object, int] = {}

    def day_row(self, step: FinishStep) -> int:
        """The row that is free on the days on which a step is run, -1 when every day is allowed."""
        if not step.weekdays and step.every_weeks == 1:
            return -1
        key = (step.weekdays, step.every_weeks, step.first_day)
        if key not in self._extra:
            spans = weekday_spans(
                step.weekdays, self.cell.zone, self.origin, self.horizon, step.every_weeks, step.first_day
            )
            self._extra[key] = len(self.rows)
            self.rows.append(gaps(spans))
        return self._extra[key]

    def watch_row(self, skill: str) -> int:
        """The row that is free while somebody with the skill is in."""
        if skill not in self._extra:
            self._extra[skill] = len(self.rows)
            self.rows.append(gaps(staffed_spans(self.cell, skill, self.origin, self.horizon)))
        return self._extra[skill]

    def packed(self, extra: int) -> tuple[IntArray, IntArray]:
        """The table as arrays with room for `extra` bookings in each row."""
        busy = np.zeros((len(self.rows), max(map(len, self.rows)) + extra, 2), dtype=np.int64)
        for i, spans in enumerate(self.rows):
            busy[i, : len(spans)] = spans
        return busy, _ints(map(len, self.rows))


def _machine_table(cell: Cell, builds: int, closed: Mapping[str, Sequence[Span]]) -> tuple[IntArray, IntArray]:
    spans = [merge(closed.get(m.name, ())) for m in cell.machines]
    table = np.zeros((len(spans), max(map(len, spans)) + builds + 1, 3), dtype=np.int64)
    for i, row in enumerate(spans):
        for j, (start, end) in enumerate(row):
            table[i, j] = start, end, -1
    return table, _ints(map(len, spans))


def _build_arrays(
    cell: Cell, builds: Sequence[BuildJob], origin: datetime, rows: int, chamber_row: int, station_row: int
) -> dict[str, Any]:
    chamber_ok = np.zeros((len(builds), rows), dtype=np.bool_)
    unpack_ok = np.zeros((len(builds), rows), dtype=np.bool_)
    printing = np.zeros((len(builds), len(cell.machines)), dtype=np.int64)
    for i, job in enumerate(builds):
        for j, chamber in enumerate(cell.chambers):
            chamber_ok[i, chamber_row + j] = chamber.takes(job.material) and chamber.type == job.chamber_type
        for j, station in enumerate(cell.stations):
            serves = not station.materials or job.material in station.materials
            unpack_ok[i, station_row + j] = station.kind == "unpack" and serves
        allowed = set(machines_of(cell, job))
        for j, machine in enumerate(cell.machines):
            printing[i, j] = job.print_min[machine.name] if machine.name in allowed else 0
    return {
        "release": _ints(max(0, minutes_after(origin, job.release)) for job in builds),
        "load": _ints(job.load_min for job in builds),
        "printing": printing,
        "in_machine": _ints(job.minimum_cool_in_machine_min for job in builds),
        "cool": _ints(job.cool_min for job in builds),
        "unload": _ints(job.unload_min for job in builds),
        "unpack": _ints(job.unpack_min for job in builds),
        "clean": _ints(job.clean_min for job in builds),
        "material": _ints(_material_index(cell, job.material) for job in builds),
        "chamber_ok": chamber_ok,
        "unpack_ok": unpack_ok,
    }


def _step_arrays(
    cell: Cell,
    baskets: Sequence[Basket],
    material_of: Mapping[str, str],
    skills: Sequence[str],
    station_row: int,
    table: _Table,
) -> dict[str, Any]:
    flat = [(basket, step) for basket in baskets for step in basket.finish.steps]
    minutes = [step_minutes(step, basket.pieces) for basket, step in flat]
    step_ok = np.zeros((len(flat), station_row + len(cell.stations)), dtype=np.bool_)
    for i, (basket, step) in enumerate(flat):
        for j, station in enumerate(cell.stations):
            serves = not station.materials or material_of[basket.builds[0]] in station.materials
            holds = station.capacity_l <= 0 or basket.litres <= station.capacity_l + 1e-9
            step_ok[i, station_row + j] = station.kind == step.station_kind and serves and holds
        if not step_ok[i].any():
            raise NoCalendarError(
                f"{basket.name} with lines {', '.join(map(str, basket.lines))} needs {basket.litres:.1f} l, more than "
                f"any {step.station_kind} station holds",
                remedy="add a larger station or choose another finish",
                where=f"finish {basket.finish.name}",
            )
    return {
        "step_at": _offsets([basket.finish.steps for basket in baskets]),
        "step_hands": _ints(hands for hands, _ in minutes),
        "step_run": _ints(run for _, run in minutes),
        "step_wait": _ints(step.wait_min for _, step in flat),
        "step_skill": _ints(skills.index(step.skill) for _, step in flat),
        "step_day_row": _ints(table.day_row(step) for _, step in flat),
        "step_watch_row": _ints(watched_rows([step for _, step in flat], table.watch_row)),
        "step_ok": step_ok,
        "step_shared": _ints(_shared_number(flat, material_of)),
        "step_litres": np.array([basket.litres for basket, _ in flat], dtype=np.float64),
        "capacity_l": np.array([0.0] * station_row + [s.capacity_l for s in cell.stations], dtype=np.float64),
    }


def _shared_number(flat: Sequence[tuple[Basket, FinishStep]], material_of: Mapping[str, str]) -> list[int]:
    """One number for each step of a finish that runs by itself for all baskets in it; -1 for hand work."""
    seen: dict[tuple[Finish, int, str], int] = {}
    numbers = []
    at: dict[str, int] = {}
    for basket, step in flat:
        index = at[basket.name] = at.get(basket.name, -1) + 1
        key = (basket.finish, index, material_of[basket.builds[0]])
        alone = step.per_piece_s > 0 or step.staffed_min >= step.minutes
        numbers.append(-1 if alone else seen.setdefault(key, len(seen)))
    return numbers


def _largest(cell: Cell) -> dict[str, float]:
    """Capacity of the largest station of each kind; 0 where one of them has no limit."""
    kinds: dict[str, list[float]] = {}
    for station in cell.stations:
        kinds.setdefault(station.kind, []).append(station.capacity_l)
    return {kind: 0.0 if min(sizes) <= 0 else max(sizes) for kind, sizes in kinds.items()}


def _line_ops(line: LineJob, longest: Mapping[str, int]) -> list[tuple[int, str]]:
    """Bench work after finishing as (hands, skill) portions: inspection, then packing."""
    comfortable = int(BASKET_HANDS_MIN.value)
    return [
        (minutes, skill)
        for skill, whole in ((INSPECT, line.inspect_min), (PACK, line.pack_min))
        for minutes in portions(whole, max(1, min(comfortable, longest.get(skill, 0))))
    ]


def _step_skills(lines: Sequence[LineJob]) -> set[str]:
    return {step.skill for line in lines for step in line.finish.steps}


def _material_index(cell: Cell, name: str) -> int:
    return [m.name for m in cell.materials].index(name)


def _ints(values: Iterable[int]) -> IntArray:
    return np.array(list(values), dtype=np.int64)


def _offsets(groups: Sequence[Sequence[object]]) -> IntArray:
    return np.concatenate([[0], np.cumsum([len(g) for g in groups])]).astype(np.int64)


def _ragged(name: str, groups: Sequence[Sequence[int]]) -> dict[str, Any]:
    return {f"{name}_at": _offsets(groups), name: _ints(x for g in groups for x in g)}
