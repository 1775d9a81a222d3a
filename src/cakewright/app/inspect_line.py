"""Inspect a line: which pieces, what was measured, what that says; and charts of one characteristic over time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import uuid4

from cakewright.app.authority import Step, require
from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.quality.capability import Capability, capability, cpk_interval
from cakewright.quality.sampling import plan_for_lot, stratified, zero_acceptance_sample
from cakewright.quality.spc import Chart, Signal, individuals, signals
from cakewright.sources.floor import INSPECT_BAD_SHARE
from cakewright.store import Store

LEAST_FOR_CHART = 8
LEAST_FOR_CAPABILITY = 20


@dataclass(frozen=True, slots=True)
class Sample:
    """Pieces of a line to look at: `rule` says by which plan, `accept` how many bad ones it may hold."""

    lot: int
    pieces: tuple[str, ...]
    accept: int
    rule: str


@dataclass(frozen=True, slots=True)
class Reading:
    """One measured value with its limits (None: none on that side)."""

    piece: str
    name: str
    value: float
    low: float | None
    high: float | None
    gauge: str
    by: str
    at: datetime

    @property
    def is_good(self) -> bool:
        """Within its limits; a value on a limit is within."""
        return (self.low is None or self.value >= self.low) and (self.high is None or self.value <= self.high)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the inspection of a line says so far. `word` is 'open', 'accept' or 'reject': a person decides."""

    sample: Sample
    readings: tuple[Reading, ...]
    bad_pieces: tuple[str, ...]
    still_open: tuple[str, ...]
    word: str


@dataclass(frozen=True, eq=False)
class Watched:
    """One characteristic over time: its chart, what is unusual, its capability when there are enough values."""

    key: str
    readings: tuple[Reading, ...]
    builds: tuple[str, ...]
    chart: Chart | None
    signals: tuple[Signal, ...]
    capability: Capability | None
    cpk_range: tuple[float, float] | None


def sample_of(plan: WeekPlan, line: int, *, aql: float | None = None) -> Sample:
    """Which pieces of a line to inspect, spread over the height of its builds, as its class asks.

    Zero acceptance: so many that the bad share of the class (or the default) would be found with nine in ten. With an
    AQL (per cent; of the class, or `aql`), the single sampling plan of ISO 2859-1 at level II, as `quality.sampling`
    holds it; `aql` 0 asks for zero acceptance whatever the class says.
    """
    places = [(p.piece, p.z_min_mm) for b in plan.builds_of(line) for p in b.pieces_of(line)]
    if not places:
        raise InputError(f"line {line} has no piece in plan {plan.version}", remedy="plan it first")
    care, lot = plan.cell.quality_class(plan.line(line).quality_class), len(places)
    aql = care.aql if aql is None else aql
    if aql == 0:
        bad = care.bad_share or INSPECT_BAD_SHARE.value
        size, accept = zero_acceptance_sample(lot, bad), 0
        rule = f"zero acceptance: finds {100 * bad:g}% bad with nine in ten"
    else:
        chosen = plan_for_lot(lot, aql)
        size, accept = min(chosen.sample, lot), chosen.accept
        rule = f"ISO 2859-1 single, level II, AQL {aql:g} %, code {chosen.code}"
    return Sample(lot, stratified(places, size), accept, rule)


def record_reading(
    store: Store,
    plan: WeekPlan,
    line: int,
    *,
    piece: str,
    name: str,
    value: float,
    low: float | None,
    high: float | None,
    gauge: str,
    by: str,
    at: datetime,
    uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:
    """Keep one measured value. InputError for a strange piece, limits the wrong way round or no name."""
    require(store, by, Step.INSPECT, at.date())
    known = {p.piece: b.key for b in plan.builds_of(line) for p in b.pieces_of(line)}
    if piece not in known:
        raise InputError(f"line {line} has no piece {piece!r}", remedy=f"one of: {', '.join(list(known)[:6])} ...")
    if not name.strip():
        raise InputError("the characteristic has no name", remedy="write for example 'bore d 6.0'")
    if low is not None and high is not None and low > high:
        raise InputError(f"limits {low:g} to {high:g}", remedy="write the smaller one first")
    data: dict[str, Value] = {"name": name.strip(), "value": value, "gauge": gauge.strip(),
                              "part": plan.line(line).part, "material": plan.line(line).material,
                              "machine": plan.build(known[piece]).machine}  # fmt: skip
    data |= {k: v for k, v in (("low", low), ("high", high)) if v is not None}
    record = FloorRecord(uid or uuid4().hex, plan.version, FloorKind.MEASURED, by, at, known[piece], line, piece, data)
    return store.floor.add([record], kept_at=kept_at or at)[0]


def verdict_of(store: Store, plan: WeekPlan, line: int, *, aql: float | None = None) -> Verdict:
    """What the readings of a line say against its sample."""
    sample = sample_of(plan, line, aql=aql)
    records = store.floor.records(plan=plan.version, kind=FloorKind.MEASURED)
    readings = tuple(_reading(r) for r in records if r.line == line)
    bad = tuple(sorted({r.piece for r in readings if not r.is_good}))
    still = tuple(p for p in sample.pieces if p not in {r.piece for r in readings})
    word = "reject" if len(bad) > sample.accept else "open" if still else "accept"
    return Verdict(sample, readings, bad, still, word)


def watched(store: Store) -> tuple[Watched, ...]:
    """Every characteristic that was measured, over all plans, those with something unusual first."""
    groups: dict[str, list[FloorRecord]] = {}
    for record in store.floor.records(kind=FloorKind.MEASURED):
        words = (record.data.get(k, "") for k in ("part", "name", "material", "machine"))
        key = " · ".join(str(w) for w in words if w)
        groups.setdefault(key, []).append(record)
    found = [_watch(key, [_reading(r) for r in records], tuple(f"{r.plan}-{r.build}" for r in records))
             for key, records in groups.items()]  # fmt: skip
    return tuple(sorted(found, key=lambda w: (-len(w.signals), w.key)))


def _watch(key: str, readings: Sequence[Reading], builds: tuple[str, ...]) -> Watched:
    values = [r.value for r in readings]
    chart = individuals(values) if len(values) >= LEAST_FOR_CHART and len(set(values)) > 1 else None
    unusual = signals(chart) if chart is not None else ()
    can, between = None, None
    last = readings[-1]
    if chart is not None and len(values) >= LEAST_FOR_CAPABILITY and last.low is not None and last.high is not None:
        can = capability(low=last.low, high=last.high, mean=chart.centre, sigma=float(chart.sigma[0]))
        between = cpk_interval(can.cpk, len(values))
    return Watched(key, tuple(readings), builds, chart, unusual, can, between)


def _reading(record: FloorRecord) -> Reading:
    d = record.data
    return Reading(record.piece, str(d["name"]), float(d["value"]), _limit(d.get("low")), _limit(d.get("high")),
                   str(d.get("gauge", "")), record.by, record.at)  # fmt: skip


def _limit(value: Value | None) -> float | None:
    return None if value is None else float(value)


def characteristics(readings: Iterable[Reading]) -> tuple[tuple[str, float | None, float | None], ...]:
    """Names and limits used so far for a line, newest limits: offered again in the form."""
    known = {r.name: (r.name, r.low, r.high) for r in readings}
    return tuple(known.values())
