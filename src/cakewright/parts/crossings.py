"""Where a surface passes through itself or through another body."""

from __future__ import annotations

import numpy as np

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.parts.boxtree import box_tree, overlapping_boxes

MOST_PAIRS = 200_000  # crossings listed; more are no more useful


def crossing_pairs(mesh: Mesh, depth_mm: float) -> IntArray:
    """Pairs of triangles (k, 2) that pass through each other by more than `depth_mm`.

    An edge of one must pierce the inside of the other, with both ends further than `depth_mm` from its plane.
    Neighbours that share a vertex are not compared; faces that merely touch or lie in one plane do not count.
    """
    tree = box_tree(mesh)
    corners = np.ascontiguousarray(mesh.triangles - mesh.box_mm.mean(axis=0))
    moved_low, moved_high = corners.min(axis=1), corners.max(axis=1)
    shift = mesh.box_mm.mean(axis=0)
    return _find(
        tree.low - shift, tree.high - shift, tree.left, tree.first, tree.count, tree.order,
        moved_low, moved_high, corners, np.ascontiguousarray(mesh.faces), depth_mm, MOST_PAIRS,
    )  # fmt: skip


@kernel
def _find(
    tree_low: FloatArray,
    tree_high: FloatArray,
    left: IntArray,
    first: IntArray,
    count: IntArray,
    order: IntArray,
    low: FloatArray,
    high: FloatArray,
    corners: FloatArray,
    faces: IntArray,
    depth_mm: float,
    most: int,
) -> IntArray:
    pairs = np.empty((most, 2), np.int32)
    found = 0
    near = np.empty(100_000, np.int64)
    for i in range(len(faces)):
        n = overlapping_boxes(tree_low, tree_high, left, first, count, order, low, high, i, near)
        for k in range(n):
            j = near[k]
            shared = False
            for a in range(3):
                for b in range(3):
                    if faces[i, a] == faces[j, b]:
                        shared = True
            if shared:
                continue
            if _pierces(corners[i], corners[j], depth_mm) or _pierces(corners[j], corners[i], depth_mm):
                if found == most:
                    return pairs
                pairs[found, 0], pairs[found, 1] = i, j
                found += 1
    return pairs[:found].copy()


@kernel
def _pierces(edges_of: FloatArray, face: FloatArray, depth_mm: float) -> bool:
    """True when an edge of the first triangle passes through the inside of the second."""
    u, v = face[1] - face[0], face[2] - face[0]
    nx, ny, nz = u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]
    length = np.sqrt(nx * nx + ny * ny + nz * nz)
    if length == 0:
        return False
    nx, ny, nz = nx / length, ny / length, nz / length
    d = np.empty(3)
    for k in range(3):
        w = edges_of[k] - face[0]
        d[k] = nx * w[0] + ny * w[1] + nz * w[2]
    for k in range(3):
        m = (k + 1) % 3
        if not ((d[k] > depth_mm and d[m] < -depth_mm) or (d[k] < -depth_mm and d[m] > depth_mm)):
            continue
        t = d[k] / (d[k] - d[m])
        p = edges_of[k] + t * (edges_of[m] - edges_of[k])
        inside = True
        for e in range(3):
            q, r = face[e], face[(e + 1) % 3]
            ex, ey, ez = r[0] - q[0], r[1] - q[1], r[2] - q[2]
            px, py, pz = p[0] - q[0], p[1] - q[1], p[2] - q[2]
            side = nx * (ey * pz - ez * py) + ny * (ez * px - ex * pz) + nz * (ex * py - ey * px)
            if side <= depth_mm * np.sqrt(ex * ex + ey * ey + ez * ez):
                inside = False
        if inside:
            return True
    return False


@kernel
def winding_number(triangles: FloatArray, point: FloatArray) -> float:
    """How often the oriented triangles (m, 3, 3) go round a point: 1 inside a solid, 0 outside, 2 counted twice.

    Sum of solid angles over 4 pi (van Oosterom and Strackee 1983).
    """
    total = 0.0
    for t in range(triangles.shape[0]):
        a, b, c = triangles[t, 0] - point, triangles[t, 1] - point, triangles[t, 2] - point
        la, lb, lc = np.sqrt((a * a).sum()), np.sqrt((b * b).sum()), np.sqrt((c * c).sum())
        det = (
            a[0] * (b[1] * c[2] - b[2] * c[1]) + a[1] * (b[2] * c[0] - b[0] * c[2]) + a[2] * (b[0] * c[1] - b[1] * c[0])
        )
        below = la * lb * lc + (a * b).sum() * lc + (b * c).sum() * la + (c * a).sum() * lb
        total += 2 * np.arctan2(det, below)
    return float(total / (4 * np.pi))
