"""Charts, capability and gauges against published worked examples.

NIST/SEMATECH e-Handbook of Statistical Methods (doi 10.18434/M32189) sections 6.1.6, 6.3.2, 6.3.3, 7.2.6.3;
Montgomery, Introduction to Statistical Quality Control (piston rings, juice cans); AIAG, Measurement
Systems Analysis, 4th ed., 2010 (10 x 3 x 3 study); JCGM 100 example H.1. Values recomputed independently.
"""

import csv

import numpy as np
import pytest

from cakewright.quality.capability import (
    capability,
    cp_interval,
    cpk_interval,
    one_sided_factor,
    two_sided_factor,
)
from cakewright.quality.constants import chart_constants
from cakewright.quality.gauge import combined_uncertainty, gauge_anova, gauge_average_range
from cakewright.quality.spc import c_chart, cusum, ewma, individuals, p_chart, xbar_r, xbar_s


@pytest.fixture
def rows(shared):
    """Columns of a published data set by file name."""

    def read(name: str) -> dict[str, list[float]]:
        with (shared / "checks" / "data" / "spc" / name).open(encoding="utf-8-sig") as file:
            table = list(csv.DictReader(file))
        return {key: [row[key] for row in table] for key in table[0]}

    return read


def numbers(column) -> list[float]:
    return [float(x) for x in column]


@pytest.mark.parametrize(
    ("n", "d2", "d3", "c4", "a2", "a3", "b3", "b4", "d4"),
    [
        (2, 1.1284, 0.8525, 0.7979, 1.880, 2.659, 0, 3.267, 3.267),
        (3, 1.6926, 0.8884, 0.8862, 1.023, 1.954, 0, 2.568, 2.575),
        (4, 2.0588, 0.8798, 0.9213, 0.729, 1.628, 0, 2.266, 2.282),
        (5, 2.3259, 0.8641, 0.9400, 0.577, 1.427, 0, 2.089, 2.114),
        (6, 2.5344, 0.8480, 0.9515, 0.483, 1.287, 0.030, 1.970, 2.004),
        (10, 3.0775, 0.7971, 0.9727, 0.308, 0.975, 0.284, 1.716, 1.777),
    ],
)
def test_chart_constants(n, d2, d3, c4, a2, a3, b3, b4, d4):
    """Constants by integration equal the printed tables to their precision."""
    c = chart_constants(n)
    assert (c.d2, c.d3, c.c4) == pytest.approx((d2, d3, c4), abs=6e-5)
    found = (c.A2, c.A3, c.B3, c.B4, c.D4)
    assert found == pytest.approx((a2, a3, b3, b4, d4), abs=6e-4)
    lower = chart_constants(10).D3
    assert lower == pytest.approx(0.223, abs=5e-4)


def test_individuals_flow_rate(rows):
    """NIST 6.3.2.2 with the printed d2, and with the exact one."""
    x = numbers(rows("nist_individuals_flowrate.csv")["x"])
    table = individuals(x, d2=1.128)
    assert (table.centre, table.high[0], table.low[0]) == pytest.approx((50.81, 55.8041, 45.8159), abs=6e-5)
    assert individuals(x).high[0] == pytest.approx(55.8024, abs=1e-4)
    assert table.is_in_control


def test_ewma(rows):
    """NIST 6.3.2.4: series and settled limits, no alarm."""
    data = rows("nist_ewma.csv")
    chart = ewma(numbers(data["x"]), target=50, sigma=2.0539, weight=0.3, settled=True)
    assert chart.points == pytest.approx(numbers(data["ewma_published"]), abs=0.0051)
    assert (chart.high[0], chart.low[0]) == pytest.approx((52.5884, 47.41157), abs=6e-5)
    assert chart.is_in_control


def test_cusum(rows):
    """NIST 6.3.2.3: both sums, first alarm at point 14, all of 14 to 20 alarm."""
    data = rows("nist_cusum.csv")
    found = cusum(numbers(data["xbar"]), target=325, allowance=0.3175, decision=4.1959)
    assert found.high == pytest.approx(numbers(data["S_hi_published"]), abs=0.0061)
    assert found.low == pytest.approx(numbers(data["S_lo_published"]), abs=0.0061)
    assert found.alarms == tuple(range(13, 20))


def test_c_chart(rows):
    """NIST 6.3.3.1: mean 16, limits 28 and 4; wafer 3 lies on the limit, wafer 24 beyond it."""
    chart = c_chart([int(x) for x in rows("nist_cchart_wafer.csv")["defects"]])
    assert (chart.centre, chart.high[0], chart.low[0]) == pytest.approx((16, 28, 4))
    assert chart.beyond == (23,)


def test_p_chart(rows):
    """Montgomery: 30 samples of 50."""
    chart = p_chart([int(x) for x in rows("pchart_n50.csv")["nonconforming"]], 50)
    assert (chart.centre, chart.high[0], chart.low[0]) == pytest.approx((0.23133, 0.41024, 0.05243), abs=6e-6)


def test_piston_rings(rows):
    """Montgomery: X-bar with R and with S."""
    data = rows("pistonrings_xbar_r.csv")
    groups = np.array([numbers(data[f"x{i}"]) for i in range(1, 6)]).T
    means, ranges = xbar_r(groups)
    assert (means.centre, ranges.centre) == pytest.approx((74.00118, 0.02276), abs=6e-6)
    assert (means.high[0], means.low[0], ranges.high[0]) == pytest.approx((74.0143, 73.98805, 0.04813), abs=6e-6)
    assert means.sigma[0] * np.sqrt(5) == pytest.approx(0.009785, abs=6e-7)
    means, deviations = xbar_s(groups)
    assert deviations.centre == pytest.approx(0.00924, abs=6e-6)
    assert (means.high[0], means.low[0]) == pytest.approx((74.01436, 73.98799), abs=6e-6)


def test_capability():
    """NIST 6.1.6 figures and intervals of Cp and Cpk."""
    c = capability(low=8, high=20, mean=16, sigma=2)
    assert (c.cp, c.cpu, c.cpl, c.cpk, c.k) == pytest.approx((1, 0.6667, 1.3333, 0.6667, 0.3333), abs=5e-5)
    assert cp_interval(2.29, 20) == pytest.approx((1.568, 3.011), abs=6e-4)
    assert cpk_interval(1.33, 20) == pytest.approx((0.883, 1.777), abs=6e-4)
    assert cpk_interval(0.6667, 50) == pytest.approx((0.5056, 0.8278), abs=6e-5)


def test_tolerance_factors():
    """NIST 7.2.6.3: N 43, 90 % of the population, 99 % confidence."""
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8740, abs=6e-5)
    assert two_sided_factor(43, 0.90, 0.99) == pytest.approx(2.217, abs=6e-4)


@pytest.fixture
def study(rows):
    """The 10 parts x 3 appraisers x 3 trials of the manual."""
    data = rows("gauge_rr_10x3x3.csv")
    y = np.empty((10, 3, 3))
    for part, who, trial, value in zip(data["part"], data["appraiser"], data["trial"], data["y"], strict=True):
        y[int(part) - 1, "ABC".index(who), int(trial) - 1] = float(value)
    return y


def test_gauge_anova(study):
    """Sums of squares, pooled study, shares and categories."""
    found, table = gauge_anova(study)
    squares = (table.part, table.appraiser, table.interaction, table.error)
    assert squares == pytest.approx((88.3619, 3.1673, 0.3590, 2.7589), abs=6e-5)
    assert (table.f_interaction, table.p_interaction) == pytest.approx((0.434, 0.974), abs=6e-4)
    assert (found.ev, found.av) == pytest.approx((0.199933, 0.226838), abs=6e-7)
    assert found.grr == pytest.approx(0.302373, abs=2e-6)  # printed; the root of the two above gives 0.302372
    assert (found.pv, found.tv) == pytest.approx((1.042327, 1.085), abs=3e-4)
    assert (100 * found.share_of_spread, found.categories) == pytest.approx((27.9, 4.86), abs=0.05)
    assert 100 * found.share_of_spread**2 == pytest.approx(7.8, abs=0.05)
    assert gauge_anova(study, pool_above=1.0)[0].ev == pytest.approx(0.214435, abs=6e-7)


def test_gauge_average_range(study):
    """The printed-factor method on the same data."""
    found = gauge_average_range(study)
    assert (found.ev, found.av, found.grr) == pytest.approx((0.2019, 0.2297, 0.3058), abs=6e-5)
    assert (found.pv, found.tv) == pytest.approx((1.1046, 1.1461), abs=6e-5)
    assert (100 * found.share_of_spread, found.categories) == pytest.approx((26.68, 5.09), abs=6e-3)


def test_end_gauge_uncertainty():
    """JCGM 100 H.1: 32 nm with 16.7 degrees of freedom."""
    size, freedom = combined_uncertainty([(25, 18), (5.8, 24), (3.9, 5), (6.7, 8), (2.9, 50), (16.6, 2)])
    assert round(size) == 32
    assert freedom == pytest.approx(16.7, abs=0.1)
