"""Can the process hold the tolerance: capability with intervals, tolerance factors.

Sources: NIST/SEMATECH e-Handbook 6.1.6 and 7.2.6.3; Montgomery for the interval of Cp.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.stats import chi2, nct, norm

from cakewright.errors import InputError


@dataclass(frozen=True, slots=True)
class Capability:
    """Cp, one-sided Cpu and Cpl, Cpk, and off-centre k, for a mean and a sigma."""

    cp: float
    cpu: float
    cpl: float
    k: float

    @property
    def cpk(self) -> float:
        """The worse side."""
        return min(self.cpu, self.cpl)


def capability(*, low: float, high: float, mean: float, sigma: float) -> Capability:
    """Capability against limits; sigma from within subgroups gives potential, overall sigma performance."""
    if not low < high or not sigma > 0:
        raise InputError(f"limits {low:g}..{high:g}, sigma {sigma:g}", remedy="give low < high and a sigma above zero")
    half = (high - low) / 2.0
    return Capability(
        cp=half / (3.0 * sigma),
        cpu=(high - mean) / (3.0 * sigma),
        cpl=(mean - low) / (3.0 * sigma),
        k=abs((low + high) / 2.0 - mean) / half,
    )


def cp_interval(cp: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of Cp from n values, by the chi-squared law of the variance."""
    tail = _tail(n, confidence)
    return cp * math.sqrt(chi2.ppf(tail, n - 1) / (n - 1)), cp * math.sqrt(chi2.ppf(1.0 - tail, n - 1) / (n - 1))


def cpk_interval(cpk: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Approximate interval of Cpk: Cpk ± z sqrt(1/(9 n) + Cpk²/(2 (n - 1)))."""
    z = float(norm.ppf(1.0 - _tail(n, confidence)))
    half = z * math.sqrt(1.0 / (9.0 * n) + cpk**2 / (2.0 * (n - 1)))
    return cpk - half, cpk + half


def one_sided_factor(n: int, share: float, confidence: float) -> float:
    """k such that mean + k s lies above `share` of the population with `confidence`: exact, noncentral t."""
    _tail(n, confidence)
    return float(nct.ppf(confidence, n - 1, norm.ppf(share) * math.sqrt(n)) / math.sqrt(n))


def two_sided_factor(n: int, share: float, confidence: float) -> float:
    """k such that mean ± k s holds `share` of the population with `confidence`: Howe's approximation."""
    _tail(n, confidence)
    z = float(norm.ppf((1.0 + share) / 2.0))
    return z * math.sqrt((n - 1) * (1.0 + 1.0 / n) / chi2.ppf(1.0 - confidence, n - 1))


def _tail(n: int, confidence: float) -> float:
    if n < 2 or not 0.0 < confidence < 1.0:
        raise InputError(
            f"{n} values at confidence {confidence:g}", remedy="give two values or more, and a share in 0..1"
        )
    return (1.0 - confidence) / 2.0
