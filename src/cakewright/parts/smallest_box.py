"""The smallest box around a part, however it lies: what callipers measure."""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.fit import hull_points
from cakewright.parts.orient import turn_onto

DIRECTIONS = 300  # hull faces tried, largest first
TIE = 1.002


def smallest_box(mesh: Mesh) -> tuple[float, float, float]:
    """Edges of the box of least volume with one side on a face of the convex hull, longest first, mm.

    Exact except where the best face is not among the 300 largest (O'Rourke 1985: the true optimum may rest on
    two edges instead; the difference is small for parts with flat faces).
    """
    points = hull_points(mesh)
    try:
        hull = ConvexHull(points)
    except (QhullError, ValueError):
        return _sorted(np.ptp(points, axis=0))
    sizes = [_sorted(_box_on(points @ turn_onto(normal).T)) for normal in _face_normals(hull, points)]
    least = min(a * b * c for a, b, c in sizes)
    # boxes of nearly equal volume: always the same one of them, however the part lies
    return min(size for size in sizes if np.prod(size) <= TIE * least)


def _sorted(size: FloatArray) -> tuple[float, float, float]:
    a, b, c = sorted((float(v) for v in size), reverse=True)
    return (a, b, c)


def _face_normals(hull: ConvexHull, points: FloatArray) -> FloatArray:
    """Unit normals of the largest flat faces; opposite ones count once."""
    corners = points[hull.simplices]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    normals = hull.equations[:, :3]
    first = np.argmax(np.abs(normals) > 1e-6, axis=1)
    one_side = normals * np.sign(normals[np.arange(len(normals)), first])[:, None]
    key, index = np.unique(np.round(one_side, 4), axis=0, return_inverse=True)
    weight = np.bincount(index.ravel(), weights=area)
    largest = np.argsort(-weight)[:DIRECTIONS]
    chosen = key[largest]
    return np.asarray(chosen / np.linalg.norm(chosen, axis=1, keepdims=True))


def _box_on(points: FloatArray) -> FloatArray:
    """Smallest upright box, (3,): the footprint rests with one side on an edge of its outline."""
    height = float(np.ptp(points[:, 2]))
    flat = points[:, :2]
    try:
        outline = flat[ConvexHull(flat).vertices]
    except (QhullError, ValueError):
        return np.array([*np.ptp(flat, axis=0), height])
    edge = np.roll(outline, -1, axis=0) - outline
    edge = edge / np.linalg.norm(edge, axis=1, keepdims=True)
    along = outline @ edge.T
    across = outline @ np.column_stack([-edge[:, 1], edge[:, 0]]).T
    widths = np.ptp(along, axis=0), np.ptp(across, axis=0)
    k = int(np.argmin(widths[0] * widths[1]))
    return np.array([widths[0][k], widths[1][k], height])
