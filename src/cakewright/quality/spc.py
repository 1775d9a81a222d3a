"""Control charts and the rules by which a chart speaks.

Each chart returns the points it draws with centre and limits; `signals` lists what is unusual. Sources:
NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3; Montgomery, Introduction to Statistical
Quality Control.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.errors import InputError
from cakewright.quality.constants import chart_constants
from cakewright.sources.quality import EWMA_LAMBDA, RUN_LENGTH

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Signal:
    """Something unusual at point `index` (from 0): `rule` in words."""

    index: int
    rule: str


@dataclass(frozen=True, eq=False)
class Chart:
    """Points (n,), centre line and limits (n,). `sigma` (n,) is the spread of a point, for the zone rules."""

    name: str
    points: FloatArray
    centre: float
    low: FloatArray
    high: FloatArray
    sigma: FloatArray

    @property
    def beyond(self) -> tuple[int, ...]:
        """Points outside the limits; a point on a limit is inside."""
        return tuple(int(i) for i in np.flatnonzero((self.points > self.high) | (self.points < self.low)))

    @property
    def is_in_control(self) -> bool:
        """True when every point lies within the limits."""
        return not self.beyond


def individuals(values: Sequence[float] | FloatArray, *, d2: float | None = None) -> Chart:
    """Single values; sigma from the mean moving range of two. `d2` 1.128 reproduces tables, None is exact."""
    x = _values(values, 2)
    moving = float(np.abs(np.diff(x)).mean())
    sigma = moving / (chart_constants(2).d2 if d2 is None else d2)
    return _flat("individuals", x, float(x.mean()), sigma)


def xbar_r(groups: Sequence[Sequence[float]] | FloatArray) -> tuple[Chart, Chart]:
    """Means and ranges of subgroups (k, n)."""
    g = _groups(groups)
    c = chart_constants(g.shape[1])
    ranges = np.ptp(g, axis=1)
    mean_range = float(ranges.mean())
    sigma = mean_range / c.d2
    means = _flat("X-bar", g.mean(axis=1), float(g.mean()), sigma / math.sqrt(c.n))
    spread = _limits("range", ranges, mean_range, c.D3 * mean_range, c.D4 * mean_range, c.d3 * sigma)
    return means, spread


def xbar_s(groups: Sequence[Sequence[float]] | FloatArray) -> tuple[Chart, Chart]:
    """Means and standard deviations of subgroups (k, n)."""
    g = _groups(groups)
    c = chart_constants(g.shape[1])
    deviations = g.std(axis=1, ddof=1)
    mean_s = float(deviations.mean())
    sigma = mean_s / c.c4
    means = _flat("X-bar", g.mean(axis=1), float(g.mean()), sigma / math.sqrt(c.n))
    wide = sigma * math.sqrt(1.0 - c.c4**2)
    return means, _limits("standard deviation", deviations, mean_s, c.B3 * mean_s, c.B4 * mean_s, wide)


def ewma(
    values: Sequence[float] | FloatArray,
    *,
    target: float,
    sigma: float,
    weight: float = EWMA_LAMBDA.value,
    width: float = 3.0,
    settled: bool = False,
) -> Chart:
    """Exponentially weighted mean: z_i = w x_i + (1 - w) z_(i-1), z_0 = target.

    Limits width x sigma x sqrt(w/(2 - w) (1 - (1 - w)^(2 i))); `settled` uses the long-run width.
    """
    x = _values(values, 1)
    if not 0.0 < weight <= 1.0 or not sigma > 0:
        raise InputError(f"weight {weight:g}, sigma {sigma:g}", remedy="give a weight in (0, 1] and a sigma above zero")
    z, points = target, np.empty(len(x))
    for i, value in enumerate(x):
        z = weight * value + (1.0 - weight) * z
        points[i] = z
    steps = np.arange(1, len(x) + 1)
    growth = np.ones(len(x)) if settled else 1.0 - (1.0 - weight) ** (2 * steps)
    spread = sigma * np.sqrt(weight / (2.0 - weight) * growth)
    return Chart("EWMA", points, target, target - width * spread, target + width * spread, spread)


@dataclass(frozen=True, eq=False)
class Cusum:
    """Upper and lower sums (n,) against the decision height; `alarms` are points beyond it."""

    high: FloatArray
    low: FloatArray
    decision: float

    @property
    def alarms(self) -> tuple[int, ...]:
        """Points (from 0) at which a sum is above the decision height."""
        return tuple(int(i) for i in np.flatnonzero((self.high > self.decision) | (self.low > self.decision)))


def cusum(values: Sequence[float] | FloatArray, *, target: float, allowance: float, decision: float) -> Cusum:
    """Tabular sums: S_hi = max(0, S_hi + x - target - k), S_lo = max(0, S_lo + target - k - x)."""
    x = _values(values, 1)
    if not allowance >= 0 or not decision > 0:
        raise InputError(f"allowance {allowance:g}, decision {decision:g}", remedy="give 0 or more, and above 0")
    up = down = 0.0
    high, low = np.empty(len(x)), np.empty(len(x))
    for i, value in enumerate(x):
        up = max(0.0, up + value - target - allowance)
        down = max(0.0, down + target - allowance - value)
        high[i], low[i] = up, down
    return Cusum(high, low, decision)


def p_chart(bad: Sequence[int], size: Sequence[int] | int) -> Chart:
    """Share of bad pieces in samples; limits follow each sample's size."""
    d = _values(bad, 1)
    n = np.broadcast_to(np.asarray(size, dtype=np.float64), d.shape)
    if (n < 1).any() or (d < 0).any() or (d > n).any():
        raise InputError("more bad pieces than pieces, or a sample without pieces", remedy="check counts and sizes")
    mean = float(d.sum() / n.sum())
    sigma = np.sqrt(mean * (1.0 - mean) / n)
    return Chart("p", d / n, mean, np.maximum(0.0, mean - 3 * sigma), np.minimum(1.0, mean + 3 * sigma), sigma)


def c_chart(counts: Sequence[int]) -> Chart:
    """Flaws per unit of equal size; limits from the Poisson spread."""
    c = _values(counts, 1)
    mean = float(c.mean())
    sigma = math.sqrt(mean)
    return _limits("c", c, mean, max(0.0, mean - 3 * sigma), mean + 3 * sigma, sigma)


def signals(chart: Chart, *, run: int = int(RUN_LENGTH.value)) -> tuple[Signal, ...]:
    """What is unusual: beyond a limit, a run on one side, 2 of 3 beyond two sigma, 4 of 5 beyond one, six in line.

    Zone rules assume independent points: on EWMA points use `beyond` only.
    """
    z = (chart.points - chart.centre) / np.where(chart.sigma > 0, chart.sigma, np.inf)
    found = [Signal(i, "beyond the limit") for i in chart.beyond]
    for side in (1.0, -1.0):
        found += _of_last(z * side > 0, run, run, f"{run} in a row on one side")
        found += _of_last(z * side > 2, 3, 2, "two of three beyond two sigma")
        found += _of_last(z * side > 1, 5, 4, "four of five beyond one sigma")
        rising = np.concatenate([[False], np.diff(z * side) > 0])
        found += _of_last(rising, 5, 5, "six in line")
    return tuple(sorted(found, key=lambda s: (s.index, s.rule)))


def _of_last(hit: NDArray[np.bool_], window: int, needed: int, rule: str) -> list[Signal]:
    """Points that hit and, with the window before them, make `needed` hits."""
    counts = np.convolve(hit, np.ones(window, dtype=int))[: len(hit)]
    return [Signal(int(i), rule) for i in np.flatnonzero(hit & (counts >= needed))]


def _values(values: Sequence[float] | Sequence[int] | FloatArray, least: int) -> FloatArray:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or len(x) < least or not np.isfinite(x).all():
        raise InputError(f"{x.size} values for a chart", remedy=f"give at least {least} finite numbers in a row")
    return x


def _groups(groups: Sequence[Sequence[float]] | FloatArray) -> FloatArray:
    try:
        g = np.asarray(groups, dtype=np.float64)
    except ValueError as uneven:
        raise InputError("subgroups of different size", remedy="give the same number of values in each") from uneven
    if g.ndim != 2 or g.shape[0] < 1 or g.shape[1] < 2 or not np.isfinite(g).all():
        raise InputError(f"subgroups of shape {g.shape}", remedy="give k subgroups of at least two finite values")
    return g


def _flat(name: str, points: FloatArray, centre: float, sigma: float) -> Chart:
    return _limits(name, points, centre, centre - 3.0 * sigma, centre + 3.0 * sigma, sigma)


def _limits(name: str, points: FloatArray, centre: float, low: float, high: float, sigma: float) -> Chart:
    n = len(points)
    return Chart(name, points, centre, np.full(n, low), np.full(n, high), np.full(n, sigma))
