"""One number per chamber type, learnt from a probe in the cake: how much faster it cools than the model says."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from cakewright.errors import InputError
from cakewright.model.mesh import FloatArray
from cakewright.sources import physics as numbers


@dataclass(frozen=True, slots=True)
class Speed:
    """Cooling speed of a chamber type against the model: put `value` into `HeatModel.speed`.

    `low`, `high` hold 90 %; `spread` goes into `cool_build(spread=...)` for the early and late case;
    `gaps_c` are measured minus fitted readings.
    """

    value: float
    low: float
    high: float
    gaps_c: tuple[float, ...]

    @property
    def spread(self) -> tuple[float, float]:
        """Factors on diffusivity and surface for the early and late case."""
        factor = self.high / self.value
        return factor, factor


def fit_speed(
    measured_c: Sequence[float],
    predict: Callable[[float], Sequence[float] | FloatArray],
    *,
    error_c: float = numbers.PROBE_ERROR.value,
) -> Speed:
    """Fit the speed to probe readings.

    `predict(speed)` returns what the model shows at the same places and times (run `cool_build` with
    `HeatModel(speed=speed)` and `watch_mm`). The logarithm of the speed is held near 0 by
    `physics.probe_prior`, so a single doubtful reading moves it little. Readings of several cakes of
    one chamber type belong together. Readings must be taken where the temperature still changes.
    """
    measured = np.asarray(measured_c, dtype=np.float64)
    if len(measured) == 0 or not np.isfinite(measured).all() or error_c <= 0:
        raise InputError("no usable probe reading", remedy="give temperatures in °C and an error above zero")
    prior = numbers.PROBE_PRIOR.value

    def gaps(x: FloatArray) -> FloatArray:
        shown = np.asarray(predict(float(np.exp(x[0]))), dtype=np.float64)
        if shown.shape != measured.shape:
            raise InputError(
                f"{len(shown)} predictions for {len(measured)} readings", remedy="predict at the same places and times"
            )
        return np.append((measured - shown) / error_c, x[0] / prior)

    solved = least_squares(gaps, np.zeros(1), diff_step=[0.02], x_scale=prior, xtol=1e-4, max_nfev=30)
    sigma = float(1 / np.sqrt((np.asarray(solved.jac) ** 2).sum()))
    x, wide = float(solved.x[0]), numbers.NINETY.value * sigma
    left = np.asarray(solved.fun)[:-1] * error_c
    return Speed(float(np.exp(x)), float(np.exp(x - wide)), float(np.exp(x + wide)), tuple(float(g) for g in left))


def reading_at(heat_time_s: FloatArray, watch_c: FloatArray, seconds: float) -> float:
    """The model's temperature at one watched place, seconds after the print end."""
    if not heat_time_s[0] <= seconds <= heat_time_s[-1]:
        raise InputError(
            f"{seconds / 3600:.1f} h after the print end is outside the computed history",
            remedy="take the reading before the cake is cold",
        )
    return float(np.interp(seconds, heat_time_s, watch_c))
