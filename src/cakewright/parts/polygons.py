"""Cutting polygons in space into triangles without leaving their outline."""

from __future__ import annotations

import numpy as np

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray


def triangulate(points: FloatArray) -> tuple[IntArray, bool]:
    """Cut one polygon (n, 3) into n - 2 triangles by cutting ears.

    The polygon is seen along its area vector, so slightly bent ones work. Returns the triangles (n - 2, 3)
    with the polygon's own winding, and False when the outline crosses itself so that no clean cut exists
    (the triangles then fan out from the first corner). O(n^2).
    """
    n = len(points)
    if n == 3:
        return np.array([[0, 1, 2]], dtype=np.int32), True
    triangles, is_clean = _cut_ears(_flat(points))
    if is_clean:
        return triangles, True
    fan = np.arange(1, n - 1)
    return np.column_stack([np.zeros(n - 2), fan, fan + 1]).astype(np.int32), False


def _flat(points: FloatArray) -> FloatArray:
    """The polygon in its own plane, (n, 2), counter-clockwise."""
    moved = points - points.mean(axis=0)
    normal = np.cross(moved, np.roll(moved, -1, axis=0)).sum(axis=0)
    drop = int(np.argmax(np.abs(normal)))
    kept = [(1, 2), (2, 0), (0, 1)][drop]
    flat = np.ascontiguousarray(moved[:, kept])
    if normal[drop] < 0:
        flat[:, 0] *= -1
    return flat


@kernel
def _cross(p: FloatArray, a: int, b: int, c: int) -> float:
    return float((p[b, 0] - p[a, 0]) * (p[c, 1] - p[a, 1]) - (p[b, 1] - p[a, 1]) * (p[c, 0] - p[a, 0]))


@kernel
def _cut_ears(p: FloatArray) -> tuple[IntArray, bool]:
    n = p.shape[0]
    following, before = np.empty(n, np.int64), np.empty(n, np.int64)
    for i in range(n):
        following[i] = (i + 1) % n
        before[i] = (i - 1 + n) % n
    out = np.empty((n - 2, 3), np.int32)
    cut, left, here, tried = 0, n, 0, 0
    while left > 3:
        a, c = before[here], following[here]
        ear = _cross(p, a, here, c) > 0
        flat = _cross(p, a, here, c) == 0  # a corner on a straight edge is cut when nothing else is left
        if flat and tried > left:
            ear = True
        elif ear:
            other = following[c]
            while other != a:
                same = (
                    (p[other, 0] == p[a, 0] and p[other, 1] == p[a, 1])
                    or (p[other, 0] == p[c, 0] and p[other, 1] == p[c, 1])
                    or (p[other, 0] == p[here, 0] and p[other, 1] == p[here, 1])
                )
                inside = (
                    _cross(p, a, here, other) >= 0 and _cross(p, here, c, other) >= 0 and _cross(p, c, a, other) >= 0
                )
                if inside and not same:
                    ear = False
                    break
                other = following[other]
        if ear:
            out[cut, 0], out[cut, 1], out[cut, 2] = a, here, c
            cut += 1
            left -= 1
            following[a], before[c] = c, a
            here, tried = a, 0
        else:
            here = c
            tried += 1
            if tried > 2 * left:
                return out, False
    out[cut, 0], out[cut, 1], out[cut, 2] = before[here], here, following[here]
    return out, True
