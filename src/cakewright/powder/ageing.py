"""How old a mix is: exposures seen by a random grain, a property that grows, states of degradation.

No single cycle number stands for a mix. The distribution is kept, because the mean of a property over
the grains is not the property at the mean age.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.errors import InputError
from cakewright.powder.checks import need_fraction, need_positive, need_zero_or_more
from cakewright.sources.powder import MARKOV_QUALITY, MARKOV_STEP

FloatArray = NDArray[np.float64]


def age_shares(refresh_ratio: float, builds: int, keep: int) -> FloatArray:
    """Share of the mix by exposures seen, after `builds` builds, starting from virgin powder only.

    Returns `(keep + 1,)`: the share at 0, 1 ... keep - 1 exposures, and last the share at `keep` or more.
    P(k) = r (1 - r)^k for k < n and (1 - r)^n at k = n: ideal mixing, all powder goes through each build.
    """
    r = need_fraction("the refresh ratio", refresh_ratio)
    if builds < 0 or keep < 1:
        raise InputError(f"{builds} builds, {keep} ages kept", remedy="give builds >= 0 and at least one age")
    shares = np.zeros(keep + 1)
    for k in range(min(builds, keep)):
        shares[k] = r * (1.0 - r) ** k
    shares[min(builds, keep)] = (1.0 - r) ** min(builds, keep)
    return shares


def mean_age(refresh_ratio: float, builds: int | None = None) -> float:
    """Mean exposures at loading after `builds` builds, or in the long run when None.

    m_n = (q/r) (1 - q^n) with q = 1 - r; long run q/r. Without any refresh the mean is the number of
    builds, and the long run has none.
    """
    r = need_fraction("the refresh ratio", refresh_ratio)
    if r == 0.0:
        if builds is None:
            raise InputError("no refresh: the age grows without end", remedy="give a refresh ratio above 0")
        return float(builds)
    q = 1.0 - r
    return q / r if builds is None else q / r * (1.0 - q**builds)


def age_variance(refresh_ratio: float, builds: int) -> float:
    """Variance of exposures at loading after `builds` builds, from the distribution itself."""
    shares = age_shares(refresh_ratio, builds, max(builds, 1))
    ages = np.arange(len(shares))
    mean = float(shares @ ages)
    return float(shares @ (ages - mean) ** 2)


def share_at_least(refresh_ratio: float, exposures: int) -> float:
    """Long-run share of the mix that has seen at least so many exposures: (1 - r)^k."""
    return float((1.0 - need_fraction("the refresh ratio", refresh_ratio)) ** exposures)


def age_quantile(refresh_ratio: float, share: float) -> int:
    """Long-run age that `share` of the mix does not exceed: ceil(ln(1 - share)/ln(1 - r)) - 1."""
    r, p = need_fraction("the refresh ratio", refresh_ratio), need_fraction("the share", share)
    if not 0.0 < r < 1.0 or p >= 1.0:
        raise InputError(f"refresh ratio {r:g}, share {p:g}", remedy="give a ratio inside 0..1 and a share below 1")
    return max(0, math.ceil(math.log1p(-p) / math.log1p(-r)) - 1)


def refresh_for_mean_age(exposures: float) -> float:
    """The refresh ratio that holds the long-run mean age: r = 1/(1 + a)."""
    return 1.0 / (1.0 + need_zero_or_more("the mean age", exposures, "exposures"))


def steady_growth(refresh_ratio: float, growth_per_build: float) -> float | None:
    """Long-run mean at loading of a property that grows by a factor per build and mixes by mass.

    a / (1 - (1 - a) g), relative to virgin powder; None when the refresh cannot hold it
    (a <= 1 - 1/g): the property then grows without end.
    """
    a = need_fraction("the refresh ratio", refresh_ratio)
    kept = (1.0 - a) * need_positive("the growth per build", growth_per_build, "x")
    return a / (1.0 - kept) if kept < 1.0 else None


def least_refresh_for_growth(growth_per_build: float) -> float:
    """The refresh ratio that must be exceeded so that a growing property stays finite: 1 - 1/g."""
    return max(0.0, 1.0 - 1.0 / need_positive("the growth per build", growth_per_build, "x"))


def dose_after(doses: Sequence[float], refresh_ratio: float, start: float = 0.0) -> tuple[float, ...]:
    """Mean thermal dose of the mix at loading after each build: d_n = (1 - r) (d_(n-1) + D_n).

    `doses` is the dose of each build in one unit (hours at bed temperature, say), `start` that of the
    first mix. Constant D tends to D (1 - r)/r.
    """
    q = 1.0 - need_fraction("the refresh ratio", refresh_ratio)
    found, dose = [], need_zero_or_more("the dose at the start", start, "h")
    for added in doses:
        dose = q * (dose + need_zero_or_more("the dose of a build", added, "h"))
        found.append(dose)
    return tuple(found)


def mean_exponential(refresh_ratio: float, rate_per_build: float) -> float:
    """Long-run mean over the mix of exp(-g A): r / (1 - (1 - r) e^-g). Not the law at the mean age."""
    r = need_fraction("the refresh ratio", refresh_ratio)
    kept = (1.0 - r) * math.exp(-rate_per_build)
    if kept >= 1.0:
        raise InputError(
            f"ratio {r:g} with rate {rate_per_build:g}: the mean does not settle", remedy="raise the ratio"
        )
    return r / (1.0 - kept)


@dataclass(frozen=True, eq=False)
class AgeStates:
    """A chain of degradation states, first virgin, last degraded: one build is one step.

    `step` is (n, n) with rows that add to one, `quality` (n,) the weight of each state in the index Q.
    """

    step: FloatArray
    quality: FloatArray

    def __post_init__(self) -> None:
        """Rows must be probabilities."""
        n = len(self.quality)
        if self.step.shape != (n, n) or (self.step < 0).any() or not np.allclose(self.step.sum(axis=1), 1.0):
            raise InputError(
                f"an ageing step of shape {self.step.shape} for {n} states whose rows do not all add to one",
                remedy="give one row of probabilities for each state",
            )

    def virgin(self) -> FloatArray:
        """All powder in the first state."""
        start = np.zeros(len(self.quality))
        start[0] = 1.0
        return start

    def after_build(self, stock: FloatArray, refresh_ratio: float) -> FloatArray:
        """States after one more build: the stock is refreshed, then everything takes one step."""
        a = need_fraction("the refresh ratio", refresh_ratio)
        return np.asarray((a * self.virgin() + (1.0 - a) * stock) @ self.step, dtype=np.float64)

    def long_run(self, refresh_ratio: float) -> FloatArray:
        """States after a build when the ratio has been the same for long: a d0 P [I - (1 - a) P]^-1."""
        a = need_fraction("the refresh ratio", refresh_ratio)
        if a == 0.0:
            raise InputError("no refresh: all powder ends degraded", remedy="give a refresh ratio above 0")
        inner = np.eye(len(self.quality)) - (1.0 - a) * self.step
        return np.asarray(np.linalg.solve(inner.T, a * self.virgin() @ self.step), dtype=np.float64)

    def index(self, states: FloatArray) -> float:
        """Quality index Q of a mix: shares times weights, 1 for virgin, 0 for degraded."""
        return float(states @ self.quality)


def published_states() -> AgeStates:
    """The five-state chain of De Sousa Alves et al. (2025, in review) for PA12: an example, not this cell."""
    return AgeStates(
        np.array([[p.value for p in row] for row in MARKOV_STEP]), np.array([w.value for w in MARKOV_QUALITY])
    )
