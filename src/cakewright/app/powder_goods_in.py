"""Goods-in: what the certificate and own tests say of a lot, judged by own limits and by the lots before it.

A value outside the limits of its material puts the whole lot on hold in the same breath; somebody with a reason lets
it free again or rejects it. A value unlike the last lots is told and stops nothing: the supplier has changed
something, and the bed will notice. Which properties matter: ISO/ASTM 52925 for polyamide 12 (second-hand).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cakewright.app.authority import Step, require
from cakewright.app.powder_books import PowderView, look
from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.goods_in import UNITS, Decision, LotProperty, Origin
from cakewright.powder.checks import need_positive
from cakewright.powder.ledger import Lot
from cakewright.quality.spc import Chart, Signal, individuals, signals
from cakewright.sources.powder import LOTS_BEFORE
from cakewright.store import Store
from cakewright.store.powder import HOLD, Booking


@dataclass(frozen=True, slots=True)
class LotValue:
    """One value of a lot beside its limits and the lots before it.

    `low`, `high`: own limits, None where there is none. `chart`: individuals chart of the lots up to and with this
    one, its limits from those before; None below three lots. `told`: what is unusual about this one.
    """

    what: LotProperty
    value: float
    origin: str
    low: float | None
    high: float | None
    chart: Chart | None = None
    told: tuple[Signal, ...] = ()

    @property
    def unlike(self) -> str:
        """What is unusual beside the lots before, in words; empty when nothing is."""
        return "; ".join(s.rule for s in self.told)

    @property
    def unit(self) -> str:
        """Unit of the value; empty for a ratio."""
        return UNITS[self.what]

    @property
    def is_outside(self) -> bool:
        """True when it breaks an own limit."""
        return (self.low is not None and self.value < self.low) or (self.high is not None and self.value > self.high)

    @property
    def limits_text(self) -> str:
        """'45 to 60', 'at most 0.3', 'no limit of your own'."""
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g}"
        if self.low is not None:
            return f"at least {self.low:g}"
        return "no limit of your own" if self.high is None else f"at most {self.high:g}"


@dataclass(frozen=True, slots=True)
class LotJudged:
    """A lot with what is known of it, and whether it may be used."""

    lot: Lot
    kg: float
    values: tuple[LotValue, ...]
    decision: Decision
    why: str
    findings: tuple[Finding, ...]


def note_lot_value(
    store: Store, lot: str, what: LotProperty, value: float, *, origin: Origin, by: str, at: datetime
) -> LotJudged:
    """Keep a measured value of a lot; outside the own limits of its material the lot is put on hold."""
    need_positive(f"the {what}", value, UNITS[what])
    with store.powder.booking() as booking:
        material = booking.ledger.lot(lot).material
        booking.remark("lot", lot, _value_of(what), repr(float(value)), at=at, by=by, reason=str(origin))
        low, high = _limits(booking, material, what)
        if (low is not None and value < low) or (high is not None and value > high):
            held = LotValue(what, value, origin, low, high)
            why = f"{what} {value:g} {UNITS[what]}".strip() + f", own limit {held.limits_text}"
            booking.remark("lot", lot, HOLD, Decision.HOLD, at=at, by=by, reason=why)
    return judge_lot(look(store), lot)


def set_lot_limits(
    store: Store,
    material: str,
    what: LotProperty,
    *,
    low: float | None,
    high: float | None,
    reason: str,
    by: str,
    at: datetime,
) -> None:
    """Own limits for deliveries of a material from now on; both None takes them away. Lots noted before stay free."""
    for value in (low, high):
        if value is not None:
            need_positive(f"the limit of {what}", value, UNITS[what])
    if low is not None and high is not None and not low < high:
        raise InputError(f"{what}: {low:g} to {high:g}", remedy="give the lower limit first", where="limits")
    if not reason.strip():
        raise InputError("limits without a reason", remedy="name the data sheet, the standard or your own trials")
    if not material.strip():
        raise InputError("no material is named", remedy="name it as in the cell file", where="material")
    text = "..".join("" if v is None else repr(float(v)) for v in (low, high))
    with store.powder.booking() as booking:
        booking.remark("lot", _every(material.strip()), _limits_of(what), text, at=at, by=by, reason=reason.strip())


def decide_lot(store: Store, lot: str, decision: Decision, *, reason: str, by: str, at: datetime) -> LotJudged:
    """Let a lot free, hold it or reject it, with the reason; a rejected lot can only go to waste or back."""
    require(store, by, Step.BLEND, at.date())
    if not reason.strip():
        raise InputError(f"lot {lot}: {decision} without a reason", remedy="write what it rests on", where="reason")
    with store.powder.booking() as booking:
        booking.ledger.lot(lot)
        booking.remark("lot", lot, HOLD, decision, at=at, by=by, reason=reason.strip())
    return judge_lot(look(store), lot)


def judge_lot(view: PowderView, key: str) -> LotJudged:
    """What is known of a lot, beside its limits and up to ten lots of the material that came before it."""
    lot = view.ledger.lot(key)
    values = tuple(v for what in LotProperty if (v := _value(view, lot, what)) is not None)
    said = [r for r in view.books.remarks_on("lot", key) if r.what == HOLD]
    decision, why = (Decision(said[-1].value), said[-1].reason) if said else (Decision.FREE, "")
    kg = sum(view.ledger.kg(c.key) for c in view.ledger.containers.values() if c.lot == key)
    return LotJudged(lot, kg, values, decision, why, _findings(lot, values, decision, why, kg))


def judged_lots(view: PowderView, material: str | None = None) -> tuple[LotJudged, ...]:
    """Every lot of a material, or of all, the newest first."""
    lots = [lot for lot in view.ledger.lots.values() if material is None or lot.material == material]
    return tuple(judge_lot(view, lot.key) for lot in sorted(lots, key=lambda lot: (lot.received, lot.key))[::-1])


def _findings(lot: Lot, values: tuple[LotValue, ...], decision: Decision, why: str, kg: float) -> tuple[Finding, ...]:
    found = []
    if decision is not Decision.FREE and kg > 0:
        remedy = "test it yourself, ask the supplier, then decide" if decision is Decision.HOLD else "send it back"
        found.append(Finding("powder.lot-held", Severity.WARNING, f"{kg:.1f} kg are {decision}: {why}",
                             where=f"lot {lot.key}", remedy=remedy))  # fmt: skip
    for v in values:
        if v.unlike and kg > 0:
            said = f"{v.what} {v.value:g} {v.unit}: {v.unlike}"
            found.append(Finding("powder.lot-unlike", Severity.NOTE, said, where=f"lot {lot.key}",
                                 remedy="watch the first bed closely; ask what changed"))  # fmt: skip
    return tuple(found)


def _value(view: PowderView, lot: Lot, what: LotProperty) -> LotValue | None:
    last = _last_value(view, lot, what)
    if last is None:
        return None
    value, origin = last
    low, high = _kept_limits([(r.what, r.value) for r in view.books.remarks_on("lot", _every(lot.material))], what)
    return LotValue(what, value, origin, low, high, *_beside(view, lot, what, value))


def _last_value(view: PowderView, lot: Lot, what: LotProperty) -> tuple[float, str] | None:
    """The value said last; the melt flow that came with the delivery counts as said by its certificate."""
    said = [r for r in view.books.remarks_on("lot", lot.key) if r.what == _value_of(what)]
    if said:
        return float(said[-1].value), said[-1].reason
    flow = view.books.certificate_flow.get(lot.key) if what is LotProperty.MELT_FLOW else None
    return None if flow is None else (flow, Origin.CERTIFICATE.value)


def _beside(view: PowderView, lot: Lot, what: LotProperty, value: float) -> tuple[Chart | None, tuple[Signal, ...]]:
    """The chart of the lots before and this one; limits come from those before, so that this one cannot hide."""
    order = sorted(view.ledger.lots.values(), key=lambda one: (one.received, one.key))
    same = [one for one in order[: order.index(lot)] if one.material == lot.material]
    before = [v[0] for one in same if (v := _last_value(view, one, what)) is not None][-int(LOTS_BEFORE.value) :]
    if len(before) < 2:
        return None, ()
    past = individuals(before)
    low, high, sigma = float(past.low[0]), float(past.high[0]), float(past.sigma[0])
    n = len(before) + 1
    chart = Chart(past.name, np.array([*before, value]), past.centre, *(np.full(n, x) for x in (low, high, sigma)))
    if sigma == 0:
        alike = math.isclose(value, past.centre)
        return chart, () if alike else (Signal(n - 1, "the lots before were all alike"),)
    return chart, tuple(s for s in signals(chart) if s.index == n - 1)


def _limits(booking: Booking, material: str, what: LotProperty) -> tuple[float | None, float | None]:
    return _kept_limits([(r.what, r.value) for r in booking.books.remarks_on("lot", _every(material))], what)


def _kept_limits(said: list[tuple[str, str]], what: LotProperty) -> tuple[float | None, float | None]:
    texts = [value for name, value in said if name == _limits_of(what)]
    if not texts:
        return None, None
    low, _, high = texts[-1].partition("..")
    return (float(low) if low else None), (float(high) if high else None)


def _every(material: str) -> str:
    return f"every lot of {material}"


def _value_of(what: LotProperty) -> str:
    return f"value: {what}"


def _limits_of(what: LotProperty) -> str:
    return f"limits: {what}"
