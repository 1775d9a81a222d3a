"""A probe in one cake teaches the model how quickly this chamber type cools."""

import numpy as np
import pytest

from cakewright.errors import InputError
from cakewright.physics import series
from cakewright.physics.cake import HeatModel
from cakewright.physics.probe import fit_speed, reading_at
from tests.physics.test_opening import FINE, heated

HOURS = (4.0, 8.0, 12.0)


def block(speed):
    """Centre of a 0.2 x 0.2 x 0.3 m block of powder at the three hours."""
    theta = series.box(
        (0.2, 0.2, 0.3), np.array(HOURS) * 3600 * speed, conductivity_w_mk=0.1, diffusivity_m2s=0.1 / 1.08e6,
        surface_w_m2k=10.0,
    )  # fmt: skip
    return 25 + 145 * theta


def test_speed_is_recovered_from_noisy_readings():
    """Readings of a cake cooling at 1.2 times the speed, with a few °C of error: found within its interval."""
    hits = 0
    for seed in range(20):
        noise = np.random.default_rng(seed).normal(0, 3.0, 3)
        found = fit_speed(block(1.2) + noise, block)
        hits += found.low <= 1.2 <= found.high
        assert found.value == pytest.approx(1.2, abs=0.12)
    assert hits >= 16


def test_one_reading_of_the_real_cake_is_enough_to_start():
    """The growing cake run 15 % faster, one probe in its middle: the speed comes back, the interval is not narrow."""
    spot = [(60.0, 60.0, 50.0)]

    def predict(speed):
        heat = heated(model=HeatModel(**FINE, speed=speed), watch_mm=spot)
        return [reading_at(heat.time_s, heat.watch_c[:, 0], 3.0 * 3600)]

    found = fit_speed(predict(1.15), predict)
    assert found.value == pytest.approx(1.15, abs=0.03)
    assert found.low < 1.12
    assert found.high > 1.18
    assert found.spread[0] > 1.02


def test_a_reading_that_says_nothing_moves_nothing():
    """Right after the end the core is at bed temperature whatever the speed: the prior stays."""
    found = fit_speed([160.0], lambda speed: [170.0])
    assert found.value == pytest.approx(1.0)
    assert found.high > 1.4


def test_useless_readings_are_refused():
    """None, not a number, another count, or a time without history."""
    with pytest.raises(InputError, match="no usable"):
        fit_speed([], block)
    with pytest.raises(InputError, match="no usable"):
        fit_speed([float("nan")], block)
    with pytest.raises(InputError, match="3 predictions for 1"):
        fit_speed([100.0], block)
    with pytest.raises(InputError, match="before the cake is cold"):
        reading_at(np.array([0.0, 10.0]), np.array([170.0, 160.0]), 20.0)
