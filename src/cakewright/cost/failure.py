"""What failing builds cost on average, and how well a short history knows the failure rate."""

from __future__ import annotations

import math

from scipy.stats import beta

from cakewright.errors import InputError


def failure_probability(failed: int, builds: int) -> float:
    """Expected failure share of a cell from its record: (failed + 1/2) / (builds + 1).

    Mean of the posterior with Jeffreys' prior: a cell that never failed yet is not a cell that cannot.
    """
    _check_record(failed, builds)
    return (failed + 0.5) / (builds + 1.0)


def failure_interval(failed: int, builds: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact (Clopper-Pearson) interval for the failure share: wide for a short record."""
    _check_record(failed, builds)
    tail = (1.0 - confidence) / 2.0
    low = 0.0 if failed == 0 else float(beta.ppf(tail, failed, builds - failed + 1))
    high = 1.0 if failed == builds else float(beta.ppf(1.0 - tail, failed + 1, builds - failed))
    return low, high


def lost_hours_factor(probability: float) -> float:
    """Machine hours lost to failures, as a share of the hours of one good build.

    A failure strikes at constant rate while printing and the build starts over until it is good:
    E[hours] = (e^(lT) - 1)/l with p = 1 - e^(-lT), so the share is (e^(lT) - 1)/(lT) - 1.
    """
    _check_probability(probability)
    rate = -math.log1p(-probability)
    return math.expm1(rate) / rate - 1.0 if rate > 0 else 0.0


def lost_value_factor(probability: float) -> float:
    """Expected number of failed attempts before a good build, p/(1 - p): what each attempt uses up whole."""
    _check_probability(probability)
    return probability / (1.0 - probability)


def _check_probability(p: float) -> None:
    if not 0.0 <= p < 1.0:
        raise InputError(f"failure probability {p:g}", remedy="give a share from 0 to below 1 (0.05 means 5 %)")


def _check_record(failed: int, builds: int) -> None:
    if builds < 0 or not 0 <= failed <= builds:
        raise InputError(f"{failed} failed of {builds} builds", remedy="give failed builds among builds run")
