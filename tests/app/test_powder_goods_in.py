"""Goods-in: a value outside own limits stops a lot, a value unlike the lots before is told, a decision has a reason."""

from datetime import timedelta

import pytest

from cakewright.app.powder_books import look
from cakewright.app.powder_deeds import discard, make_can, move, receive_lot
from cakewright.app.powder_doubts import powder_doubts
from cakewright.app.powder_goods_in import (
    decide_lot,
    judge_lot,
    note_lot_value,
    set_lot_limits,
)
from cakewright.errors import InputError
from cakewright.model.goods_in import Decision, LotProperty, Origin
from cakewright.store import open_store
from tests.documents.world import START

FLOW, DENSITY = LotProperty.MELT_FLOW, LotProperty.BULK_DENSITY
MIRA = {"by": "Mira"}


def at(minutes):
    return START + timedelta(minutes=minutes)


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "cell.sqlite") as store:
        yield store


def deliver(store, lot, day, flow=None):
    """A lot of 10 kg received so many days after the start."""
    receive_lot(store, material="PA12", supplier_lot=lot, drums_kg=[10], certificate=f"{lot}.pdf",
                at=START + timedelta(days=day), melt_flow=flow, **MIRA)  # fmt: skip


def test_a_value_outside_stops_the_lot(store):
    """40 below 'at least 45': on hold, nothing leaves but to waste; a decision with a reason frees it."""
    deliver(store, "V-1", 0)
    set_lot_limits(store, "PA12", FLOW, low=45, high=60, reason="own trials", at=at(1), **MIRA)
    held = note_lot_value(store, "V-1", FLOW, 40, origin=Origin.CERTIFICATE, at=at(2), **MIRA)
    assert held.decision is Decision.HOLD and "45 to 60" in held.why
    assert held.values[0].is_outside and held.values[0].origin == "certificate"
    can = make_can(store, material="PA12", at=at(3), **MIRA)
    with pytest.raises(InputError, match="on hold: melt flow 40 g/10 min, own limit 45 to 60"):
        move(store, "V01", can, 1.0, at=at(4), **MIRA)
    view = look(store)
    assert view.for_blending("PA12", START.date()) == ()
    assert view.stock("PA12", START.date()).blocked_kg == 10
    assert "powder.lot-held" in {f.code for f in powder_doubts(view, at(5))}
    discard(store, "V01", 1.0, reason="sample", at=at(6), **MIRA)
    with pytest.raises(InputError, match="without a reason"):
        decide_lot(store, "V-1", Decision.FREE, reason=" ", at=at(7), **MIRA)
    free = decide_lot(store, "V-1", Decision.FREE, reason="own test says 47", at=at(8), **MIRA)
    assert free.decision is Decision.FREE and free.why == "own test says 47" and not free.findings
    move(store, "V01", can, 1.0, at=at(9), **MIRA)
    assert look(store).ledger.kg(can) == 1.0


def test_limits_count_from_then_on(store):
    """A lot judged before the limits were set stays as it was judged; the limits are shown beside its value."""
    deliver(store, "V-1", 0)
    note_lot_value(store, "V-1", DENSITY, 0.40, origin=Origin.OWN_TEST, at=at(1), **MIRA)
    set_lot_limits(store, "PA12", DENSITY, low=0.43, high=None, reason="data sheet", at=at(2), **MIRA)
    judged = judge_lot(look(store), "V-1")
    assert judged.decision is Decision.FREE and judged.values[0].is_outside
    assert judged.values[0].limits_text == "at least 0.43"
    set_lot_limits(store, "PA12", DENSITY, low=None, high=None, reason="not needed", at=at(3), **MIRA)
    assert judge_lot(look(store), "V-1").values[0].limits_text == "no limit of your own"


def test_a_lot_unlike_those_before_is_told(store):
    """Flows 50, 52, 51, 53, then 70: sigma = mean moving range 5/3 / 1.128 = 1.48, upper limit 51.5 + 4.43 = 55.9."""
    for day, flow in enumerate((50, 52, 51, 53, 70)):
        deliver(store, f"V-{day}", day, flow)
    view = look(store)
    last = judge_lot(view, "V-4").values[0]
    assert last.chart is not None and last.chart.high[0] == pytest.approx(51.5 + 3 * (5 / 3) / 1.128, abs=0.01)
    assert last.unlike and [f.code for f in judge_lot(view, "V-4").findings] == ["powder.lot-unlike"]
    assert judge_lot(view, "V-3").values[0].unlike == ""
    assert judge_lot(view, "V-1").values[0].chart is None


def test_lots_before_that_were_all_alike(store):
    """No spread is no limit: the first different one is told."""
    for day, flow in enumerate((50, 50, 50, 51)):
        deliver(store, f"V-{day}", day, flow)
    view = look(store)
    assert judge_lot(view, "V-3").values[0].unlike == "the lots before were all alike"
    assert judge_lot(view, "V-2").values[0].unlike == ""


@pytest.mark.parametrize("value", [0, -1, float("nan"), float("inf")])
def test_impossible_values_are_refused(store, value):
    """Nothing is kept of them."""
    deliver(store, "V-1", 0)
    with pytest.raises(InputError):
        note_lot_value(store, "V-1", FLOW, value, origin=Origin.CERTIFICATE, at=at(1), **MIRA)
    assert judge_lot(look(store), "V-1").values == ()


def test_impossible_limits_are_refused(store):
    """The lower above the upper, without a reason, for no material."""
    for low, high, reason, material in ((60, 45, "x", "PA12"), (45, 60, "", "PA12"), (45, 60, "x", " ")):
        with pytest.raises(InputError):
            set_lot_limits(store, material, FLOW, low=low, high=high, reason=reason, at=at(1), **MIRA)
