"""Learn a machine's times from its own job logs: robust least squares with intervals, refitted after each build."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from cakewright.errors import InputError
from cakewright.model.build import LayerProfile
from cakewright.model.cell import Machine
from cakewright.model.mesh import FloatArray
from cakewright.physics.buildtime import print_time
from cakewright.sources import physics as numbers

TERMS = ("fixed", "recoat", "hatch", "outline")
_BLOCKS = 24  # a layer log becomes this many sums: single layers are too noisy and too many
_ROUNDS = 30


@dataclass(frozen=True, eq=False)
class JobTimes:
    """What a log says about one build: total seconds from door closed to last layer, or seconds of each part layer.

    `layer_s` may hold NaN for layers that the log lost. Either may be missing, not both.
    """

    build: str
    total_s: float | None = None
    layer_s: FloatArray | None = None
    start: datetime | None = None
    end: datetime | None = None

    def __post_init__(self) -> None:
        """Refuse a record that says nothing or something impossible."""
        if self.total_s is None and self.layer_s is None:
            raise InputError("neither a total nor layer times", remedy="give one of them", where=self.build)
        if self.total_s is not None and not self.total_s > 0:
            raise InputError(f"a total of {self.total_s} s", remedy="the end must be after the start", where=self.build)
        if self.layer_s is not None and (np.nanmin(self.layer_s, initial=np.inf) <= 0):
            raise InputError("a layer of no or negative time", remedy="mend the log", where=self.build)


@dataclass(frozen=True, eq=False)
class LoggedBuild:
    """A log with the build it belongs to; `extra_layers_mm` is base plus cover powder."""

    times: JobTimes
    profile: LayerProfile
    extra_layers_mm: float


@dataclass(frozen=True, slots=True)
class Factor:
    """How many times the cell file's figure a machine really takes, with its 90 % interval."""

    term: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TimeFit:
    """Result of a fit: one factor per term, the spread of actual over predicted, and builds that stand out.

    `residuals`: (build, relative gap of actual over fitted) for each total or mean of blocks; `unusual`
    are those beyond three spreads: something happened in them, and they hardly moved the fit.
    """

    machine: str
    factors: tuple[Factor, ...]
    relative_sigma: float
    residuals: tuple[tuple[str, float], ...]
    unusual: tuple[str, ...]

    def factor(self, term: str) -> Factor:
        """The factor of a term: fixed, recoat, hatch or outline."""
        return next(f for f in self.factors if f.term == term)


def fit_times(builds: Sequence[LoggedBuild], machine: Machine) -> TimeFit:
    """Fit the four factors to logs of one machine.

    Residuals are logarithms of actual over predicted (totals, or sums over blocks of layers); each factor is
    held near 1 by `physics.time_prior_*`, so one log moves little and twenty move much; residuals follow a
    t law, so a build with a long stop hardly bends the rest (source: `physics.time_degrees_of_freedom`).
    Without logs the factors are 1 with wide intervals. Minimum layer time is taken from the cell file.
    """
    observed = [_observations(b) for b in builds]
    actual = np.log(np.concatenate([o for o, _ in observed])) if observed else np.zeros(0)
    owner = np.concatenate([np.full(len(o), i) for i, (o, _) in enumerate(observed)]) if observed else np.zeros(0)
    prior = np.array([numbers.TIME_PRIOR_FIXED.value] + [numbers.TIME_PRIOR_LAYER.value] * 3)

    def gaps(theta: FloatArray) -> FloatArray:
        tuned = tuned_machine(machine, np.exp(theta))
        parts = [_predicted(b, tuned, groups) for b, (_, groups) in zip(builds, observed, strict=True)]
        return actual - np.log(np.concatenate(parts)) if parts else actual

    theta, sigma = np.zeros(4), numbers.TIME_SPREAD.value
    slopes = np.zeros((0, 4))
    for _ in range(_ROUNDS):
        scale = np.sqrt(_weights(gaps(theta) / sigma)) / sigma

        def scaled(x: FloatArray, scale: FloatArray = scale) -> FloatArray:
            return np.concatenate([scale * gaps(x), x / prior])

        solved = least_squares(scaled, theta, method="lm")
        slopes = np.asarray(solved.jac)[: len(actual)] / scale[:, None]
        moved = float(np.abs(solved.x - theta).max())
        theta, before = solved.x, sigma
        sigma = _spread(gaps(theta), sigma)
        if moved < 1e-6 and abs(sigma / before - 1) < 1e-4:
            break
    spread = _uncertainty(slopes / sigma, prior)
    return _result(
        machine.name,
        theta,
        spread,
        _promise_sigma(sigma, len(actual)),
        gaps(theta),
        owner,
        [b.times.build for b in builds],
    )


def tuned_machine(machine: Machine, factors: Sequence[float] | FloatArray) -> Machine:
    """The machine with these factors (fixed, recoat, hatch, outline) in place of those it had."""
    fixed, recoat, hatch, outline = (float(f) for f in factors)
    return replace(machine, time_factors=(fixed, recoat, hatch, outline))


def fitted_machine(machine: Machine, fit: TimeFit) -> Machine:
    """The machine as its logs show it; `print_time` then uses factors and spread."""
    tuned = tuned_machine(machine, [fit.factor(term).value for term in TERMS])
    return replace(tuned, time_spread=fit.relative_sigma)


def _observations(build: LoggedBuild) -> tuple[FloatArray, list[NDArray[np.intp]]]:
    """Observed seconds and, for layer logs, the layers that each sums up (none: the total)."""
    layers = build.times.layer_s
    if layers is None:
        return np.array([build.times.total_s]), []
    if len(layers) != build.profile.layers:
        raise InputError(
            f"the log has {len(layers)} layers, the build {build.profile.layers}",
            remedy="give part layers only, base and cover left out",
            where=build.times.build,
        )
    known = np.flatnonzero(np.isfinite(layers))
    groups = [g for g in np.array_split(known, _BLOCKS) if len(g)]
    return np.array([float(layers[g].sum()) for g in groups]), list(groups)


def _predicted(build: LoggedBuild, machine: Machine, groups: list[NDArray[np.intp]]) -> FloatArray:
    time = print_time(build.profile, machine, extra_layers_mm=build.extra_layers_mm)
    return np.array([time.layer_s[g].sum() for g in groups]) if groups else np.array([time.total_s])


def _uncertainty(slopes: FloatArray, prior: FloatArray) -> FloatArray:
    """Standard deviations of the logarithms of the factors, (4,), from slopes (n, 4) in spreads.

    A reading with a t law of nu degrees of freedom tells (nu + 1) / (nu + 3) of what a normal one tells (Fisher
    information of its location: Lange, Little, Taylor 1989); the weights of the fit would say all of it. The spread
    was found from what the factors left over, so each factor that the readings settle takes one reading away.
    """
    nu, own = numbers.T_FREEDOM.value, np.diag(1 / prior**2)
    told = (nu + 1) / (nu + 3) * slopes.T @ slopes
    settled = float(np.trace(told @ np.linalg.inv(told + own)))
    told *= 1 - settled / (numbers.TIME_PRIOR_WEIGHT.value + max(len(slopes), settled))
    return np.asarray(np.sqrt(np.diag(np.linalg.inv(told + own))))


def _weights(r: FloatArray) -> FloatArray:
    nu = numbers.T_FREEDOM.value
    return np.asarray((nu + 1) / (nu + r**2))


def _spread(gaps: FloatArray, sigma: float) -> float:
    """Spread from weighted gaps, with the default spread counting as `physics.time_prior_weight` builds."""
    w = _weights(gaps / sigma)
    held, default = numbers.TIME_PRIOR_WEIGHT.value, numbers.TIME_SPREAD.value
    return float(np.sqrt((held * default**2 + (w * gaps**2).sum()) / (held + len(gaps))))


def _promise_sigma(scale: float, n: int) -> float:
    """Standard deviation of the t law found, with the default spread counting as some builds: for promises."""
    nu, held, default = numbers.T_FREEDOM.value, numbers.TIME_PRIOR_WEIGHT.value, numbers.TIME_SPREAD.value
    return float(np.sqrt((held * default**2 + n * scale**2 * nu / (nu - 2)) / (held + n)))


def _result(
    machine: str,
    theta: FloatArray,
    spread: FloatArray,
    sigma: float,
    gaps: FloatArray,
    owner: FloatArray,
    names: list[str],
) -> TimeFit:
    wide = numbers.NINETY.value
    factors = tuple(
        Factor(term, float(np.exp(t)), float(np.exp(t - wide * s)), float(np.exp(t + wide * s)))
        for term, t, s in zip(TERMS, theta, spread, strict=True)
    )
    residuals = tuple((name, float(np.expm1(np.median(gaps[owner == i])))) for i, name in enumerate(names))
    unusual = tuple(name for name, gap in residuals if abs(gap) > 3 * sigma)
    return TimeFit(machine, factors, sigma, residuals, unusual)
