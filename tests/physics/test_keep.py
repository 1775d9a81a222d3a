"""What is kept of a computed history is enough and true."""

import numpy as np
import pytest

from cakewright.physics.keep import keep_heat, moments
from tests.physics.test_opening import heated
from tests.physics.worlds import powder


@pytest.fixture(scope="module")
def heat():
    """Two cubes in a small cake."""
    return heated()


def test_powder_ages_most_where_it_stays_hot(heat):
    """Dose is hours at bed temperature: never more than the time since the start, least at the walls."""
    dose = keep_heat(heat, powder()).dose
    hours = (heat.time_s[-1] - heat.time_s[0]) / 3600
    assert 0 < dose.mean_h < dose.largest_h < hours
    nz, ny, nx = dose.dose_h.shape
    assert dose.dose_h[nz // 2].max() > 2 * dose.dose_h[nz // 2, 0, 0]
    assert (ny, nx) == (8, 8)


def test_regions_hold_the_powder_of_the_cake(heat):
    """The mass of all regions is the cake less its pieces at bed density, and bands of height add up to the mean."""
    dose = keep_heat(heat, powder()).dose
    unsintered_mm3 = 120 * 120 * 115 - 2 * 20**3
    assert dose.powder_kg.sum() == pytest.approx(unsintered_mm3 * 0.45e-6, rel=1e-9)
    bands = dose.by_height()
    assert bands[0][0] == pytest.approx(-10.0)
    assert bands[-1][1] == pytest.approx(105.0)
    assert sum(kg * h for _, _, kg, h in bands) / sum(b[2] for b in bands) == pytest.approx(dose.mean_h)


def test_the_cut_is_hot_where_it_is_and_empty_where_nothing_lies(heat):
    """At the first moment only the lowest powder is there; at the print end the whole cake is."""
    kept = keep_heat(heat, powder())
    assert kept.time_s[0] == heat.time_s[0]
    assert np.isnan(kept.section_c[0, -1]).all()
    assert np.isfinite(kept.section_c[kept.time_s >= 0]).all()
    assert kept.section_c[kept.time_s >= 0].max() == pytest.approx(heat.cooling.core_c.max(), abs=1.0)


def test_moments_hold_first_last_and_print_end():
    """Whatever the count, the three moments people ask for are there."""
    at = moments(np.array([-100.0, -50.0, -1.0, 0.0, 10.0, 1000.0]), 2)
    assert list(at) == [0, 3, 5]


def test_early_opening_is_told_from_the_record(heat):
    """The kept moments are close enough to say how warm a piece is at any time."""
    kept = keep_heat(heat, powder())
    for hours in (0.0, 2.0, 5.0):
        for piece, celsius in kept.opened_at(hours * 3600):
            i = [p.piece for p in heat.pieces].index(piece)
            assert celsius == pytest.approx(np.interp(hours * 3600, heat.time_s, heat.piece_c[:, i]), abs=1.5)
