"""What may be lost when a build stops: chance per layer from the cell's own history, value at risk by height."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import gamma

from cakewright.errors import InputError
from cakewright.model.build import Placement
from cakewright.model.cell import FailureHistory
from cakewright.model.mesh import FloatArray
from cakewright.sources import physics as numbers


@dataclass(frozen=True, slots=True)
class Hazard:
    """Chance of a stop per layer: a gamma law with `shape` failures seen over `layers` layers run."""

    shape: float
    layers: float

    @property
    def mean(self) -> float:
        """Expected stops per layer."""
        return self.shape / self.layers

    def interval(self, share: float = 0.9) -> tuple[float, float]:
        """Bounds of the chance per layer that hold `share` of the belief."""
        law = gamma(self.shape, scale=1 / self.layers)
        return float(law.ppf((1 - share) / 2)), float(law.ppf((1 + share) / 2))

    def survives(self, layers: ArrayLike) -> FloatArray:
        """Chance to get past so many layers, the uncertainty of the rate included: (L / (L + n))^shape."""
        return np.asarray((self.layers / (self.layers + np.asarray(layers, dtype=np.float64))) ** self.shape)


def hazard_of(history: FailureHistory, layers_per_build: float) -> Hazard:
    """The chance per layer that a cell's record supports.

    Constant over the height; failures counted per layer run, an average build having
    `layers_per_build`. Prior `physics.failure_prior_*`, which counts as ten builds and is soon outweighed.
    Source: conjugate gamma-Poisson (Gelman et al., Bayesian Data Analysis, ch. 2).
    """
    if not (0 <= history.failed <= history.builds and layers_per_build > 0):
        raise InputError(
            f"{history.failed} failed of {history.builds} builds, {layers_per_build} layers each",
            remedy="failed must not exceed builds, layers must be above zero",
        )
    shape = numbers.FAILURE_PRIOR_SHAPE.value
    builds = shape / numbers.FAILURE_PRIOR_RATE.value
    return Hazard(shape + history.failed, (builds + history.builds) * layers_per_build)


@dataclass(frozen=True, eq=False)
class ValueAtRisk:
    """What a stop in each layer would leave, (n,), in the unit of the values given.

    `complete`: pieces done (still to be inspected: done is not yet good), `cut`: pieces begun, scrap,
    `untouched`: pieces not begun, to be built again. `stops`: chance that the build stops in this layer.
    """

    complete: FloatArray
    cut: FloatArray
    untouched: FloatArray
    stops: FloatArray

    @property
    def expected_scrap(self) -> float:
        """Expected value of pieces cut through."""
        return float((self.stops * self.cut).sum())

    @property
    def expected_missing(self) -> float:
        """Expected value not delivered from this build: cut or not begun."""
        return float((self.stops * (self.cut + self.untouched)).sum())


def value_at_risk(
    placements: Sequence[Placement],
    value_of: Mapping[str, float],
    hazard: Hazard,
    *,
    layer_mm: float,
    layers: int,
    margin_mm: float = 0.0,
) -> ValueAtRisk:
    """Sort the pieces into done, cut and not begun for a stop in every layer.

    A piece is done `margin_mm` above its top (the powder over it must stay for controlled cooling) and
    not begun below its bottom. `value_of` is by piece; a piece above the last layer never finishes.
    """
    unknown = sorted({p.piece for p in placements} - set(value_of))
    if unknown:
        raise InputError(f"no value for {', '.join(unknown[:4])}", remedy="give a value for every piece")
    z = np.arange(layers) * layer_mm
    value = np.array([value_of[p.piece] for p in placements])
    top = np.array([p.z_max_mm for p in placements]) + margin_mm
    bottom = np.array([p.z_min_mm for p in placements])
    complete = (value * (top <= z[:, None] + 1e-9)).sum(axis=1)
    untouched = (value * (bottom >= z[:, None] + layer_mm - 1e-9)).sum(axis=1)
    survival = hazard.survives(np.arange(layers + 1))
    return ValueAtRisk(complete, value.sum() - complete - untouched, untouched, survival[:-1] - survival[1:])
