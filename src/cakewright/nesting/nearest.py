"""The nearest triangles of two surfaces, and the direction that separates two triangles."""

from __future__ import annotations

import numpy as np

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray
from cakewright.nesting.bank import Ints
from cakewright.nesting.trees import triangles_gap2


@kernel
def _box_gap2(a: FloatArray, b: FloatArray, dx: float, dy: float, dz: float) -> float:
    """Squared distance of two boxes, the second shifted."""
    x = max(a[0] - b[3] - dx, b[0] + dx - a[3], 0.0)
    y = max(a[1] - b[4] - dy, b[1] + dy - a[4], 0.0)
    z = max(a[2] - b[5] - dz, b[2] + dz - a[5], 0.0)
    return float(x * x + y * y + z * z)


@kernel
def near_triangles(
    va: FloatArray,
    fa: IntArray,
    na: IntArray,
    ba: FloatArray,
    vb: FloatArray,
    fb: IntArray,
    nb: IntArray,
    bb: FloatArray,
    shift: FloatArray,
    cut2: float,
    share: float,
    found: Ints,
) -> tuple[float, int]:
    """Triangles of two surfaces, the second shifted, that are nearer than `cut2`, the nearest last.

    Returns the least squared distance (`cut2` when nothing is nearer) and how many pairs are in `found` (m, 2).
    A pair is only taken when it is nearer than `share` times the last one. Looking for the very nearest of many
    at almost the same distance takes most of the time and changes little; above 1 more are gathered, one for each
    two leaves of the trees.
    """
    best, limit = cut2, cut2
    count = 0
    dx, dy, dz = shift[0], shift[1], shift[2]
    stack = [(0, 0)]
    ta = np.empty((3, 3))
    tb = np.empty((3, 3))
    box = np.empty(6)
    while len(stack) > 0:
        i, j = stack.pop()
        if _box_gap2(ba[i], bb[j], dx, dy, dz) >= limit:
            continue
        if na[i, 2] < 0 and nb[j, 2] < 0:
            here, first, second = limit, -1, -1
            for s in range(na[i, 0], na[i, 1]):
                for c in range(3):
                    for v in range(3):
                        ta[v, c] = va[fa[s, v], c]
                    box[c] = min(ta[0, c], ta[1, c], ta[2, c])
                    box[3 + c] = max(ta[0, c], ta[1, c], ta[2, c])
                if _box_gap2(box, bb[j], dx, dy, dz) >= here:
                    continue
                for t in range(nb[j, 0], nb[j, 1]):
                    gap2 = 0.0
                    for c in range(3):
                        for v in range(3):
                            tb[v, c] = vb[fb[t, v], c] + shift[c]
                        low, high = min(tb[0, c], tb[1, c], tb[2, c]), max(tb[0, c], tb[1, c], tb[2, c])
                        g = max(box[c] - high, low - box[3 + c])
                        if g > 0:
                            gap2 += g * g
                    if gap2 < here:
                        gap2 = triangles_gap2(ta, tb)
                        if gap2 < here:
                            here, first, second = gap2, s, t
            if first >= 0:
                best = min(best, here)
                limit = min(cut2, share * best)
                if count == len(found) and share <= 1.0:
                    count -= 1
                found[count, 0], found[count, 1] = first, second
                count += 1
                if (best <= 0.0 and share <= 1.0) or (count == len(found) and share > 1.0):
                    return best, count
            continue
        if nb[j, 2] < 0 or (na[i, 2] >= 0 and ba[i, 5] - ba[i, 2] + ba[i, 3] - ba[i, 0] + ba[i, 4] - ba[i, 1]
                            >= bb[j, 5] - bb[j, 2] + bb[j, 3] - bb[j, 0] + bb[j, 4] - bb[j, 1]):  # fmt: skip
            near, far = (na[i, 2], j), (na[i, 3], j)
        else:
            near, far = (i, nb[j, 2]), (i, nb[j, 3])
        if _box_gap2(ba[near[0]], bb[near[1]], dx, dy, dz) > _box_gap2(ba[far[0]], bb[far[1]], dx, dy, dz):
            near, far = far, near
        stack.append(far)
        stack.append(near)
    return best, count


@kernel
def _width(n: FloatArray, a: FloatArray, b: FloatArray) -> float:
    """How far two triangles are apart along a unit direction; negative when their shadows overlap."""
    high, low = -1e300, 1e300
    for v in range(3):
        high = max(high, a[v, 0] * n[0] + a[v, 1] * n[1] + a[v, 2] * n[2])
        low = min(low, b[v, 0] * n[0] + b[v, 1] * n[1] + b[v, 2] * n[2])
    return low - high


@kernel
def _try(n: FloatArray, a: FloatArray, b: FloatArray, best: FloatArray) -> None:
    """Keep the direction, either way round, if it separates better than the best (4,) so far."""
    length = np.sqrt(n[0] ** 2 + n[1] ** 2 + n[2] ** 2)
    if length < 1e-12:
        return
    for sign in (1.0, -1.0):
        m = n * (sign / length)
        w = _width(m, a, b)
        if w > best[3]:
            best[0], best[1], best[2], best[3] = m[0], m[1], m[2], w


@kernel
def _clamp(x: float) -> float:
    return min(1.0, max(0.0, x))


@kernel
def separating(a: FloatArray, b: FloatArray) -> FloatArray:
    """(4,) the unit direction that separates two triangles (3, 3) best, and how far apart they are along it.

    Tried are the directions between nearest points of all edges, the two normals and the cross products of
    edges; among these is the direction between the nearest points, and one of them separates triangles that touch.
    """
    best = np.array([0.0, 0.0, 1.0, -1e300])
    _try(np.cross(a[1] - a[0], a[2] - a[0]), a, b, best)
    _try(np.cross(b[1] - b[0], b[2] - b[0]), a, b, best)
    for i in range(3):
        u = a[(i + 1) % 3] - a[i]
        for j in range(3):
            v = b[(j + 1) % 3] - b[j]
            _try(np.cross(u, v), a, b, best)
            r = a[i] - b[j]
            uu, vv, uv = (u * u).sum(), (v * v).sum(), (u * v).sum()
            if uu <= 0.0 or vv <= 0.0:
                continue
            ur, vr = (u * r).sum(), (v * r).sum()
            bottom = uu * vv - uv * uv
            s = _clamp((uv * vr - ur * vv) / bottom) if bottom > 1e-14 * uu * vv else 0.0
            t = _clamp((uv * s + vr) / vv)
            s = _clamp((uv * t - ur) / uu)
            t = _clamp((uv * s + vr) / vv)
            _try(b[j] + t * v - a[i] - s * u, a, b, best)
    return best
