"""Build time worked by hand from the layer sum of Pham & Wang 2000 and Ruffo, Tuck, Hague 2006 (first principles)."""

import numpy as np
import pytest

from cakewright.physics.buildtime import print_time
from tests.physics.worlds import empty, machine, profile_of

HOUR = 3600.0


def test_two_seconds_of_hatching():
    """2000 mm² at 0.25 mm and 4000 mm/s take 2.000 s."""
    assert print_time(profile_of([2000]), machine(recoat_s=0.0)).layer_s[0] == pytest.approx(2.0)


@pytest.mark.parametrize("layers", [100, 1000, 4000])
def test_a_litre_takes_the_same_hatching_whatever_its_shape(layers):
    """1 litre at 0.10 mm layers: 2.7778 h of hatching, flat or tall."""
    litre = profile_of(np.full(layers, 1e6 / 0.1 / layers))
    assert print_time(litre, machine()).scan_s / HOUR == pytest.approx(2.7778, abs=5e-5)


def test_an_empty_stack_still_takes_hours():
    """300 mm at 0.10 mm with 10 s of recoating: 8.3333 h."""
    assert print_time(empty(300), machine()).recoat_s / HOUR == pytest.approx(8.3333, abs=5e-5)


def test_adding_a_part_adds_only_scan_time():
    """Without a higher stack the rest stays as it was."""
    alone, both = profile_of([1000] * 300), profile_of([1000] * 100 + [1600] * 200)
    a, b = print_time(alone, machine()), print_time(both, machine())
    assert b.total_s - a.total_s == pytest.approx(b.scan_s - a.scan_s)
    assert b.scan_s - a.scan_s == pytest.approx(200 * 600 / 1000)
