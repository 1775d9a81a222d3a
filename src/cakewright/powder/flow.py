"""What is known about the melt flow of a can: a prediction that measurements correct, with an interval.

The state is ln(melt flow), normal with mean and variance. Builds lower it and make it less certain,
mixing averages it, a measurement pulls it (Kalman's update for one number).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from cakewright.errors import InputError
from cakewright.powder.checks import need_fraction, need_positive, need_zero_or_more
from cakewright.sources.powder import FLOW_LOSS_SPREAD


@dataclass(frozen=True, slots=True)
class FlowState:
    """Belief about the melt flow of one can: `log_mean` and `log_variance` of ln(g/10 min)."""

    log_mean: float
    log_variance: float

    @property
    def flow(self) -> float:
        """The middle of the belief, g/10 min (median)."""
        return math.exp(self.log_mean)

    def interval(self, confidence: float = 0.9) -> tuple[float, float]:
        """Melt flow that holds with `confidence`, g/10 min."""
        z = NormalDist().inv_cdf(0.5 + 0.5 * need_fraction("the confidence", confidence))
        half = z * math.sqrt(self.log_variance)
        return math.exp(self.log_mean - half), math.exp(self.log_mean + half)

    def chance_at_least(self, flow: float) -> float:
        """Probability that the melt flow is at least `flow`."""
        above = self.log_mean - math.log(need_positive("the melt flow", flow, "g/10 min"))
        if self.log_variance == 0.0:
            return float(above >= 0.0)
        return NormalDist().cdf(above / math.sqrt(self.log_variance))


def believe(flow: float, relative_sigma: float) -> FlowState:
    """A first belief, from a certificate say: `relative_sigma` 0.1 means 10 %."""
    need_positive("the melt flow", flow, "g/10 min")
    return FlowState(math.log(flow), need_zero_or_more("the relative sigma", relative_sigma, "1") ** 2)


def after_builds(
    state: FlowState, builds: float, log_loss_per_build: float, spread: float = FLOW_LOSS_SPREAD.value
) -> FlowState:
    """After `builds` builds' worth of heat (a build of half the dose counts half): lower and less certain."""
    n = need_zero_or_more("the number of builds", builds, "builds")
    loss = need_zero_or_more("the loss of ln(flow) per build", log_loss_per_build, "1")
    return FlowState(state.log_mean - n * loss, state.log_variance + n * spread**2)


def mixed(parts: Sequence[tuple[FlowState, float]]) -> FlowState:
    """Belief about a mix of independent cans by mass: ln F = sum w ln F_i, variance sum w² v_i."""
    total = need_positive("the mass of the mix", math.fsum(kg for _, kg in parts), "kg")
    shares = [(s, need_zero_or_more("a mass", kg, "kg") / total) for s, kg in parts]
    return FlowState(math.fsum(w * s.log_mean for s, w in shares), math.fsum(w * w * s.log_variance for s, w in shares))


def measured(state: FlowState, flow: float, relative_sigma: float) -> FlowState:
    """Belief after a measurement with its repeatability (0.05 means 5 %)."""
    need_positive("the measured melt flow", flow, "g/10 min")
    noise = need_positive("the repeatability of the measurement", relative_sigma, "1") ** 2
    gain = state.log_variance / (state.log_variance + noise)
    return FlowState(state.log_mean + gain * (math.log(flow) - state.log_mean), (1.0 - gain) * state.log_variance)


def surprise(state: FlowState, flow: float, relative_sigma: float) -> float:
    """How many sigmas a measurement lies from what was expected; beyond 3 look at label and sample first."""
    noise = need_positive("the repeatability of the measurement", relative_sigma, "1") ** 2
    gap = math.log(need_positive("the measured melt flow", flow, "g/10 min")) - state.log_mean
    return gap / math.sqrt(state.log_variance + noise)


def fit_loss_per_build(flows: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """(loss of ln F per build, its standard error) from (builds seen, melt flow), least squares."""
    if len(flows) < 3:
        raise InputError(f"{len(flows)} measurements of melt flow", remedy="measure at three ages or more")
    x = [b for b, _ in flows]
    y = [math.log(need_positive("a melt flow", f, "g/10 min")) for _, f in flows]
    mx, my = math.fsum(x) / len(x), math.fsum(y) / len(y)
    sxx = math.fsum((a - mx) ** 2 for a in x)
    if sxx == 0.0:
        raise InputError("all measurements are of the same age", remedy="measure at different ages")
    slope = math.fsum((a - mx) * (b - my) for a, b in zip(x, y, strict=True)) / sxx
    left = math.fsum((b - my - slope * (a - mx)) ** 2 for a, b in zip(x, y, strict=True))
    return -slope, math.sqrt(left / (len(x) - 2) / sxx)
