"""Splitting one sum over the lines that cause it, so that the shares add up to the sum."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cakewright.errors import InputError

FloatArray = NDArray[np.float64]


def by_weight(total: float, weights: Sequence[float] | FloatArray) -> FloatArray:
    """`total` in proportion to `weights` (n,); InputError when no weight is above zero."""
    w = np.asarray(weights, dtype=np.float64)
    if not np.isfinite(w).all() or (w < 0).any() or w.sum() <= 0:
        raise InputError(
            f"cannot share {total:g} by {[float(x) for x in w]}", remedy="give weights, at least one above zero"
        )
    shares: FloatArray = total * w / w.sum()
    return shares


def by_levels(
    total: float, top: float, needs: Sequence[float] | FloatArray, weights: Sequence[float] | FloatArray
) -> FloatArray:
    """`total` is caused evenly by 0 .. `top`; each step is paid by those who need to go that high.

    Line i needs the range 0 .. needs[i]. A step between two needs is shared by weight among the lines
    whose need reaches over it; what lies above every need is shared by weight among all. (The rule by
    which aircraft of different length share one runway.) Shares (n,) add up to `total`.
    """
    need = np.minimum(np.asarray(needs, dtype=np.float64), top)
    w = np.asarray(weights, dtype=np.float64)
    shares = np.zeros(len(need))
    below = 0.0
    for level in sorted({float(x) for x in need if x > 0}):
        users = need >= level
        shares += by_weight(total * (level - below) / top, np.where(users, w, 0.0))
        below = level
    if below < top:
        shares += by_weight(total * (top - below) / top, w)
    return shares
