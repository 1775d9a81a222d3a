"""Melt flow followed through the ledger; ways, stated ages, and what a correction touches."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cakewright.powder.flow import after_builds, believe, measured, mixed
from cakewright.powder.flow_history import FlowPoint, builds_worth, flow_beliefs
from cakewright.powder.genealogy import touched_by, trace
from cakewright.powder.ledger import EntryKind, Ledger
from cakewright.sources.powder import CERTIFICATE_SPREAD, DOSE_OF_A_BUILD_H, UNKNOWN_FLOW
from tests.powder.test_genealogy import one_build
from tests.powder.test_ledger import random_moves, try_all
from tests.powder.worlds import at, small_cell, stocked_cell

CERTIFICATES = {"V-7712": 52.0, "V-7740": 48.0}
LOSS = 0.2


def test_a_drum_starts_from_its_certificate_and_used_powder_from_a_guess():
    """Known lots are narrow, powder without a past is wide."""
    found = flow_beliefs(stocked_cell(), CERTIFICATES, [])
    assert found["D1"].flow == pytest.approx(52)
    assert found["C1"].flow == pytest.approx(UNKNOWN_FLOW.value)
    assert found["C1"].log_variance > 10 * found["D1"].log_variance


def test_a_build_lowers_it_by_its_dose():
    """3 kg of a drum on 5 kg of the can, then 20 h at heat: mixing by the logarithm, loss by dose."""
    found = flow_beliefs(one_build(), CERTIFICATES, [], loss_per_build=LOSS)
    start = stocked_cell()
    used = flow_beliefs(start, CERTIFICATES, [])["C1"]
    charge = mixed([(believe(52.0, CERTIFICATE_SPREAD.value), 3.0), (used, 5.0)])
    expected = after_builds(charge, 20 / DOSE_OF_A_BUILD_H.value, LOSS)
    assert found["C2"].log_mean == pytest.approx(expected.log_mean)
    assert found["C2"].log_variance == pytest.approx(expected.log_variance)


def test_a_measurement_counts_from_its_place_in_time():
    """Measured before it is poured on, the can passes the better knowledge on; measured after, it does not."""
    ledger = stocked_cell()
    last = len(ledger.entries)
    ledger.move(at=at(1), source="C1", target="C3", kg=4, who="Dev")
    before = flow_beliefs(ledger, CERTIFICATES, [FlowPoint(last, "C1", 18.0, 0.05)])
    after = flow_beliefs(ledger, CERTIFICATES, [FlowPoint(last + 1, "C1", 18.0, 0.05)])
    plain = flow_beliefs(ledger, CERTIFICATES, [])
    assert before["C3"].flow == pytest.approx(before["C1"].flow)
    assert after["C3"].flow == pytest.approx(plain["C3"].flow)
    assert after["C1"].log_mean == pytest.approx(measured(plain["C1"], 18.0, 0.05).log_mean)


def test_heat_without_a_dose_counts_its_exposures():
    """A movement with a dose ages by the dose, one without by whole builds, one without both not at all."""
    move = trace_movement(exposures=2, dose_h=0.0)
    assert builds_worth(move) == 2
    assert builds_worth(replace(move, dose_h=12.0)) == pytest.approx(12 / DOSE_OF_A_BUILD_H.value)
    assert builds_worth(replace(move, exposures=0)) == 0


def trace_movement(**values):
    """Any movement with these values."""
    return replace(one_build().movements()[-1], **values)


@settings(deadline=None)
@given(moves=random_moves)
def test_a_mix_never_flows_better_than_its_best_part(moves):
    """Whatever is poured where, without heat the belief stays between the lowest and the highest start."""
    found = flow_beliefs(try_all(stocked_cell(), moves), CERTIFICATES, [])
    low, high = math.log(UNKNOWN_FLOW.value), math.log(52.0)
    assert all(low - 1e-9 <= belief.log_mean <= high + 1e-9 for belief in found.values())


@settings(deadline=None)
@given(moves=random_moves)
def test_what_comes_in_by_all_ways_is_everything(moves):
    """Powder reaches a can first from outside: shares of all ways out of outside accounts add to one."""
    ledger = try_all(stocked_cell(), moves)
    graph = trace(ledger)
    for can in graph.now:
        ways = graph.ways(can)
        entered = sum(share for (source, _), share in ways.items() if source in ("supplier", "opening stock"))
        assert entered == pytest.approx(1.0)


def test_a_stated_age_is_believed_and_an_unknown_one_is_not():
    """Powder from before the books counts as old unless somebody says how many builds it saw."""
    ledger = small_cell()
    move = {"source": "opening stock", "kg": 5, "who": "Mira"}
    ledger.move(at=at(0), target="C1", exposures=2, **move)
    ledger.move(at=at(0), target="C2", **move)
    graph = trace(ledger)
    assert graph.age_of("C1", 4) == pytest.approx([0, 0, 1, 0, 0])
    assert graph.age_of("C2", 4) == pytest.approx([0, 0, 0, 0, 1])


@settings(deadline=None)
@given(moves=random_moves, share=st.floats(0.3, 1.5), which=st.integers(0, 1000))
def test_what_a_correction_does_not_touch_stays_as_it_was(moves, share, which):
    """Compositions outside `touched_by` are the same before and after the correction."""
    ledger = try_all(stocked_cell(), moves)
    before = trace(ledger)
    number = which % len(ledger.entries) + 1
    wrong = ledger.entries[number - 1]
    try:
        ledger.correct(number, kg=max(0.001, round(wrong.kg * share, 3)), at=at(999), who="Mira", reason="test")
    except ValueError:
        return
    touched, after = touched_by(ledger, number), trace(ledger)
    for can in set(before.now) - touched:
        assert after.composition(can) == pytest.approx(before.composition(can))


def test_a_restored_ledger_is_the_same_and_a_damaged_one_is_refused():
    """Books read back hold the same grams; a gap or a can below nothing is told."""
    ledger = one_build()
    again = Ledger.restore(ledger.lots.values(), ledger.containers.values(), ledger.entries)
    assert (again.grams(), again.movements()) == (ledger.grams(), ledger.movements())
    with pytest.raises(ValueError, match="entry 3 follows entry 1"):
        Ledger.restore(ledger.lots.values(), ledger.containers.values(), [ledger.entries[0], ledger.entries[2]])
    bad = replace(ledger.entries[0], kind=EntryKind.MOVE, source="C3", target="C2")
    with pytest.raises(ValueError, match="'C3' holds -10"):
        Ledger.restore(ledger.lots.values(), ledger.containers.values(), [bad])
