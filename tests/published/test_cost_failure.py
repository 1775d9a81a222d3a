"""Failure figures against closed forms (exponential law, Clopper-Pearson, Jeffreys), recomputed independently."""

import pytest

from cakewright.cost.failure import failure_interval, failure_probability, lost_hours_factor, lost_value_factor


def test_reprint_until_good():
    """6 % failures: 1.06383 attempts; with constant hazard over 24 h the mean print time is 24.75806 h."""
    assert 1 + lost_value_factor(0.06) == pytest.approx(1.06383, abs=5e-6)
    assert 24 * (1 + lost_hours_factor(0.06)) == pytest.approx(24.75806, abs=5e-6)


def test_three_failures_in_fifty():
    """A cell with 50 builds knows its failure rate only to a factor of ten."""
    assert failure_probability(3, 50) == pytest.approx(0.06863, abs=5e-6)
    assert failure_interval(3, 50) == pytest.approx((0.01255, 0.16548), abs=5e-6)
