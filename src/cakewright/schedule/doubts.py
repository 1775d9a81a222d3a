"""How far a week may stray from its plan: the doubts about each build and line, and the dice thrown for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from cakewright.errors import InputError
from cakewright.schedule.instance import FloatArray
from cakewright.sources.promise import HANDS_SIGMA, LEAST_PRINT_FACTOR

ATTEMPTS = 3  # a build, its remake, and the remake of that: the chance of a third failure in a row is left out


@dataclass(frozen=True, slots=True)
class StopPoint:
    """What a stop at one height means. Shares are of the whole build's print minutes or height, 0 to 1.

    `incomplete` are the lines that miss at least one piece; `remake_share` is what printing those again takes.
    """

    printed_share: float
    height_share: float
    remake_share: float
    remake_height_share: float
    incomplete: frozenset[int]


@dataclass(frozen=True, slots=True)
class BuildDoubt:
    """What may go otherwise with a build.

    `print_sigma` is the spread of actual over predicted print time, `cool_min` the cooling as (early, likely,
    late), `fails` the chance that it stops before its end, at one of `stops` with equal chance. A build that
    has begun and cannot fail any more has `fails` 0.
    """

    key: str
    print_sigma: float
    cool_min: tuple[float, float, float]
    fails: float = 0.0
    stops: tuple[StopPoint, ...] = ()

    def __post_init__(self) -> None:
        """Refuse chances and spreads that cannot be meant."""
        early, likely, late = self.cool_min
        if not (0 <= self.fails < 1 and self.print_sigma >= 0 and 0 <= early <= likely <= late):
            raise InputError(
                f"fails {self.fails:g}, spread {self.print_sigma:g}, cooling {self.cool_min}",
                remedy="give a chance below 1, a spread of at least 0, and cooling in rising order",
                where=f"build {self.key}",
            )
        if self.fails > 0 and not self.stops:
            raise InputError("it may fail but no stop is described", remedy="give stops", where=f"build {self.key}")


@dataclass(frozen=True, slots=True)
class LineDoubt:
    """Chance that a line comes up short although its builds went well (`cost.overmake` knows it)."""

    line: int
    short: float = 0.0


@dataclass(frozen=True, eq=False)
class Dice:
    """Common random numbers, one row a run; the same key and seed give the same dice in every what-if.

    `printing`, `fails`, `stops`: (runs, builds, ATTEMPTS); `hands`: (runs, builds); `cooling`: (runs,) in [0, 1],
    shared by all cakes since what makes it uncertain is the powder; `line_hands`, `short`: (runs, lines).
    """

    printing: FloatArray
    fails: FloatArray
    stops: FloatArray
    hands: FloatArray
    cooling: FloatArray
    line_hands: FloatArray
    short: FloatArray


def throw(builds: Sequence[str], lines: Sequence[int], runs: int, seed: int) -> Dice:
    """Dice for so many runs: standard normal for printing and hands, even in [0, 1) for the rest."""
    b, n = len(builds), len(lines)
    dice = Dice(
        np.empty((runs, b, ATTEMPTS)), np.empty((runs, b, ATTEMPTS)), np.empty((runs, b, ATTEMPTS)),
        np.empty((runs, b)), _source(seed, "cooling").random(runs), np.empty((runs, n)), np.empty((runs, n)),
    )  # fmt: skip
    for i, key in enumerate(builds):
        source = _source(seed, f"build {key}")
        dice.printing[:, i] = source.standard_normal((runs, ATTEMPTS))
        dice.fails[:, i] = source.random((runs, ATTEMPTS))
        dice.stops[:, i] = source.random((runs, ATTEMPTS))
        dice.hands[:, i] = source.standard_normal(runs)
    for i, line in enumerate(lines):
        source = _source(seed, f"line {line}")
        dice.line_hands[:, i] = source.standard_normal(runs)
        dice.short[:, i] = source.random(runs)
    return dice


def _source(seed: int, what: str) -> np.random.Generator:
    return np.random.default_rng([seed, crc32(what.encode())])


def print_factors(dice: Dice, sigma: FloatArray) -> FloatArray:
    """Actual over predicted print time, (runs, builds, ATTEMPTS): 1 + sigma z, never below `promise.least_print`."""
    return np.maximum(1.0 + sigma[None, :, None] * dice.printing, float(LEAST_PRINT_FACTOR))


def hands_factors(normal: FloatArray, sigma: float = float(HANDS_SIGMA)) -> FloatArray:
    """Actual over planned hands' time: lognormal with mean 1."""
    return np.exp(sigma * normal - sigma**2 / 2)


def triangular(even: FloatArray, corners: FloatArray) -> FloatArray:
    """Draws of triangular laws from even numbers (runs,): `corners` is (builds, 3) early, likely, late; (runs, builds).

    Inverse of the distribution function; a law without width gives its likely value.
    """
    early, likely, late = corners.T
    width = np.maximum(late - early, 1e-12)
    u = even[:, None]
    rising = early + np.sqrt(u * width * (likely - early))
    falling = late - np.sqrt((1 - u) * width * (late - likely))
    return np.asarray(np.where(u <= (likely - early) / width, rising, falling))
