"""Straight lines and parabolas through measurements, by orthogonal decomposition on scaled values.

Checked against the NIST Statistical Reference Datasets for linear regression.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.errors import InputError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Fit:
    """Coefficients and their standard errors (lowest power first), residual s, R², degrees of freedom."""

    powers: tuple[int, ...]
    coefficients: FloatArray
    errors: FloatArray
    residual_s: float
    r_squared: float
    freedom: int

    def __call__(self, x: float) -> float:
        """Value of the fitted curve."""
        return float(sum(c * x**p for c, p in zip(self.coefficients, self.powers, strict=True)))


def fit_powers(x: Sequence[float] | FloatArray, y: Sequence[float] | FloatArray, powers: Sequence[int]) -> Fit:
    """Least squares y = sum of b_p x^p over `powers` ((0, 1) line, (1,) line through zero, (0, 1, 2) parabola).

    x is scaled to a largest value of one first: raw powers of large numbers lose digits.
    """
    a, b = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    n, m = len(a), len(powers)
    if a.shape != b.shape or n <= m or not np.isfinite(a).all() or not np.isfinite(b).all():
        raise InputError(f"{n} measurements for {m} coefficients", remedy="measure more lengths, without gaps")
    scale = float(np.abs(a).max()) or 1.0
    design = np.stack([(a / scale) ** p for p in powers], axis=1)
    q, r = np.linalg.qr(design)
    if np.abs(np.diag(r)).min() <= 1e-13 * np.abs(np.diag(r)).max():
        raise InputError(
            "the measured lengths are too alike to tell the coefficients apart", remedy="add a short and a long one"
        )
    beta = np.linalg.solve(r, q.T @ b)
    left = b - design @ beta
    s2 = float(left @ left) / (n - m)
    inverse = np.linalg.inv(r)
    errors = np.sqrt(s2 * (inverse**2).sum(axis=1))
    back = np.array([scale**p for p in powers])
    centre = b.mean() if 0 in powers else 0.0
    total = float(((b - centre) ** 2).sum())
    r2 = 1.0 - float(left @ left) / total if total > 0 else 1.0
    return Fit(tuple(powers), beta / back, errors / back, math.sqrt(s2), r2, n - m)
