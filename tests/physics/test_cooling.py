"""The simple answer to 'when may the cake be opened' is late, ordered and honest."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cakewright.errors import CellError, InputError
from cakewright.physics.buildtime import print_time
from cakewright.physics.cooling import cool
from tests.physics.worlds import chamber, empty, machine, powder, profile_of


def cooled(profile, *, base=(200.0, 200.0), material=None, room=25.0, where=None):
    return cool(
        profile,
        print_time(profile, machine()),
        base_mm=base,
        base_powder_mm=10.0,
        cover_powder_mm=5.0,
        material=material or powder(),
        chamber_type=where or chamber(),
        room_c=room,
    )


def test_the_core_is_at_target_when_it_says_so():
    """At the likely opening time the core stands at 50 °C; skin and mean are colder by then."""
    c = cooled(empty(285))
    at = [np.interp(c.opening_s[1], c.curve_s, y) for y in (c.core_c, c.skin_c, c.mean_c)]
    assert at[0] == pytest.approx(50, abs=0.05)
    assert at[1] < at[2] < at[0]


def test_early_likely_late_are_in_order_and_curves_fall():
    """Uncertain powder gives a range; nothing warms up again."""
    c = cooled(empty(285))
    assert c.opening_s[0] < c.opening_s[1] < c.opening_s[2]
    assert c.core_c[0] == c.skin_c[0] == c.mean_c[0] == 170
    for curve in (c.core_c, c.skin_c, c.mean_c):
        assert (np.diff(curve) < 1e-6).all()


def test_plastic_in_the_cake_makes_it_slower():
    """Parts hold more heat than the powder they replace."""
    full = profile_of(np.full(2850, 0.15 * 200 * 200))
    assert cooled(full).opening_s[1] > cooled(empty(285)).opening_s[1]


@settings(max_examples=15, deadline=None)
@given(st.floats(60, 250), st.floats(1.05, 1.5))
def test_a_higher_cake_never_opens_earlier(height, more):
    """Height costs time."""
    low, high = cooled(empty(height)), cooled(empty(height * more))
    assert high.opening_s[1] >= low.opening_s[1]


def test_half_the_height_does_not_halve_the_time():
    """In a slim cake the way out is sideways, so height matters less than it seems."""
    ratio = cooled(empty(135)).opening_s[1] / cooled(empty(285)).opening_s[1]
    assert 0.6 < ratio < 0.95


def test_the_hottest_place_is_the_middle_of_the_cake():
    """Base powder below z = 0 counts as cake."""
    assert cooled(empty(285)).hottest_mm == pytest.approx((100, 100, 140))


def test_a_room_warmer_than_the_target_is_refused():
    """A cake never cools below the room."""
    with pytest.raises(CellError, match="must lie between room and bed"):
        cooled(empty(100), room=55.0)


def test_impossible_numbers_are_refused():
    """No conductivity of zero; no more plastic than cake."""
    with pytest.raises(CellError, match="conductivity"):
        cooled(empty(100), material=powder(cake_conductivity_w_mk=0.0))
    with pytest.raises(InputError, match="parts fill"):
        cooled(profile_of([1e6] * 100))
