"""A planned week: builds on a calendar, a date and a price for each line, what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from functools import cached_property

from cakewright.findings import Finding
from cakewright.model.build import Build
from cakewright.model.cell import Cell
from cakewright.model.order import OrderLine, OrderList
from cakewright.model.part import Part


class TaskKind(StrEnum):
    """What somebody or something does. Values are words a person reads on the calendar."""

    CHANGE = "change material"
    SERVICE = "service"
    LOAD = "load and check"
    PRINT = "print"
    COOL = "cool"
    UNLOAD = "lift chamber out"
    CLEAN_DOWN = "clean bench for another material"
    UNPACK = "unpack and sieve"
    CLEAN = "clean chamber"
    FINISH = "finish"
    WAIT = "dry or cure"
    TEST = "test specimens"
    RESULT = "wait for the test result"
    INSPECT = "count and inspect"
    PACK = "pack"


@dataclass(frozen=True, slots=True)
class Task:
    """One bar on the calendar, [start, end) in UTC.

    `resources` names machine, chamber, station and people in use; `build` and `lines` what it is for;
    `needs_hands` whether somebody must be there.
    """

    kind: TaskKind
    build: str
    lines: tuple[int, ...]
    start: datetime
    end: datetime
    machine: str = ""
    chamber: str = ""
    station: str = ""
    people: tuple[str, ...] = ()
    label: str = ""

    @property
    def needs_hands(self) -> bool:
        """True when a person does it."""
        return bool(self.people)


@dataclass(frozen=True, slots=True)
class LinePromise:
    """When a line is done, against when it is due, and why.

    `ready` is the planned instant, `p50`/`p90` from simulated weeks (None when not simulated),
    `due_by` the last instant that still counts as on time. `reason` says what it waits for, in words.
    `if_fails` is when it is ready in nine of ten cases if a build that holds its pieces fails; `start_pieces` how
    many pieces to start so that enough are good.
    """

    line: int
    ready: datetime | None
    due_by: datetime
    p50: datetime | None
    p90: datetime | None
    on_time_probability: float | None
    reason: str
    if_fails: datetime | None = None
    start_pieces: int | None = None

    @property
    def is_late(self) -> bool:
        """True when the planned instant is after the due instant, or there is none."""
        return self.ready is None or self.ready > self.due_by


@dataclass(frozen=True, slots=True)
class LineCost:
    """Cost of one line, whole line, in the cell's currency."""

    line: int
    machine: float
    powder_in_parts: float
    refresh_burden: float
    hands: float
    finish: float
    risk: float

    @property
    def total(self) -> float:
        """Everything added up."""
        return self.machine + self.powder_in_parts + self.refresh_burden + self.hands + self.finish + self.risk


@dataclass(frozen=True, slots=True)
class SetAside:
    """A line that could not be planned and what would change that."""

    line: int
    reason: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Schedule:
    """All tasks of a plan and how the schedule was found."""

    start: datetime
    tasks: tuple[Task, ...]
    method: str
    validated: bool
    notes: tuple[str, ...] = ()

    def of_build(self, key: str) -> tuple[Task, ...]:
        """Tasks of one build in time order."""
        return tuple(sorted((t for t in self.tasks if t.build == key), key=lambda t: (t.start, t.end)))


@dataclass(frozen=True, eq=False)
class WeekPlan:
    """The whole plan of one run; a plan is a version, never overwritten.

    `parts` maps part keys to parts; `part_of_line` maps line numbers to part keys.
    """

    cell: Cell
    orders: OrderList
    start: datetime
    parts: Mapping[str, Part]
    part_of_line: Mapping[int, str]
    builds: tuple[Build, ...]
    schedule: Schedule
    promises: tuple[LinePromise, ...]
    costs: tuple[LineCost, ...]
    set_aside: tuple[SetAside, ...]
    findings: tuple[Finding, ...]
    seed: int
    version: int = 0
    made_by: str = ""
    timings: Mapping[str, float] = field(default_factory=dict)

    def line(self, number: int) -> OrderLine:
        """The order line with that number."""
        return self._line_of[number]

    def build(self, key: str) -> Build:
        """The build with that key."""
        return self._build_of[key]

    def promise(self, number: int) -> LinePromise:
        """The promise for a line number."""
        return next(promise for promise in self.promises if promise.line == number)

    def builds_of(self, number: int) -> tuple[Build, ...]:
        """The builds that hold pieces of a line."""
        return self._builds_of.get(number, ())

    @cached_property
    def _line_of(self) -> dict[int, OrderLine]:
        return {line.line: line for line in self.orders.lines}

    @cached_property
    def _build_of(self) -> dict[str, Build]:
        return {build.key: build for build in self.builds}

    @cached_property
    def _builds_of(self) -> dict[int, tuple[Build, ...]]:
        found: dict[int, tuple[Build, ...]] = {}
        for build in self.builds:
            for number in dict.fromkeys(build.lines):
                found[number] = (*found.get(number, ()), build)
        return found

    @property
    def late(self) -> tuple[LinePromise, ...]:
        """Promises that miss their day."""
        return tuple(promise for promise in self.promises if promise.is_late)
