"""What a stop would cost, from the cell's own record."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.errors import InputError
from cakewright.model.cell import FailureHistory
from cakewright.physics.risk import Hazard, hazard_of, value_at_risk
from tests.physics.worlds import placed


def test_five_per_cent_per_full_build():
    """At a well-known 5 % per build, pieces ending at 25, 50, 75 % height survive with 98.7, 97.5, 96.2 %."""
    known = Hazard(1e6, 1e6 * 4000 / -np.log(0.95))
    np.testing.assert_allclose(known.survives([1000, 2000, 3000, 4000]), [0.987, 0.975, 0.962, 0.95], atol=5e-4)


def test_the_cells_own_record_outweighs_the_prior():
    """6 of 110 builds: near 5.4 %, with bounds; 60 of 1100 gives the same with narrower bounds."""
    few, many = hazard_of(FailureHistory(6, 110), 3000), hazard_of(FailureHistory(60, 1100), 3000)
    assert few.mean * 3000 == pytest.approx(0.0542, abs=5e-4)
    wide, narrow = few.interval(), many.interval()
    assert wide[0] < narrow[0] < many.mean < narrow[1] < wide[1]


def test_without_history_it_is_a_guess_with_wide_bounds():
    """No builds yet: 5 % per build, but anything from almost nothing to more than 15 %."""
    new = hazard_of(FailureHistory(0, 0), 3000)
    low, high = new.interval()
    assert new.mean * 3000 == pytest.approx(0.05)
    assert low * 3000 < 0.001
    assert high * 3000 > 0.15


def test_pieces_are_sorted_by_where_the_build_stopped():
    """Low piece 0-10 mm, high piece 8-18 mm, stop in layer 9 (9 mm): low cut, high cut; at 12 mm low is done."""
    two = [placed("low", (0, 0, 0)), placed("high", (20, 0, 8))]
    v = value_at_risk(two, {"low": 100.0, "high": 30.0}, hazard_of(FailureHistory(1, 20), 20), layer_mm=1.0, layers=20)
    assert (v.complete[9], v.cut[9], v.untouched[9]) == (0, 130, 0)
    assert (v.complete[12], v.cut[12], v.untouched[12]) == (100, 30, 0)
    assert (v.complete[3], v.cut[3], v.untouched[3]) == (0, 100, 30)
    assert (v.complete[19], v.cut[19]) == (130, 0)


def test_powder_over_a_piece_counts():
    """With 2 mm of margin the low piece is done only at 12 mm."""
    one = [placed("low")]
    v = value_at_risk(one, {"low": 1.0}, Hazard(1, 1000), layer_mm=1.0, layers=15, margin_mm=2.0)
    assert v.complete.tolist() == [0] * 12 + [1] * 3


@given(st.lists(st.tuples(st.floats(0, 80), st.floats(0, 100)), min_size=1, max_size=12), st.integers(0, 20))
def test_values_add_up_and_chances_too(pieces, failed):
    """Done + cut + not begun is everything in every layer; stopping somewhere or surviving is certain."""
    spots = [placed(f"P{i}", (0, 0, z)) for i, (z, _) in enumerate(pieces)]
    value = {f"P{i}": v for i, (_, v) in enumerate(pieces)}
    hazard = hazard_of(FailureHistory(failed, 40), 100)
    v = value_at_risk(spots, value, hazard, layer_mm=1.0, layers=100)
    np.testing.assert_allclose(v.complete + v.cut + v.untouched, sum(value.values()), atol=1e-9)
    assert (v.cut >= -1e-9).all()
    assert v.stops.sum() + hazard.survives(100) == pytest.approx(1)
    assert v.expected_scrap <= v.expected_missing + 1e-9 <= sum(value.values()) + 1e-8


def test_standing_low_is_safer():
    """The same piece at the top is more often missing than at the bottom."""
    h = hazard_of(FailureHistory(5, 100), 100)
    low, high = (
        value_at_risk([placed("P", (0, 0, z))], {"P": 1.0}, h, layer_mm=1.0, layers=100).expected_missing
        for z in (0, 90)
    )
    assert high > 5 * low


def test_impossible_histories_are_refused():
    """More failures than builds; a piece nobody gave a value."""
    with pytest.raises(InputError, match="5 failed of 3"):
        hazard_of(FailureHistory(5, 3), 1000)
    with pytest.raises(InputError, match="no value for low"):
        value_at_risk([placed("low")], {}, Hazard(1, 100), layer_mm=1.0, layers=10)
