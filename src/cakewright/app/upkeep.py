"""Upkeep of machines: due by printed hours, layers, kilograms of powder, builds or days, and the build that crosses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import keep
from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.build import Build
from cakewright.model.cell import Machine
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.sources.upkeep import SERVICE_SOON_SHARE
from cakewright.store import Store
from cakewright.store.printed import Printed

OF_CELL_FILE = "service"  # the one whose interval stands in the cell file and has a place in the calendar
_DAY = timedelta(days=1)


class Unit(StrEnum):
    """By what upkeep is counted."""

    HOURS = "h printed"
    LAYERS = "layers"
    KG = "kg of powder"
    BUILDS = "builds"
    DAYS = "days"


@dataclass(frozen=True, slots=True)
class Rule:
    """Something to be done to a machine every so many `unit`; `already` ran before it was entered here."""

    machine: str
    what: str
    every: float
    unit: Unit
    already: float
    since: datetime | None


@dataclass(frozen=True, slots=True)
class Due:
    """How far a rule has run. `crossing` is the planned build that would go beyond the limit ('' when none does)."""

    rule: Rule
    used: float
    limit: float
    crossing: str
    crossing_start: datetime | None
    last: FloorRecord | None
    postponed: FloorRecord | None

    @property
    def left(self) -> float:
        """What is left until the limit; below zero when it is over."""
        return self.limit - self.used

    @property
    def is_over(self) -> bool:
        """True when the limit is passed."""
        return self.used > self.limit + 1e-9

    @property
    def is_soon(self) -> bool:
        """True when most of the interval has run, or a planned build crosses the limit."""
        return not self.is_over and (self.used >= SERVICE_SOON_SHARE.value * self.limit or bool(self.crossing))

    @property
    def words(self) -> str:
        """'410 of 500 h printed; B4 would cross the limit'."""
        said = f"{self.used:,.0f} of {self.limit:,.0f} {self.rule.unit}"
        if self.is_over:
            return f"{said}: {-self.left:,.0f} over"
        return f"{said}; {self.crossing} would cross the limit" if self.crossing else said


def upkeep(store: Store, plan: WeekPlan, now: datetime) -> tuple[Due, ...]:
    """Every rule of the machines of a plan, what is worst first."""
    printed = store.schedule.printed()
    records = store.floor.records(kind=FloorKind.SERVICE)
    found = [_due(plan, r, records, printed, now) for r in rules(plan, records)]
    return tuple(sorted(found, key=lambda d: (-d.used / d.limit, d.rule.machine, d.rule.what)))


def rules(plan: WeekPlan, records: Iterable[FloorRecord]) -> tuple[Rule, ...]:
    """The rules as entered last, and the service of the cell file where nobody entered another."""
    found = {(m.name, OF_CELL_FILE): Rule(m.name, OF_CELL_FILE, m.service_every_h, Unit.HOURS, m.hours_since_service,
                                          plan.start)
             for m in plan.cell.machines if m.service_every_h > 0}  # fmt: skip
    for r in records:
        key = (str(r.data["machine"]), str(r.data["what"]))
        if r.data["deed"] == "rule":
            found[key] = Rule(*key, float(r.data["every"]), Unit(str(r.data["unit"])), float(r.data["already"]), r.at)
        elif r.data["deed"] == "dropped":
            found.pop(key, None)
    return tuple(found.values())


def enter_rule(
    store: Store, plan: WeekPlan, *, machine: str, what: str, every: float, unit: str, already: float, by: str,
    at: datetime, uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Enter what is to be done to a machine every so many hours, layers, kg, builds or days."""
    _machine(plan, machine)
    if not what.strip():
        raise InputError("nothing is named", remedy="for example 'laser window cleaned and measured'", where="what")
    if not every > 0 or not already >= 0:
        raise InputError(f"every {every:g}, {already:g} already", remedy="an interval above zero, and zero or more")
    data: dict[str, Value] = {"deed": "rule", "machine": machine, "what": what.strip(), "every": every,
                              "unit": _unit(unit).value, "already": already}  # fmt: skip
    return keep(store, plan, FloorKind.SERVICE, data, by=by, at=at, uid=uid, kept_at=kept_at)


def note_service(
    store: Store, plan: WeekPlan, *, machine: str, what: str, by: str, at: datetime, note: str = "", before: str = "",
    after: str = "", uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """It was done: counting begins again. `before` and `after` are what was measured. InputError without authority."""
    rule = _known(store, plan, machine, what)
    require(store, by, Step.SERVICE, at.date())
    data: dict[str, Value] = {"deed": "done", "machine": rule.machine, "what": rule.what, "note": note.strip(),
                              "before": before.strip(), "after": after.strip()}  # fmt: skip
    return keep(store, plan, FloorKind.SERVICE, data, by=by, at=at, uid=uid, kept_at=kept_at)


def postpone(
    store: Store, plan: WeekPlan, *, machine: str, what: str, more: float, reason: str, by: str, at: datetime,
    uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Let it run so much longer, once, with a reason. InputError without a reason, an amount or authority."""
    rule = _known(store, plan, machine, what)
    if not reason.strip() or not more > 0:
        raise InputError(f"{more:g} more without a reason" if not reason.strip() else f"{more:g} more",
                         remedy="say how much longer and why", where="reason")  # fmt: skip
    require(store, by, Step.SERVICE, at.date())
    data: dict[str, Value] = {"deed": "postponed", "machine": rule.machine, "what": rule.what, "more": more,
                              "reason": reason.strip()}  # fmt: skip
    return keep(store, plan, FloorKind.SERVICE, data, by=by, at=at, uid=uid, kept_at=kept_at)


def upkeep_findings(found: Iterable[Due]) -> tuple[Finding, ...]:
    """What is over its limit, and what will be."""
    said = []
    for d in found:
        where = f"{d.rule.machine}, {d.rule.what}"
        if d.is_over:
            said.append(Finding("floor.service-overdue", Severity.BLOCKING, d.words, where,
                                "do it and note it, or postpone it with a reason"))  # fmt: skip
        elif d.is_soon:
            remedy = f"do it before {d.crossing}" if d.crossing else "plan it in"
            said.append(Finding("floor.service-soon", Severity.WARNING, d.words, where, remedy))
    return tuple(said)


def of_build(found: Iterable[Due], build: Build) -> tuple[Finding, ...]:
    """What upkeep says about one build: its machine is over a limit, or this very build would cross one."""
    mine = [d for d in found if d.rule.machine == build.machine and (d.is_over or d.crossing == build.key)]
    return upkeep_findings(mine)


def with_noted_service(machine: Machine, store: Store) -> Machine:
    """The machine with the hours since the service that was noted last, for the calendar of the next plan."""
    done = [r for r in store.floor.records(kind=FloorKind.SERVICE)
            if (r.data["deed"], r.data["machine"], r.data["what"]) == ("done", machine.name, OF_CELL_FILE)]  # fmt: skip
    if not done or not machine.service_every_h:
        return machine
    mine = [p for p in store.schedule.printed() if p.machine == machine.name and p.started >= done[-1].at]
    return replace(machine, hours_since_service=sum(p.hours for p in mine))


def _due(
    plan: WeekPlan, rule: Rule, records: Iterable[FloorRecord], printed: Iterable[Printed], now: datetime
) -> Due:  # fmt: skip
    mine = [r for r in records if (r.data["machine"], r.data["what"]) == (rule.machine, rule.what)]
    done = next((r for r in reversed(mine) if r.data["deed"] == "done"), None)
    since, already = rule.since, rule.already
    if done is not None and (since is None or done.at >= since):
        since, already = done.at, 0.0  # counting begins again
    later = [r for r in mine if r.data["deed"] == "postponed" and (since is None or r.at >= since)]
    limit = rule.every + sum(float(r.data["more"]) for r in later)
    runs = [p for p in printed if p.machine == rule.machine and (since is None or p.started >= since)]
    begun = {(p.plan, p.build) for p in printed}
    if rule.unit is Unit.DAYS:
        used = already + ((now - since) / _DAY if since else 0.0)
    else:
        used = already + sum(_amount(rule.unit, p.hours, p.layers, p.charge_kg) for p in runs)
    crossing, start = _crossing(plan, rule, used, limit, begun, now)
    return Due(rule, used, limit, crossing, start, done, later[-1] if later else None)


def _crossing(
    plan: WeekPlan, rule: Rule, used: float, limit: float, begun: set[tuple[int, str]], now: datetime
) -> tuple[str, datetime | None]:
    """The first planned build, not begun yet, after which the limit is passed."""
    starts = {t.build: t.start for t in plan.schedule.tasks if t.kind is TaskKind.PRINT}
    coming = sorted((b for b in plan.builds if b.machine == rule.machine and b.key in starts
                     and (plan.version, b.key) not in begun), key=lambda b: starts[b.key])  # fmt: skip
    total = used
    for b in coming:
        if rule.unit is Unit.DAYS:
            total = used + max(0.0, (starts[b.key] - now) / _DAY) + b.print_time.hours / 24
        else:
            total += _amount(rule.unit, b.print_time.hours, b.profile.layers, b.powder.charge_kg)
        if total > limit:
            return b.key, starts[b.key]
    return "", None


def _amount(unit: Unit, hours: float, layers: int, kg: float) -> float:
    return {Unit.HOURS: hours, Unit.LAYERS: float(layers), Unit.KG: kg, Unit.BUILDS: 1.0}[unit]


def _machine(plan: WeekPlan, name: str) -> Machine:
    found = next((m for m in plan.cell.machines if m.name == name), None)
    if found is None:
        known = ", ".join(m.name for m in plan.cell.machines)
        raise InputError(f"there is no machine {name[:40]!r}", remedy=f"one of: {known}", where="machine")
    return found


def _known(store: Store, plan: WeekPlan, machine: str, what: str) -> Rule:
    _machine(plan, machine)
    mine = [r for r in rules(plan, store.floor.records(kind=FloorKind.SERVICE)) if r.machine == machine]
    found = next((r for r in mine if r.what.casefold() == what.strip().casefold()), None)
    if found is None:
        known = ", ".join(r.what for r in mine) or "nothing yet"
        raise InputError(f"{machine} has no upkeep {what[:40]!r}", remedy=f"enter it first; known: {known}")
    return found


def _unit(text: str) -> Unit:
    for unit in Unit:
        if text.strip().casefold() in (unit.value, unit.name.lower()):
            return unit
    known = ", ".join(u.name.lower() for u in Unit)
    raise InputError(f"{text[:20]!r} is no way to count", remedy=f"one of: {known}", where="unit")
