"""Gauges: which there are, until when they are calibrated, how much of a tolerance each one eats."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import day_of, keep
from cakewright.app.inspect_line import Reading
from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.quality.gauge import GaugeStudy, GaugeTable, check_gauge, gauge_anova
from cakewright.sources.upkeep import GAUGE_SOON_DAYS
from cakewright.store import Store


@dataclass(frozen=True, slots=True)
class Gauge:
    """A gauge on the register.

    `share` is gauge over tolerance as it was entered, `grr` one standard deviation of the gauge from its last study
    in the unit of the values (None: not known).
    """

    name: str
    what: str
    due: date
    share: float | None
    grr: float | None
    by: str
    at: datetime

    def share_of(self, low: float | None, high: float | None) -> float | None:
        """Six sigmas of the last study over the tolerance; without a study or two limits the share as entered."""
        if self.grr is not None and low is not None and high is not None and high > low:
            return 6.0 * self.grr / (high - low)
        return self.share


@dataclass(frozen=True, slots=True)
class Studied:
    """A gauge study and what it says."""

    study: GaugeStudy
    table: GaugeTable
    parts: int
    appraisers: int
    trials: int


def gauges(store: Store) -> tuple[Gauge, ...]:
    """Every gauge on the register, the one that is due first at the top; the last entry about each counts."""
    found: dict[str, Gauge] = {}
    for r in store.floor.records(kind=FloorKind.GAUGE):
        name = str(r.data["name"])
        if r.data["deed"] == "out":
            found.pop(name.casefold(), None)
        elif r.data["deed"] == "studied" and (known := found.get(name.casefold())):
            found[name.casefold()] = Gauge(known.name, known.what, known.due, known.share, float(r.data["grr"]),
                                           known.by, known.at)  # fmt: skip
        elif r.data["deed"] == "entered":
            before = found.get(name.casefold())
            share = float(r.data["share"]) if "share" in r.data else None
            found[name.casefold()] = Gauge(name, str(r.data["what"]), date.fromisoformat(str(r.data["due"])), share,
                                           before.grr if before else None, r.by, r.at)  # fmt: skip
    return tuple(sorted(found.values(), key=lambda g: (g.due, g.name)))


def enter_gauge(
    store: Store, plan: WeekPlan, *, name: str, what: str, due: str, share_percent: float | None, by: str,
    at: datetime, uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Enter a gauge, or enter it again after calibration with its new day. InputError for no name or no day."""
    require(store, by, Step.INSPECT, at.date())
    if not name.strip():
        raise InputError("the gauge has no name", remedy="write what is engraved on it, for example 'calliper C3'")
    if share_percent is not None and not 0 < share_percent < 1000:
        raise InputError(f"a share of {share_percent:g} %", remedy="gauge over tolerance, for example 12")
    data: dict[str, Value] = {"deed": "entered", "name": name.strip(), "what": what.strip(),
                              "due": day_of(due, "calibration due").isoformat()}  # fmt: skip
    if share_percent is not None:
        data["share"] = share_percent / 100.0
    return keep(store, plan, FloorKind.GAUGE, data, by=by, at=at, uid=uid, kept_at=kept_at)


def take_out(store: Store, plan: WeekPlan, name: str, *, by: str, at: datetime, why: str = "") -> FloorRecord:
    """A gauge is lost, broken or scrapped. InputError when it is not on the register."""
    require(store, by, Step.INSPECT, at.date())
    known = _known(store, name)
    data: dict[str, Value] = {"deed": "out", "name": known.name, "why": why.strip()}
    return keep(store, plan, FloorKind.GAUGE, data, by=by, at=at)


def keep_study(store: Store, plan: WeekPlan, name: str, text: str, *, by: str, at: datetime) -> Studied:
    """Judge a pasted study and keep its result with the gauge. InputError for a strange gauge or uneven values."""
    require(store, by, Step.INSPECT, at.date())
    known = _known(store, name)
    result = read_study(text)
    s = result.study
    data: dict[str, Value] = {"deed": "studied", "name": known.name, "grr": s.grr, "ev": s.ev, "av": s.av, "pv": s.pv,
                              "parts": result.parts, "appraisers": result.appraisers,
                              "trials": result.trials}  # fmt: skip
    keep(store, plan, FloorKind.GAUGE, data, by=by, at=at)
    return result


def read_study(text: str, *, appraisers: int = 3) -> Studied:
    """A study as text: one line for each part, in it the trials of the first person, then of the second, and so on.

    Usual are 10 lines of 3 x 3 values. InputError when a line has another count or holds no numbers.
    """
    rows = [line.replace(";", " ").replace("\t", " ").split() for line in text.splitlines() if line.strip()]
    if len(rows) < 2:
        raise InputError(f"{len(rows)} lines", remedy="paste one line for each part, usually ten")
    width = len(rows[0])
    for n, row in enumerate(rows, 1):
        if len(row) != width:
            raise InputError(f"{len(row)} values, the first line has {width}", remedy="fill the gap or leave the part "
                             "out", where=f"line {n}")  # fmt: skip
    if width % appraisers or width // appraisers < 2:
        raise InputError(f"{width} values in a line", remedy=f"{appraisers} people with two trials or more each, "
                         "usually 9 values")  # fmt: skip
    values = [[_value(cell, n) for cell in row] for n, row in enumerate(rows, 1)]
    trials = width // appraisers
    y = np.array(values, dtype=np.float64).reshape(len(rows), appraisers, trials)
    if not (y.max(axis=2) > y.min(axis=2)).any():
        raise InputError("all trials are the same", remedy="write every value as read, with the last digit")
    study, table = gauge_anova(y)
    return Studied(study, table, len(rows), appraisers, trials)


def due_findings(found: Iterable[Gauge], today: date) -> tuple[Finding, ...]:
    """What is overdue (blocking), and what is due soon (warning)."""
    said: list[Finding] = []
    for g in found:
        said += check_gauge(g.name, due=g.due, today=today)
        left = (g.due - today).days
        if 0 <= left <= GAUGE_SOON_DAYS.value:
            said.append(Finding("floor.gauge-due", Severity.WARNING, f"calibration is due in {left} days",
                                f"gauge {g.name}",
                                "send it while another one is here"))  # fmt: skip
    return tuple(said)


def gauge_doubts(store: Store, readings: Iterable[Reading]) -> tuple[Finding, ...]:
    """What is wrong with the gauges of these values: unknown, overdue on that day, or too coarse for the limits."""
    register = {g.name.casefold(): g for g in gauges(store)}
    found: dict[tuple[str, str], Finding] = {}
    for r in readings:
        for f in _doubts(register.get(r.gauge.casefold()), r):
            found.setdefault((f.code, f.where), f)
    return tuple(found.values())


def _doubts(known: Gauge | None, r: Reading) -> tuple[Finding, ...]:
    if not r.gauge:
        return (Finding("floor.gauge-not-named", Severity.WARNING, f"{r.name}: no gauge is named",
                        f"piece {r.piece}", "name it with the value: nothing is traced without it"),)  # fmt: skip
    if known is None:
        return (Finding("floor.gauge-unknown", Severity.WARNING, "it is not on the register of gauges",
                        f"gauge {r.gauge}",
                        "enter it with its calibration day on the page Gauges, or correct the name"),)  # fmt: skip
    return check_gauge(known.name, due=known.due, today=r.at.date(), share_of_tolerance=known.share_of(r.low, r.high))


def _known(store: Store, name: str) -> Gauge:
    found = next((g for g in gauges(store) if g.name.casefold() == name.strip().casefold()), None)
    if found is None:
        raise InputError(f"there is no gauge {name[:40]!r}", remedy="enter it first")
    return found


def _value(text: str, row: int) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError as wrong:
        raise InputError(f"{text[:20]!r} is no number", remedy="write 12.34", where=f"line {row}") from wrong
    if not np.isfinite(value):
        raise InputError(f"{text[:20]!r} cannot be measured", remedy="write 12.34", where=f"line {row}")
    return value
