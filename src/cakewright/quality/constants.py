"""Chart constants for normal data, computed rather than tabulated (tables are rounded)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.stats import norm

from cakewright.errors import InputError

_NODES = 128  # Gauss-Legendre points in each direction: the same as 240 to 2e-12, in a tenth of the time
_FAR = 8.5  # standard deviations: beyond this the normal tail is below 1e-16
_WIDEST = 13.0  # range of a subgroup in standard deviations


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """For subgroups of n: mean d2 and spread d3 of the range, mean c4 of the standard deviation, in sigmas."""

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def A2(self) -> float:  # noqa: N802 - the name in every table
        """Half width of X-bar limits from the mean range."""
        return 3.0 / (self.d2 * math.sqrt(self.n))

    @property
    def A3(self) -> float:  # noqa: N802
        """Half width of X-bar limits from the mean standard deviation."""
        return 3.0 / (self.c4 * math.sqrt(self.n))

    @property
    def D3(self) -> float:  # noqa: N802
        """Lower limit of the range over its mean."""
        return max(0.0, 1.0 - 3.0 * self.d3 / self.d2)

    @property
    def D4(self) -> float:  # noqa: N802
        """Upper limit of the range over its mean."""
        return 1.0 + 3.0 * self.d3 / self.d2

    @property
    def B3(self) -> float:  # noqa: N802
        """Lower limit of the standard deviation over its mean."""
        return max(0.0, 1.0 - 3.0 * math.sqrt(1.0 - self.c4**2) / self.c4)

    @property
    def B4(self) -> float:  # noqa: N802
        """Upper limit of the standard deviation over its mean."""
        return 1.0 + 3.0 * math.sqrt(1.0 - self.c4**2) / self.c4


@lru_cache(maxsize=64)
def chart_constants(n: int) -> ChartConstants:
    """Constants for subgroups of n (2..50), by integration of the density of the range."""
    if not 2 <= n <= 50:
        raise InputError(f"subgroups of {n}", remedy="use 2 to 50 values in a subgroup")
    t, weight = np.polynomial.legendre.leggauss(_NODES)
    x, wx = _FAR * t, _FAR * weight
    w, ww = _WIDEST / 2 * (t + 1), _WIDEST / 2 * weight
    high = x[:, None] + w[None, :]
    inner = norm.pdf(x)[:, None] * norm.pdf(high) * (norm.cdf(high) - norm.cdf(x)[:, None]) ** (n - 2)
    density = n * (n - 1) * (wx @ inner)  # of the range, at w
    d2 = float((density * w) @ ww)
    d3 = math.sqrt(float((density * w**2) @ ww) - d2**2)
    c4 = math.sqrt(2.0 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    return ChartConstants(n, d2, d3, c4)
