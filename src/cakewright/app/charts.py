"""Charts of one characteristic in the ways that find different things: jumps, slow drift, builds unlike others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.app.inspect_line import LEAST_FOR_CHART, Reading
from cakewright.errors import InputError
from cakewright.quality.spc import Chart, Signal, cusum, ewma, individuals, signals, xbar_r
from cakewright.sources.floor import CUSUM_ALLOWANCE, CUSUM_DECISION

KINDS = {
    "individuals": "single values: jumps and runs",
    "x-bar": "means of builds: one build is unlike the others",
    "ewma": "weighted mean: slow drift",
    "cusum": "summed differences: a small lasting shift",
}
LEAST_GROUPS = 3


@dataclass(frozen=True, eq=False)
class Drawn:
    """A chart with what is unusual on it; `labels` names each point."""

    chart: Chart
    signals: tuple[Signal, ...]
    labels: tuple[str, ...]


def draw_kind(kind: str, readings: Sequence[Reading], builds: Sequence[str]) -> tuple[Drawn, ...]:
    """The charts of a kind over readings in order of time; `builds` names the build of each.

    Weighted means and sums are judged against the middle of the limits when there are two, else against the mean.
    InputError for a strange kind or too few values.
    """
    if kind not in KINDS:
        raise InputError(f"{kind[:20]!r} is no chart", remedy=f"one of: {', '.join(KINDS)}", where="chart")
    values = [r.value for r in readings]
    if len(values) < LEAST_FOR_CHART or len(set(values)) < 2:
        raise InputError(f"{len(values)} values", remedy=f"{LEAST_FOR_CHART} unlike values are needed for a chart")
    names = tuple(r.piece for r in readings)
    if kind == "x-bar":
        return _xbar(values, builds)
    plain = individuals(values)
    if kind == "individuals":
        return (Drawn(plain, signals(plain), names),)
    target, sigma = _target(readings, plain), float(plain.sigma[0])
    if kind == "ewma":
        chart = ewma(values, target=target, sigma=sigma)
        return (Drawn(chart, tuple(Signal(i, "beyond the limit") for i in chart.beyond), names),)
    return _cusum(values, target, sigma, names)


def chart_of(values: Sequence[float]) -> Drawn | None:
    """The chart of single values; None for too few or all alike."""
    if len(values) < LEAST_FOR_CHART or len(set(values)) < 2:
        return None
    plain = individuals(values)
    return Drawn(plain, signals(plain), tuple(str(n + 1) for n in range(len(values))))


def _target(readings: Sequence[Reading], plain: Chart) -> float:
    last = readings[-1]
    return plain.centre if last.low is None or last.high is None else (last.low + last.high) / 2.0


def _xbar(values: Sequence[float], builds: Sequence[str]) -> tuple[Drawn, ...]:
    """Means and ranges of builds with the same number of values; later values of a larger build are left out."""
    groups: dict[str, list[float]] = {}
    for value, build in zip(values, builds, strict=True):
        groups.setdefault(build, []).append(value)
    size = min((len(g) for g in groups.values() if len(g) >= 2), default=0)
    whole = {name: g[:size] for name, g in groups.items() if size and len(g) >= size}
    if len(whole) < LEAST_GROUPS:
        remedy = f"means need {LEAST_GROUPS} builds, each measured on the same number of pieces"
        raise InputError(f"{len(whole)} builds with two values or more", remedy=remedy)
    means, ranges = xbar_r(list(whole.values()))
    names = tuple(whole)
    return Drawn(means, signals(means), names), Drawn(ranges, signals(ranges), names)


def _cusum(values: Sequence[float], target: float, sigma: float, names: tuple[str, ...]) -> tuple[Drawn, ...]:
    limit = CUSUM_DECISION.value * sigma
    sums = cusum(values, target=target, allowance=CUSUM_ALLOWANCE.value * sigma, decision=limit)
    n = len(values)
    drawn = []
    for word, points in (("sum upwards", sums.high), ("sum downwards", sums.low)):
        chart = Chart(f"CUSUM, {word}", points, 0.0, np.zeros(n), np.full(n, limit), np.full(n, sigma))
        found = tuple(Signal(int(i), f"{word} beyond {CUSUM_DECISION.value:g} sigma")
                      for i in np.flatnonzero(points > limit))  # fmt: skip
        drawn.append(Drawn(chart, found, names))
    return tuple(drawn)
