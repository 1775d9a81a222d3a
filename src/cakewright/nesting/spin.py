"""How far a small turn about the vertical brings two pieces nearer, as coefficients of a linear program.

A turn is counted in mm at the rim of a piece: q mm turn it by q / radius. Along a unit direction a corner then
moves by at most its lever times q / radius, and its arc bends away by at most q_most / (2 radius) for each mm. Only
corners that could become the nearest within the round count, and only the part of a triangle that is near enough
to the other one: what is cut off cannot come within the clearance in this round.
"""

from __future__ import annotations

import numpy as np

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Ints


@kernel
def _clipped(corners: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """(m, 3): the polygon that is left of a triangle (3, 3) within a box; the triangle when nothing is left."""
    now = np.empty((12, 3))
    count = 3
    now[:3] = corners
    for side in range(6):
        axis, sign = side % 3, 1.0 if side < 3 else -1.0
        bound = low[axis] if side < 3 else -high[axis]
        out = np.empty((12, 3))
        kept = 0
        for v in range(count):
            p, q = now[v], now[(v + 1) % count]
            a, b = sign * p[axis] - bound, sign * q[axis] - bound
            if a >= 0:
                out[kept] = p
                kept += 1
            if (a >= 0) != (b >= 0):
                out[kept] = p + (q - p) * (a / (a - b))
                kept += 1
        if kept == 0:
            return corners.copy()
        now, count = out, kept
    return now[:count].copy()


@kernel
def lever(points: FloatArray, along: FloatArray, middle: FloatArray, radius: float, most: float) -> FloatArray:
    """(2,) how much a turn of 1 mm at the rim, left and right, raises the highest of `points` along a direction.

    `middle` (2,) is the axis of the turn, `most` the largest turn in mm at the rim.
    """
    if radius <= 0.0 or most <= 0.0:
        return np.zeros(2)
    count = len(points)
    height, by = np.empty(count), np.empty(count)
    for v in range(count):
        x, y = points[v, 0] - middle[0], points[v, 1] - middle[1]
        height[v] = points[v, 0] * along[0] + points[v, 1] * along[1] + points[v, 2] * along[2]
        by[v] = (along[1] * x - along[0] * y) / radius
    bend = most / (2 * radius)
    sure = -1e300
    for v in range(count):
        sure = max(sure, height[v] - most * (abs(by[v]) + bend))
    left, right = -1e300, -1e300
    for v in range(count):
        if height[v] + most * (abs(by[v]) + bend) >= sure:
            left, right = max(left, by[v]), max(right, -by[v])
    return np.array([left + bend, right + bend])


@kernel
def spins(
    first: FloatArray,
    second: FloatArray,
    along: FloatArray,
    middles: FloatArray,
    radii: FloatArray,
    most: FloatArray,
    owner: Ints,
    reach: float,
) -> FloatArray:
    """(k, 4) for pairs of triangles (k, 3, 3): how much turns of the first and the second piece bring them nearer.

    `middles` (n, 2), `radii` and `most` (n,) belong to the pieces, `owner` (k, 2) names those of each pair; `reach` is
    the distance from which triangles cannot come within the clearance.
    """
    out = np.empty((len(along), 4))
    for k in range(len(along)):
        i, j = owner[k, 0], owner[k, 1]
        low, high = np.empty((2, 3)), np.empty((2, 3))
        for c in range(3):
            low[0, c], high[0, c] = second[k, :, c].min() - reach, second[k, :, c].max() + reach
            low[1, c], high[1, c] = first[k, :, c].min() - reach, first[k, :, c].max() + reach
        out[k, :2] = lever(_clipped(first[k], low[0], high[0]), along[k], middles[i], radii[i], most[i])
        out[k, 2:] = lever(_clipped(second[k], low[1], high[1]), -along[k], middles[j], radii[j], most[j])
    return out
