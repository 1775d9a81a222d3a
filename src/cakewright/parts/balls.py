"""The largest ball that fits at a point of the surface, inside or outside: thickness and gap without a ray's excess."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.parts.boxtree import BoxTree, box_tree
from cakewright.parts.measure import triangle_normals
from cakewright.parts.rays import Spots

OPPOSED = 0.7  # cosine: the far side must face the point within 45 degrees
ROUNDS = 24  # the radius shrinks at each; a handful is usual


class BallScene:
    """A mesh ready to be asked for inscribed balls."""

    def __init__(self, mesh: Mesh, tree: BoxTree | None = None) -> None:
        tree = tree or box_tree(mesh)
        self._tree = (tree.low, tree.high, tree.left, tree.first, tree.count, tree.order)
        self._corners = np.ascontiguousarray(mesh.triangles)
        self._normals = triangle_normals(mesh)

    def opposed(self, spots: Spots, most_mm: FloatArray, *, inside: bool) -> tuple[FloatArray, NDArray[np.int64]]:
        """Diameters (n,) mm of the balls that touch each spot and a wall facing it, and that wall's triangle.

        `most_mm` (n,) is the largest diameter to try: the length of the ray (nothing larger fits), nan or inf where
        there is no far side; there the answer is nan and -1. Only walls that face the spot within 45 degrees stop a
        ball, so the rounding of an edge or of a coarse curve does not make it thin. Shrinking ball (Ma, Bae, Choi
        2012), with exact nearest points on the triangles.
        """
        into = -spots.normal if inside else spots.normal
        most = np.where(np.isfinite(most_mm), most_mm, np.nan)
        return _balls(self._corners, self._normals, *self._tree, spots.at, np.ascontiguousarray(into),
                      np.ascontiguousarray(spots.normal), most)  # fmt: skip

    def clearance(self, at: FloatArray) -> FloatArray:
        """Distance from points (n, 3) to the surface, (n,) mm, whichever way it looks."""
        far = float(np.linalg.norm(np.ptp(self._corners.reshape(-1, 3), axis=0))) + 1.0
        return _clearances(self._corners, self._normals, *self._tree, np.ascontiguousarray(at), far)


@kernel
def _clearances(
    corners: FloatArray,
    normals: FloatArray,
    low: FloatArray,
    high: FloatArray,
    left: IntArray,
    first: IntArray,
    count: IntArray,
    order: IntArray,
    at: FloatArray,
    far: float,
) -> FloatArray:
    out = np.full(len(at), far)
    near, anyway = np.empty(3), np.zeros(3)
    for i in range(len(at)):
        x, y, z = at[i, 0], at[i, 1], at[i, 2]
        t = _nearest(corners, normals, low, high, left, first, count, order, x, y, z, anyway, far, near)
        if t >= 0:
            out[i] = np.sqrt((near[0] - x) ** 2 + (near[1] - y) ** 2 + (near[2] - z) ** 2)
    return out


@kernel
def _balls(
    corners: FloatArray,
    normals: FloatArray,
    low: FloatArray,
    high: FloatArray,
    left: IntArray,
    first: IntArray,
    count: IntArray,
    order: IntArray,
    at: FloatArray,
    into: FloatArray,
    facing: FloatArray,
    most: FloatArray,
) -> tuple[FloatArray, NDArray[np.int64]]:
    n = len(at)
    size = np.full(n, np.nan)
    wall = np.full(n, -1, np.int64)
    near = np.empty(3)
    for i in range(n):
        if not most[i] > 0:
            continue
        r = 0.5 * most[i] * (1 + 1e-4)  # a little too large, so that the far wall itself is met
        for _ in range(ROUNDS):
            cx, cy, cz = at[i, 0] + r * into[i, 0], at[i, 1] + r * into[i, 1], at[i, 2] + r * into[i, 2]
            bound = r * (1 - 1e-6)
            t = _nearest(corners, normals, low, high, left, first, count, order, cx, cy, cz, facing[i], bound, near)
            if t < 0:
                break
            dx, dy, dz = near[0] - at[i, 0], near[1] - at[i, 1], near[2] - at[i, 2]
            ahead = into[i, 0] * dx + into[i, 1] * dy + into[i, 2] * dz
            if ahead <= 0:
                break
            smaller = (dx * dx + dy * dy + dz * dz) / (2 * ahead)
            if smaller >= r:
                break
            r, wall[i] = smaller, t
        if wall[i] >= 0:
            size[i] = 2 * r
    return size, wall


@kernel
def _nearest(
    corners: FloatArray,
    normals: FloatArray,
    low: FloatArray,
    high: FloatArray,
    left: IntArray,
    first: IntArray,
    count: IntArray,
    order: IntArray,
    cx: float,
    cy: float,
    cz: float,
    facing: FloatArray,
    bound: float,
    near: FloatArray,
) -> int:
    """The nearest triangle that faces `facing` (all zero: any) and is nearer than `bound`; -1: none.

    Its nearest point goes into `near`.
    """
    best, found = bound * bound, -1
    is_choosy = facing[0] != 0.0 or facing[1] != 0.0 or facing[2] != 0.0
    stack = np.empty(96, np.int64)
    stack[0] = 0
    depth = 1
    while depth > 0:
        depth -= 1
        k = stack[depth]
        if _to_box(low, high, k, cx, cy, cz) >= best:
            continue
        if left[k] >= 0:
            a, b = left[k], left[k] + 1
            da, db = _to_box(low, high, a, cx, cy, cz), _to_box(low, high, b, cx, cy, cz)
            if da < db:
                a, b, da, db = b, a, db, da
            if da < best:
                stack[depth] = a
                depth += 1
            if db < best:
                stack[depth] = b
                depth += 1
            continue
        for i in range(first[k], first[k] + count[k]):
            t = order[i]
            turn = normals[t, 0] * facing[0] + normals[t, 1] * facing[1] + normals[t, 2] * facing[2]
            if turn > -OPPOSED and is_choosy:
                continue
            px, py, pz = _on_triangle(corners, t, cx, cy, cz)
            d = (px - cx) ** 2 + (py - cy) ** 2 + (pz - cz) ** 2
            if d < best:
                best, found = d, t
                near[0], near[1], near[2] = px, py, pz
    return found


@kernel
def _to_box(low: FloatArray, high: FloatArray, k: int, x: float, y: float, z: float) -> float:
    dx = max(low[k, 0] - x, 0.0, x - high[k, 0])
    dy = max(low[k, 1] - y, 0.0, y - high[k, 1])
    dz = max(low[k, 2] - z, 0.0, z - high[k, 2])
    return float(dx * dx + dy * dy + dz * dz)


@kernel
def _on_triangle(corners: FloatArray, t: int, x: float, y: float, z: float) -> tuple[float, float, float]:
    """The point of a triangle nearest to (x, y, z), by the regions of its corners, edges and inside (Ericson 2005)."""
    ax, ay, az = corners[t, 0, 0], corners[t, 0, 1], corners[t, 0, 2]
    ux, uy, uz = corners[t, 1, 0] - ax, corners[t, 1, 1] - ay, corners[t, 1, 2] - az
    vx, vy, vz = corners[t, 2, 0] - ax, corners[t, 2, 1] - ay, corners[t, 2, 2] - az
    wx, wy, wz = x - ax, y - ay, z - az
    d1, d2 = ux * wx + uy * wy + uz * wz, vx * wx + vy * wy + vz * wz
    if d1 <= 0 and d2 <= 0:
        return ax, ay, az
    wx, wy, wz = wx - ux, wy - uy, wz - uz
    d3, d4 = ux * wx + uy * wy + uz * wz, vx * wx + vy * wy + vz * wz
    if d3 >= 0 and d4 <= d3:
        return ax + ux, ay + uy, az + uz
    wx, wy, wz = x - ax - vx, y - ay - vy, z - az - vz
    d5, d6 = ux * wx + uy * wy + uz * wz, vx * wx + vy * wy + vz * wz
    if d6 >= 0 and d5 <= d6:
        return ax + vx, ay + vy, az + vz
    vc = d1 * d4 - d3 * d2
    if vc <= 0 and d1 >= 0 and d3 <= 0:
        s = d1 / (d1 - d3) if d1 != d3 else 0.0
        return ax + s * ux, ay + s * uy, az + s * uz
    vb = d5 * d2 - d1 * d6
    if vb <= 0 and d2 >= 0 and d6 <= 0:
        s = d2 / (d2 - d6) if d2 != d6 else 0.0
        return ax + s * vx, ay + s * vy, az + s * vz
    va = d3 * d6 - d5 * d4
    if va <= 0 and d4 - d3 >= 0 and d5 - d6 >= 0:
        s = (d4 - d3) / ((d4 - d3) + (d5 - d6)) if (d4 - d3) + (d5 - d6) > 0 else 0.0
        return ax + ux + s * (vx - ux), ay + uy + s * (vy - uy), az + uz + s * (vz - uz)
    total = va + vb + vc
    if total == 0:
        return ax, ay, az
    s, q = vb / total, vc / total
    return ax + s * ux + q * vx, ay + s * uy + q * vy, az + s * uz + q * vz
