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


def test_hours_per_piece_follow_the_saw_tooth():
    """Ruffo, Tuck, Hague 2006 (shape): hours per piece fall inside a build, jump at one more, minima are equal.

    Nine cubes of 20 mm stand in one layer of a build; the tenth needs a build of its own.
    """
    each, per_build = 400.0, 9
    m = machine(minimum_layer_s=0.0)

    def hours(pieces: int) -> float:
        full, rest = divmod(pieces, per_build)
        builds = [per_build] * full + ([rest] if rest else [])
        return sum(print_time(profile_of([n * each] * 200), m).total_s for n in builds) / pieces

    unit = [hours(n) for n in range(1, 3 * per_build + 1)]
    for n in range(1, 3 * per_build):
        assert (unit[n] > unit[n - 1]) == (n % per_build == 0)
    assert unit[per_build - 1] == pytest.approx(unit[2 * per_build - 1]) == pytest.approx(unit[3 * per_build - 1])
