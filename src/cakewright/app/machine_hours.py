"""Where the hours of the machines go, by reason: as planned, and as far as somebody noted it. They sum to the calendar.

Of a machine only the print, lifting out and loading are noted. What lies between two noted builds is known to be an
empty machine; what lies beside a task that nobody noted is 'not recorded', whatever the plan says about it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from cakewright.app.actuals import Records
from cakewright.cost.actuals import LostHours, lost_hours
from cakewright.errors import InputError
from cakewright.model.cell import Machine
from cakewright.model.plan import Task, TaskKind, WeekPlan

HOUR = timedelta(hours=1)
PRINTING, STOPPED, COOLING = "printing", "builds that stopped", "cooling in the machine"
WAITING, HANDLING = "waiting for people", "loading and lifting out"
CHANGE, SERVICE, EMPTY = "change of material", "service", "empty: no build ready"
_NAMED = {TaskKind.CHANGE: CHANGE, TaskKind.SERVICE: SERVICE, TaskKind.LOAD: HANDLING, TaskKind.UNLOAD: HANDLING}


@dataclass(frozen=True, slots=True)
class Stretch:
    """So long the machine was busy with one thing, or with nothing."""

    reason: str
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class MachineHours:
    """Hours by reason from `start` to `end` over all machines, planned and recorded."""

    start: datetime
    end: datetime
    planned: LostHours
    recorded: LostHours

    @property
    def rows(self) -> tuple[tuple[str, float, float], ...]:
        """(reason, planned h, recorded h), largest plan first; both columns sum to the calendar."""
        planned, recorded = dict(self.planned.reasons), dict(self.recorded.reasons)
        names = [*planned, *(name for name in recorded if name not in planned)]
        return tuple((name, planned.get(name, 0.0), recorded.get(name, 0.0)) for name in names)


def machine_hours(plan: WeekPlan, records: Records, now: datetime) -> MachineHours:
    """From the start of the plan to `now`, at most to its last task on a machine; a plan not begun is looked at whole.

    Planned and recorded hours cover the same calendar.
    """
    first = plan.schedule.start
    last = max((t.end for t in plan.schedule.tasks if t.machine), default=first)
    end = min(now, last) if now > first else last
    if not end > first:
        raise InputError("no machine has a task in this plan", remedy="choose a plan with builds", where="plan")
    days = (end - first) / timedelta(days=1)
    planned: list[tuple[str, float]] = []
    recorded: list[tuple[str, float]] = []
    for machine in plan.cell.machines:
        planned += _hours(_with_gaps(_planned(plan, machine), first, end), first, end)
        recorded += _hours(_recorded(plan, machine, records, first, end), first, end)
    many = len(plan.cell.machines)
    return MachineHours(
        first, end, lost_hours(planned, machines=many, days=days), lost_hours(recorded, machines=many, days=days)
    )


def _planned(plan: WeekPlan, machine: Machine) -> list[Stretch]:
    found: list[Stretch] = []
    for t in _tasks(plan, machine):
        if t.kind is TaskKind.PRINT:
            lifted = _task(plan, t.build, TaskKind.UNLOAD)
            found.append(Stretch(PRINTING, t.start, t.end))
            if lifted and lifted.start > t.end:
                found += _after_print(t.end, lifted.start, machine)
        elif t.kind in _NAMED:
            found.append(Stretch(_NAMED[t.kind], t.start, t.end))
    return found


def _recorded(plan: WeekPlan, machine: Machine, records: Records, first: datetime, end: datetime) -> list[Stretch]:
    """What was noted; a gap is an empty machine only between a noted lifting out and the next noted loading."""
    found: list[Stretch] = []
    free_since: datetime | None = first
    for build in [t.build for t in _tasks(plan, machine) if t.kind is TaskKind.PRINT]:
        load, print_, lift = (records.span(k, build) for k in (TaskKind.LOAD, TaskKind.PRINT, TaskKind.UNLOAD))
        if load:
            if free_since is not None and load[0] > free_since:
                found.append(Stretch(EMPTY, free_since, load[0]))
            found.append(Stretch(HANDLING, *load))
        if print_:
            if load and print_[0] > load[1]:
                found.append(Stretch(WAITING, load[1], print_[0]))
            found.append(Stretch(STOPPED if build in records.stops else PRINTING, *print_))
        if lift:
            if print_ and lift[0] > print_[1]:
                found += _after_print(print_[1], lift[0], machine)
            found.append(Stretch(HANDLING, *lift))
        free_since = lift[1] if lift else None
    return found


def _after_print(printed: datetime, lifted: datetime, machine: Machine) -> list[Stretch]:
    """The minutes that the cake must stay, then those in which nobody came."""
    may = min(lifted, printed + timedelta(minutes=machine.minimum_cool_in_machine_min))
    return [Stretch(COOLING, printed, may), Stretch(WAITING, may, lifted)]


def _with_gaps(stretches: Iterable[Stretch], first: datetime, end: datetime) -> list[Stretch]:
    found, at = [], first
    for s in sorted(stretches, key=lambda s: s.start):
        if s.start > at:
            found.append(Stretch(EMPTY, at, s.start))
        found.append(s)
        at = max(at, s.end)
    return [*found, Stretch(EMPTY, at, end)] if at < end else found


def _hours(stretches: Iterable[Stretch], first: datetime, end: datetime) -> list[tuple[str, float]]:
    """Hours inside the calendar; what overlaps an earlier stretch of the same machine is not counted again."""
    found, at = [], first
    for s in sorted(stretches, key=lambda s: s.start):
        begins, ends = max(s.start, at), min(s.end, end)
        if ends > begins:
            found.append((s.reason, (ends - begins) / HOUR))
            at = ends
    return found


def _tasks(plan: WeekPlan, machine: Machine) -> list[Task]:
    return sorted((t for t in plan.schedule.tasks if t.machine == machine.name), key=lambda t: (t.start, t.end))


def _task(plan: WeekPlan, build: str, kind: TaskKind) -> Task | None:
    return next((t for t in plan.schedule.tasks if t.kind is kind and t.build == build), None)
