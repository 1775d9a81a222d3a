"""Hours on the machine add up from layers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.errors import CellError, InputError
from cakewright.physics.buildtime import print_time, scan_seconds
from tests.physics.worlds import empty, machine, profile_of


def test_every_term_is_in_the_total():
    """Three layers by hand: 2 s hatch + 0.5 s outline + 2 jumps, one layer empty, one below the minimum."""
    p = profile_of([2000, 0, 500], [1000, 0, 200], [2, 0, 1])
    t = print_time(p, machine(minimum_layer_s=1.0), extra_layers_mm=1.5)
    np.testing.assert_allclose(scan_seconds(p, machine()), [2.6, 0, 0.65])
    np.testing.assert_allclose(t.layer_s, [12.6, 11, 11])
    assert t.recoat_s == 10 * 18
    assert t.scan_s == pytest.approx(3.25)
    assert t.waiting_s == pytest.approx(1 + 0.35 + 15)
    assert t.total_s == pytest.approx(90 * 60 + 180 + 3.25 + 16.35 + 20 * 60)


@given(st.lists(st.floats(0, 1e5), min_size=1, max_size=30), st.floats(0, 60), st.floats(0, 20))
def test_layer_times_and_total_agree(areas, minimum, extra):
    """Total = warm-up + layers + extra layers + end, whatever the layers."""
    m = machine(minimum_layer_s=minimum)
    p = profile_of(areas)
    t = print_time(p, m, extra_layers_mm=extra)
    extra_layers = int(np.ceil(extra / 0.1 - 1e-4)) if extra else 0  # a layer within rounding of nothing is none
    expected = 5400 + t.layer_s.sum() + extra_layers * (10 + minimum) + 1200
    assert t.total_s == pytest.approx(expected)
    assert (t.layer_s >= 10 + minimum - 1e-9).all()


def test_another_part_in_the_same_height_costs_only_its_scan():
    """Adding area leaves recoating alone."""
    one, two = profile_of([500] * 50), profile_of([800] * 50)
    a, b = print_time(one, machine()), print_time(two, machine())
    assert b.recoat_s == a.recoat_s
    assert b.total_s - a.total_s == pytest.approx(50 * 300 / 1000)


def test_below_the_minimum_layer_time_another_part_is_free():
    """Where the machine waits anyway, more scanning costs nothing."""
    m = machine(minimum_layer_s=30.0)
    one, two = print_time(profile_of([500] * 50), m), print_time(profile_of([800] * 50), m)
    assert two.total_s == one.total_s


def test_a_profile_for_another_layer_thickness_is_refused():
    """Hours for 0.10 mm layers on a 0.12 mm machine would be wrong by a fifth."""
    with pytest.raises(InputError, match="slice for the machine"):
        print_time(empty(10), machine(layer_mm=0.12))


def test_bad_numbers_are_refused():
    """No speed of zero, no negative powder."""
    with pytest.raises(CellError, match="M1"):
        print_time(empty(10), machine(hatch_speed_mm_s=0.0))
    with pytest.raises(InputError, match="negative"):
        print_time(empty(10), machine(), extra_layers_mm=-1)
