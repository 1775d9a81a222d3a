"""Whatever people do in whatever order: the books close, and recall finds what a search by hand finds."""

import shutil
import tempfile
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cakewright.app.powder_blend import Weighing, propose_blend, weigh_blend
from cakewright.app.powder_books import look
from cakewright.app.powder_build import Fraction, book_back, charge_build
from cakewright.app.powder_deeds import correct, discard, measure_flow, move, sieve, weigh_in
from cakewright.app.powder_doubts import powder_doubts
from cakewright.app.powder_recall import recall_lot
from cakewright.errors import CakewrightError
from cakewright.store import open_store
from tests.app.test_powder import MIRA, START, at, plan, stocked
from tests.app.test_powder import file_store as store

__all__ = ["plan", "stocked", "store"]  # fixtures

CANS = ["V01", "V03", "U01", "U02", "U03", "C01", "O01", "M01", "waste", "missing", "supplier"]
deeds = st.lists(
    st.one_of(
        st.tuples(st.just("move"), st.sampled_from(CANS), st.sampled_from(CANS), st.integers(1, 6000)),
        st.tuples(st.just("discard"), st.sampled_from(CANS), st.just(""), st.integers(1, 3000)),
        st.tuples(st.just("weigh"), st.sampled_from(CANS), st.just(""), st.integers(1, 15_000)),
        st.tuples(st.just("correct"), st.just(""), st.just(""), st.integers(0, 12_000)),
        st.tuples(st.just("sieve"), st.sampled_from(CANS), st.just(""), st.integers(1, 3000)),
        st.tuples(st.just("flow"), st.sampled_from(CANS), st.just(""), st.integers(10, 60)),
        st.tuples(st.sampled_from(["B1", "B2"]), st.just(""), st.just(""), st.integers(0, 3000)),
    ),
    max_size=12,
)


def do(store, plan, step, minute):
    """One deed, or a build from blend to break-out."""
    kind, a, b, grams = step
    kg, when = grams / 1000, {"at": at(minute), **MIRA}
    if kind == "move":
        move(store, a, b, kg, **when)
    elif kind == "discard":
        discard(store, a, kg, reason="test", **when)
    elif kind == "weigh":
        weigh_in(store, a, kg, reason="scale", **when)
    elif kind == "correct":
        number = grams % len(look(store).ledger.entries) + 1
        correct(store, number, kg, reason="read wrong", **when)
    elif kind == "sieve":
        sieve(store, a, through_kg=kg, oversize_kg=0.01, **when)
    elif kind == "flow":
        measure_flow(store, a, float(grams), **when)
    else:
        build(store, plan, kind, kg, when)


def build(store, plan, key, cake_kg, when):
    """A build with so much loose cake; the rest gets a name."""
    slip = propose_blend(store, plan, key, today=START.date())
    blend = weigh_blend(store, plan, key, [Weighing(p.can, p.kg, p.kg) for p in slip.blend.picks], **when)
    charge_build(store, plan, key, blend.blend, **when)
    book_back(store, plan, key, {Fraction.CAKE: [cake_kg], Fraction.OVERFLOW: [0.3]}, rest_reason="hoses", **when)


@settings(deadline=None, max_examples=12)
@given(steps=deeds)
def test_any_course_of_deeds_leaves_the_books_right(stocked, plan_of, steps):
    """Refused or done: grams add to nothing, none is below zero, shares add to one, recall equals a search by hand."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(shutil.copy(stocked, Path(folder) / "cell.sqlite"))
        with open_store(path) as store:
            for minute, step in enumerate(steps, start=10):
                try:
                    do(store, plan_of, step, minute)
                except CakewrightError:
                    continue
            view = look(store)
            grams = view.ledger.grams()
            assert sum(grams.values()) == 0
            assert store.powder.levels() == grams
            assert {k: g for k, g in grams.items() if g < 0} == {
                k: g for k, g in grams.items() if k in ("supplier", "stock at the start", "found by weighing") and g < 0
            }
            compare_recall(store, view)
            assert powder_doubts(view, at(100)) is not None


def compare_recall(store, view):
    """For each lot: the builds whose parts hold at least 5 % of it, from the tables and from the graph."""
    for lot in ("V-7712", "V-7740"):
        by_hand = {
            key.split("/")[1]
            for key, share in view.graph.share_of(lot).items()
            if key.startswith("parts ") and share >= 0.05 and view.ledger.kg(key) > 0
        }
        found = recall_lot(store, lot, 0.05)
        assert {b.build for b in found.builds} == by_hand
        assert sum(o.pieces for o in found.orders) == found.pieces
    for build_key in ("B1", "B2"):
        shares = store.powder.shares(1, build_key)
        assert not shares or sum(shares.values()) == pytest.approx(1, abs=0.003)


@pytest.fixture(scope="module")
def plan_of(stocked):
    """Plan 1, read once for all courses."""
    with open_store(stocked) as store:
        return store.load_plan(1)


def test_the_shelf_asks_for_what_is_open(store, plan):
    """Nothing at first but the note of the date; later an open charge, powder to sieve, a label, a weigh-in."""
    assert powder_doubts(look(store), at(10)) == ()
    build(store, plan, "B1", 3.0, {"at": at(20), **MIRA})
    assert {f.code for f in powder_doubts(look(store), at(30))} == {"powder.to-sieve"}
    later = {f.code for f in powder_doubts(look(store), at(30) + timedelta(days=320))}
    assert {"powder.weigh-in-due", "powder.use-soon"} <= later
    assert "powder.past-date" in {f.code for f in powder_doubts(look(store), at(30) + timedelta(days=360))}
