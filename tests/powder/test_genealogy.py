"""Which lots are where: the sparse solver against plain bookkeeping in fractions."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cakewright.errors import InputError
from cakewright.powder.genealogy import pieces_in, trace
from cakewright.powder.ledger import EntryKind
from tests.powder.test_ledger import random_moves, try_all
from tests.powder.worlds import at, stocked_cell

KEEP = 4


def by_hand(ledger):
    """Composition and ages of each container as exact fractions, one movement after the other."""
    held = {key: {} for key in ledger.containers}  # container -> {(origin, age): grams}
    last = {}
    for m in ledger.movements():
        if ledger.containers[m.source].kind in ("supplier", "found"):
            moved = {(ledger.containers[m.target].lot or m.source, 0): Fraction(m.grams)}
        else:
            total = sum(held[m.source].values())
            moved = {k: g * m.grams / total for k, g in held[m.source].items()}
            for k, g in moved.items():
                held[m.source][k] -= g
        for (origin, age), g in moved.items():
            key = (origin, age + m.exposures)
            held[m.target][key] = held[m.target].get(key, Fraction(0)) + g
        grams = sum(held[m.target].values())
        last[m.target] = {k: g / grams for k, g in held[m.target].items() if g}
    return last


def origin_shares(state):
    """Shares by origin of one state."""
    shares = {}
    for (origin, _), share in state.items():
        shares[origin] = shares.get(origin, 0.0) + float(share)
    return shares


@settings(deadline=None)
@given(moves=random_moves, correct=st.booleans())
def test_composition_and_recall_equal_brute_force(moves, correct):
    """Shares add to one, equal the exact ones, and a recall names exactly the containers above the threshold."""
    ledger = try_all(stocked_cell(), moves)
    if correct:
        ledger.correct(1, kg=20.0, at=at(999), who="Mira", reason="drum was 20 kg")
    graph, exact = trace(ledger), by_hand(ledger)
    for container, state in exact.items():
        found = graph.composition(container)
        assert sum(found.values()) == pytest.approx(1.0)
        assert found == pytest.approx({o: s for o, s in origin_shares(state).items() if s > 0}, abs=1e-12)
    for threshold in (0.0, 0.005, 0.3):
        expected = {c for c, state in exact.items() if origin_shares(state).get("V-7712", 0) > threshold + 1e-9}
        assert expected <= set(graph.recall("V-7712", threshold))
        near = {c for c, state in exact.items() if origin_shares(state).get("V-7712", 0) >= threshold - 1e-9}
        assert set(graph.recall("V-7712", threshold)) <= near


@settings(deadline=None)
@given(steps=st.lists(st.tuples(st.sampled_from(["C1", "C2", "C3", "M1", "D1"]), st.sampled_from(["C2", "C3", "M1"]),
                                st.integers(1, 4000), st.integers(0, 2)), max_size=25))  # fmt: skip
def test_ages_equal_brute_force(steps):
    """Age shares by sparse solve equal those of plain bookkeeping; unknown powder counts as old."""
    ledger = stocked_cell()
    for minute, (source, target, grams, exposures) in enumerate(steps, start=1):
        if source != target and ledger.grams()[source] >= grams:
            ledger.move(at=at(minute), source=source, target=target, kg=grams / 1000, who="Dev", exposures=exposures)
    graph, exact = trace(ledger), by_hand(ledger)
    for container, state in exact.items():
        expected = np.zeros(KEEP + 1)
        for (origin, age), share in state.items():
            expected[KEEP if origin == "opening stock" else min(age, KEEP)] += float(share)
        assert graph.age_of(container, KEEP) == pytest.approx(expected, abs=1e-9)


def one_build():
    """3 kg virgin on 5 kg used into the machine, printed: 1 kg of parts, the rest back into C2 after 20 h."""
    ledger = stocked_cell()
    ledger.move(at=at(1), source="D1", target="M1", kg=3, who="Dev")
    ledger.move(at=at(1), source="C1", target="M1", kg=5, who="Dev")
    for target, kg in (("parts B1", 1), ("C2", 7)):
        ledger.move(
            at=at(2), source="M1", target=target, kg=kg, who="Dev", kind=EntryKind.PRINT, exposures=1, dose_h=20
        )
    return ledger


def test_pieces_of_a_lot_and_lots_of_a_piece():
    """From lot to pieces with the stated threshold, and back."""
    graph = trace(one_build())
    pieces = {"L01-01": "parts B1", "L01-02": "parts B1", "L09-01": "parts B2"}
    assert pieces_in(graph.recall("V-7712", 0.005), pieces) == pytest.approx({"L01-01": 0.375, "L01-02": 0.375})
    assert pieces_in(graph.recall("V-7712", 0.4), pieces) == {}
    assert graph.composition("parts B1") == pytest.approx({"V-7712": 0.375, "opening stock": 0.625})
    assert graph.compositions(["parts B1", "C2"]).sum(axis=1) == pytest.approx([1, 1])


def test_dose_and_age_after_one_build():
    """All of it saw 20 h; three eighths has one build behind it, the rest is of unknown age."""
    graph = trace(one_build())
    assert graph.dose_h()["C2"] == pytest.approx(20)
    assert graph.age_of("C2", 3) == pytest.approx([0, 0.375, 0, 0.625])


def test_steady_refresh_gives_the_geometric_ages():
    """A loop with 30 % refresh run 60 times tends to r (1 - r)^k at loading."""
    ledger = stocked_cell()
    ledger.correct(1, kg=900, at=at(1), who="Mira", reason="one large lot for the test")
    minute = 2
    ledger.move(at=at(minute), source="D1", target="M1", kg=10, who="Dev")
    for _ in range(60):
        minute += 1
        ledger.move(at=at(minute), source="M1", target="waste", kg=3, who="Dev", kind=EntryKind.DISCARD)
        ledger.move(at=at(minute), source="M1", target="C2", kg=7, who="Dev", kind=EntryKind.PRINT, exposures=1)
        ledger.move(at=at(minute), source="D1", target="M1", kg=3, who="Dev")
        ledger.move(at=at(minute), source="C2", target="M1", kg=7, who="Dev")
    assert trace(ledger).age_of("M1", 5)[:4] == pytest.approx([0.3, 0.21, 0.147, 0.1029], abs=1e-6)


def test_unknown_names_are_refused():
    """A lot or can that never was gives an error, not an empty list."""
    graph = trace(one_build())
    with pytest.raises(InputError, match="nothing of 'V-9999'"):
        graph.recall("V-9999", 0.01)
    with pytest.raises(InputError, match="'C3' never held"):
        graph.composition("C3")
