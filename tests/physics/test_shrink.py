"""Shrink by place: learnt, applied to the drawing, undone at the gauge."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cakewright.errors import InputError
from cakewright.physics.shrink import Length, drawn_for_build, fit_field, uniform
from tests.conftest import box_mesh
from tests.physics.worlds import placed

SCALE = np.array([0.970, 0.968, 0.965])
SLOPE = np.array([[1e-5, 0, -2e-5], [0, 2e-5, -2e-5], [0, 0, -4e-5]])
CENTRE = np.array([100, 100, 150.0])


def ladders(noise=0.0, places=27, seed=0):
    """Lengths at 27 places of a chamber whose shrink grows with height."""
    rng = np.random.default_rng(seed)
    grid = [(x, y, z) for x in (30, 100, 170) for y in (30, 100, 170) for z in (20, 150, 280)][:places]
    return [
        Length(axis, at, d, d * (SCALE + SLOPE @ (np.array(at) - CENTRE))[axis] + noise * rng.standard_normal())
        for at in grid
        for axis in range(3)
        for d in (20.0, 60.0)
    ]


def test_place_is_learnt():
    """Without error the scales and slopes come back; with 0.03 mm of error within a few parts in ten thousand."""
    exact, noisy = fit_field(ladders(), with_position=True), fit_field(ladders(0.03), with_position=True)
    np.testing.assert_allclose(exact.scale_at(CENTRE), SCALE, rtol=1e-9)
    np.testing.assert_allclose(exact.gradient, SLOPE, atol=1e-12)
    np.testing.assert_allclose(noisy.scale_at((30, 170, 280)), exact.scale_at((30, 170, 280)), atol=5e-4)
    assert (exact.error < 1e-9).all()


def test_one_scale_for_all_places_is_a_compromise():
    """Ignoring the place leaves ten times the error that the ruler has."""
    assert (
        fit_field(ladders(0.003), with_position=False).error > 5 * fit_field(ladders(0.003), with_position=True).error
    ).all()


@settings(deadline=None)
@given(st.floats(1, 300), st.integers(0, 2), st.tuples(st.floats(0, 200), st.floats(0, 200), st.floats(0, 300)))
def test_drawing_and_cooling_undo_each_other(length, axis, at):
    """What is drawn for a wanted length measures that length when cold."""
    field = fit_field(ladders(), with_position=True)
    assert field.cold(field.drawn(length, axis, at), axis, at) == pytest.approx(length)


def test_a_mesh_is_drawn_larger_about_its_middle():
    """A 10 mm cube with factors 1.03, 1.02, 1.01 measures 10.3, 10.2, 10.1 and its middle stays."""
    drawn = drawn_for_build(box_mesh(10, 10, 10), placed("A", (50, 60, 70)), uniform((1.03, 1.02, 1.01)))
    np.testing.assert_allclose(drawn.size_mm, [10.3, 10.2, 10.1])
    np.testing.assert_allclose(drawn.box_mm.mean(axis=0), [55, 65, 75])


def test_too_few_places_are_refused():
    """Position needs lengths that differ along every axis."""
    with pytest.raises(InputError, match="0 lengths along x"):
        fit_field([], with_position=False)
    with pytest.raises(InputError, match="one plane"):
        fit_field(ladders(places=9), with_position=True)
    with pytest.raises(InputError, match="above zero"):
        uniform((1.0, 0.0, 1.0))
