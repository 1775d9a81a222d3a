"""Powder against closed forms and one published model.

Mass balance and age distribution: elementary, recomputed independently (worked out from the stated
formula, checked against an independent grain simulation). Markov model: De Sousa Alves, Soliman,
Kontziampasis, "A novel stochastic model for optimizing PA12 powder refresh ratios in SLS", 2025 (in
review), published repository; the expected states follow from its stated matrix and formula.
"""

import numpy as np
import pytest

from cakewright.powder.ageing import (
    age_quantile,
    age_shares,
    age_variance,
    dose_after,
    least_refresh_for_growth,
    mean_age,
    mean_exponential,
    published_states,
    refresh_for_mean_age,
    share_at_least,
    steady_growth,
)
from cakewright.powder.balance import break_even_refresh, density_for_refresh

PA12 = {"sintered_density_g_cm3": 0.95, "bed_density_g_cm3": 0.45}


@pytest.mark.parametrize(
    ("percent", "without_loss", "with_loss"),
    [
        (5, 0.10000, 0.14500),
        (8, 0.15510, 0.19735),
        (10, 0.19000, 0.23050),
        (15, 0.27143, 0.30786),
        (20, 0.34545, 0.37818),
        (29, 0.46303, 0.48987),
    ],
)
def test_break_even_refresh(percent, without_loss, with_loss):
    """Virgin share that replaces what leaves, without losses and with 5 % of the loose powder lost."""
    assert break_even_refresh(packing_density=percent / 100, **PA12) == pytest.approx(without_loss, abs=5e-6)
    lossy = break_even_refresh(packing_density=percent / 100, loss_fraction=0.05, **PA12)
    assert lossy == pytest.approx(with_loss, abs=5e-6)
    assert density_for_refresh(refresh_ratio=lossy, loss_fraction=0.05, **PA12) == pytest.approx(percent / 100)


def test_half_virgin_at_ten_percent_leaves_a_third_over():
    """Refresh 50 % at 10 % packing: 31 % of each charge is surplus."""
    assert 0.5 - break_even_refresh(packing_density=0.10, **PA12) == pytest.approx(0.31)


@pytest.mark.parametrize(
    ("ratio", "shares", "mean", "five_or_more"),
    [
        (0.5, [0.5, 0.25, 0.125, 0.0625], 1.0, 0.03125),
        (0.3, [0.3, 0.21, 0.147, 0.1029], 2.333333, 0.16807),
        (0.2, [0.2, 0.16, 0.128, 0.1024], 4.0, 0.32768),
    ],
)
def test_age_distribution(ratio, shares, mean, five_or_more):
    """Ages at loading are geometric once the loop has run for long."""
    assert age_shares(ratio, 500, 20)[:4] == pytest.approx(shares)
    assert mean_age(ratio) == pytest.approx(mean, abs=1e-6)
    assert share_at_least(ratio, 5) == pytest.approx(five_or_more)


@pytest.mark.parametrize(
    ("ratio", "m1", "m3", "m10", "var3", "p95"),
    [
        (0.2, 0.8, 1.952, 3.570503, 1.469696, 13),
        (0.3, 0.7, 1.533, 2.267422, 1.534911, 8),
        (0.5, 0.5, 0.875, 0.999023, 1.109375, 4),
    ],
)
def test_age_on_the_way(ratio, m1, m3, m10, var3, p95):
    """Means and variance after 1, 3 and 10 builds from virgin powder; the age 95 % do not exceed."""
    assert [mean_age(ratio, n) for n in (1, 3, 10)] == pytest.approx([m1, m3, m10], abs=1e-6)
    assert age_variance(ratio, 3) == pytest.approx(var3, abs=1e-6)
    assert age_quantile(ratio, 0.95) == p95


def test_growth_of_a_property():
    """A property that grows 1.3-fold per build: finite only above 23.08 % refresh."""
    assert steady_growth(0.5, 1.3) == pytest.approx(1.428571, abs=1e-6)
    assert steady_growth(0.3, 1.3) == pytest.approx(3.333333, abs=1e-6)
    assert steady_growth(0.2, 1.3) is None
    assert least_refresh_for_growth(1.3) == pytest.approx(0.230769, abs=1e-6)


def test_dose_and_exponential_law():
    """Thermal dose over four unlike builds; the mean of a decaying property is not its value at the mean age."""
    assert dose_after([12, 30, 8, 20], 0.3) == pytest.approx([8.4, 26.88, 24.416, 31.0912])
    assert dose_after([20] * 200, 0.3)[-1] == pytest.approx(46.666667, abs=1e-6)
    assert mean_exponential(0.3, 0.15) == pytest.approx(0.7547086, abs=1e-7)
    assert np.exp(-0.15 * mean_age(0.3)) == pytest.approx(0.7047, abs=5e-5)
    assert refresh_for_mean_age(2.0) == pytest.approx(1 / 3)


@pytest.mark.parametrize(
    ("ratio", "states", "quality"),
    [
        (0.15, [0.196617, 0.243092, 0.171156, 0.137699, 0.251436], 0.590289),
        (0.30, [0.328622, 0.329400, 0.163614, 0.096164, 0.082200], 0.778077),
        (0.50, [0.449275, 0.359595, 0.118333, 0.050489, 0.022308], 0.875939),
        (1.00, [0.62, 0.33, 0.04, 0.01, 0.0], 0.949),
    ],
)
def test_markov_long_run(ratio, states, quality):
    """States of the published chain after long use of one ratio, and from any start by repetition."""
    chain = published_states()
    assert chain.long_run(ratio) == pytest.approx(states, abs=1e-6)
    assert chain.index(chain.long_run(ratio)) == pytest.approx(quality, abs=1e-6)
    stock = np.array([0.0, 0.1, 0.2, 0.3, 0.4])
    for _ in range(300):
        stock = chain.after_build(stock, ratio)
    assert stock == pytest.approx(states, abs=1e-6)


def test_markov_without_refresh():
    """Quality index over seven builds without virgin powder."""
    chain, stock, found = published_states(), published_states().virgin(), []
    for _ in range(7):
        stock = chain.after_build(stock, 0.0)
        found.append(chain.index(stock))
    assert found == pytest.approx([0.949, 0.88211, 0.8048, 0.72216, 0.63849, 0.55713, 0.4805], abs=5e-6)


def test_markov_limits():
    """The degraded share reaches 12 % at 24.65 % refresh, the index 0.60 at 15.5 % (not both at 15.6 %)."""
    chain = published_states()
    assert chain.long_run(0.246542)[4] == pytest.approx(0.12, abs=2e-6)
    assert chain.index(chain.long_run(0.155000)) == pytest.approx(0.60, abs=2e-5)
    assert chain.long_run(0.156)[4] == pytest.approx(0.2395, abs=5e-5)
