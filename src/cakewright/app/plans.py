"""Looking at a stored plan: what this moment asks of people, and where the powder goes.

Everything here reads a finished WeekPlan; nothing is planned anew. `at` is always an instant with zone.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from cakewright.documents.timeline import hours_of
from cakewright.findings import Severity
from cakewright.model.build import Build
from cakewright.model.plan import LinePromise, Task, TaskKind, WeekPlan

AHEAD = timedelta(hours=24)  # what "today" reaches to: the same hour tomorrow, nights included
BEFORE_WORK = timedelta(hours=1)
HANDS = (TaskKind.LOAD, TaskKind.UNLOAD, TaskKind.UNPACK, TaskKind.CLEAN, TaskKind.INSPECT, TaskKind.PACK,
         TaskKind.CLEAN_DOWN, TaskKind.TEST)  # fmt: skip


class CakeState(StrEnum):
    """Whether a cake may be opened, in words."""

    HOT = "too hot to open"
    LIKELY = "probably cool: measure before opening"
    COOL = "may be opened"


@dataclass(frozen=True, slots=True)
class PrintEnd:
    """A print that runs now or ends within a day. `spread` is one standard deviation of the end, to the second."""

    build: str
    machine: str
    chamber: str
    start: datetime
    end: datetime
    spread: timedelta
    is_running: bool


@dataclass(frozen=True, slots=True)
class CakeNow:
    """A printed cake that is not unpacked yet. `opening` is (early, likely, late)."""

    build: str
    chamber: str
    state: CakeState
    opening: tuple[datetime, datetime, datetime]
    unpack: datetime | None
    unpacker: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PersonNext:
    """What somebody does now (None: nothing), what comes within a day, and the first thing after that day."""

    name: str
    now: Task | None
    coming: tuple[Task, ...]
    later: Task | None = None


@dataclass(frozen=True, slots=True)
class Missing:
    """Something the week lacks, and what to do about it."""

    what: str
    remedy: str
    where: str = ""


@dataclass(frozen=True, slots=True)
class Morning:
    """Everything the first page says."""

    at: datetime
    ends: tuple[PrintEnd, ...]
    cakes: tuple[CakeNow, ...]
    people: tuple[PersonNext, ...]
    late: tuple[LinePromise, ...]
    missing: tuple[Missing, ...]


@dataclass(frozen=True, slots=True)
class PowderStep:
    """Stock of one material after something happened to it, kg. `change` is (virgin, used)."""

    at: datetime
    build: str
    what: str
    change: tuple[float, float]
    virgin_kg: float
    used_kg: float

    @property
    def is_short(self) -> bool:
        """True when more would be taken than is there."""
        return self.virgin_kg < 0 or self.used_kg < 0


def horizon(plan: WeekPlan) -> tuple[datetime, datetime]:
    """First and last instant of a plan: its start, and the end of its last task."""
    return plan.start, max((task.end for task in plan.schedule.tasks), default=plan.start)


def shown_moment(plan: WeekPlan, now: datetime) -> datetime:
    """`now` when the plan covers it, otherwise an hour before its first task: next week's plan opens on its morning."""
    first, last = horizon(plan)
    if first <= now <= last:
        return now
    begins = min((task.start for task in plan.schedule.tasks), default=first)
    return max(first, begins - BEFORE_WORK)


def morning(plan: WeekPlan, at: datetime) -> Morning:
    """What ends, what may be opened, who does what next, what is late, what is missing, at one instant."""
    return Morning(
        at=at,
        ends=_ends(plan, at),
        cakes=_cakes(plan, at),
        people=_people(plan, at),
        late=tuple(sorted(plan.late, key=lambda p: (p.due_by, p.line))),
        missing=_missing(plan),
    )


def _ends(plan: WeekPlan, at: datetime) -> tuple[PrintEnd, ...]:
    found = []
    for task in sorted(plan.schedule.tasks, key=lambda t: t.end):
        running = task.start <= at < task.end
        if task.kind is TaskKind.PRINT and (running or at <= task.end < at + AHEAD):
            hours = hours_of(plan, plan.build(task.build))
            spread = timedelta(seconds=round(hours.spread.total_seconds()))
            found.append(PrintEnd(task.build, task.machine, task.chamber, task.start, task.end, spread, running))
    return tuple(found)


def _cakes(plan: WeekPlan, at: datetime) -> tuple[CakeNow, ...]:
    cakes = [cake for build in plan.builds if (cake := _cake(plan, build, at)) is not None]
    return tuple(sorted(cakes, key=lambda cake: cake.opening[1]))


def _cake(plan: WeekPlan, build: Build, at: datetime) -> CakeNow | None:
    """The cake of a build while it lies in its chamber: printed, and unpacking not begun."""
    hours = hours_of(plan, build)
    if hours.opening is None or hours.print_end is None or at < hours.print_end:
        return None
    if hours.unpack is not None and at > hours.unpack + timedelta(minutes=1):
        return None
    _early, likely, late = hours.opening
    state = CakeState.COOL if at >= late else CakeState.LIKELY if at >= likely else CakeState.HOT
    return CakeNow(build.key, hours.chamber, state, hours.opening, hours.unpack, hours.unpacker)


def _people(plan: WeekPlan, at: datetime) -> tuple[PersonNext, ...]:
    return tuple(_person(plan, person.name, at) for person in plan.cell.people)


def _person(plan: WeekPlan, name: str, at: datetime) -> PersonNext:
    mine = sorted((t for t in plan.schedule.tasks if name in t.people), key=lambda t: (t.start, t.end))
    now = next((t for t in mine if t.start <= at < t.end), None)
    coming = tuple(t for t in mine if at <= t.start < at + AHEAD and t is not now)
    return PersonNext(name, now, coming, next((t for t in mine if t.start >= at + AHEAD), None))


def _missing(plan: WeekPlan) -> tuple[Missing, ...]:
    """Lines set aside, blocking findings, pieces without a place, work without a person, chamber or machine, powder."""
    found = [Missing(f"Line L{item.line:02d} is not planned: {item.reason}", item.remedy) for item in plan.set_aside]
    told = {item.reason for item in plan.set_aside}
    found += [
        Missing(f.message, f.remedy, f.where)
        for f in plan.findings
        if f.severity is Severity.BLOCKING and f.message not in told
    ]
    for build in plan.builds:
        found += [Missing(f"{out.piece} has no place in {build.key}: {out.reason}", "plan it into a later build")
                  for out in build.nest.left_out]  # fmt: skip
    found += [Missing(f"nobody is planned to {task.kind} {task.build}".strip(), "free somebody, or move the task")
              for task in plan.schedule.tasks if task.kind in HANDS and not task.people]  # fmt: skip
    planned = {task.build: task for task in plan.schedule.tasks if task.kind is TaskKind.PRINT}
    found += [Missing(f"{build.key} has no hour in any machine", "plan again; see whether a machine is out of use")
              for build in plan.builds if build.key not in planned]  # fmt: skip
    if plan.cell.chambers:
        found += [Missing(f"no chamber is planned for {key}", "free a chamber, or plan again")
                  for key, task in planned.items() if not task.chamber]  # fmt: skip
    for material, steps in powder_steps(plan).items():
        short = next((step for step in steps if step.is_short), None)
        if short is not None:
            kind = "virgin" if short.virgin_kg < 0 else "used"
            lacks = -min(short.virgin_kg, short.used_kg)
            found.append(
                Missing(f"{material}: {lacks:.1f} kg {kind} powder short when {short.build} is loaded",
                        "order powder, or change the refresh ratio or the build's height")
            )  # fmt: skip
    return tuple(found)


def powder_steps(plan: WeekPlan) -> dict[str, tuple[PowderStep, ...]]:
    """Stock of each material through the plan: taken when a chamber is loaded, back when it is unpacked."""
    events: dict[str, list[tuple[datetime, str, str, float, float]]] = {m.name: [] for m in plan.cell.materials}
    for build in plan.builds:
        hours, need = hours_of(plan, build), build.powder
        if hours.load is not None:
            events[build.material].append((hours.load, build.key, "loaded", -need.virgin_kg, -need.used_kg))
        if hours.unpack is not None:
            events[build.material].append((hours.unpack, build.key, "unpacked", 0.0, need.back_kg))
    return {m.name: _walk(plan.start, m.virgin_kg, m.used_kg, events[m.name]) for m in plan.cell.materials}


def _walk(
    start: datetime, virgin: float, used: float, events: list[tuple[datetime, str, str, float, float]]
) -> tuple[PowderStep, ...]:
    steps = [PowderStep(start, "", "stock at the start", (0.0, 0.0), virgin, used)]
    for at, build, what, new, old in sorted(events):
        virgin, used = virgin + new, used + old
        steps.append(PowderStep(at, build, what, (new, old), virgin, used))
    return tuple(steps)
