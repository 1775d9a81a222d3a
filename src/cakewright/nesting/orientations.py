"""The turns worth trying for a part: those its rule allows, and for free parts those of its smallest box.

A part drawn askew fills less of a box along the axes than of a box turned with it. For such a part the 24 turns
that bring its smallest box onto the axes are tried as well. What a restriction forbids is never tried.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.parts.orient import axis_rotations, candidate_rotations
from cakewright.sources.nesting import BOX_GAIN, BOX_SIDES


def orientations_for(mesh: Mesh, rule: OrientationRule, seed: int) -> FloatArray:
    """Rotations to nest a part in, (k, 3, 3), the identity first for free parts.

    Free parts: the 24 axis turns, and the 24 turns of the smallest box where that is smaller by at least
    `nesting.box_gain`. All others: what the rule allows, see `parts.orient.candidate_rotations`. The reason of a
    restriction stays with the rule.
    """
    turns = candidate_rotations(mesh, rule, seed)
    if rule.freedom is not Freedom.FREE:
        return turns
    frame = smallest_box(mesh)
    size, plain = (np.ptp(mesh.vertices[mesh.faces.reshape(-1)] @ r.T, axis=0) for r in (frame, np.eye(3)))
    if size.prod() > (1.0 - BOX_GAIN.value) * plain.prod():
        return turns
    return np.concatenate([turns, axis_rotations() @ frame])


def smallest_box(mesh: Mesh) -> FloatArray:
    """The rotation (3, 3) that brings a smallest enclosing box onto the axes.

    Tried are boxes with one side on a face of the convex hull and one along an edge of the outline seen from that
    face; the true smallest box has two adjacent sides on edges of the hull (O'Rourke 1985) and may be a little
    smaller. A flat mesh keeps its position.
    """
    points = np.unique(mesh.vertices[mesh.faces.reshape(-1)], axis=0)
    try:
        hull = ConvexHull(points)
    except QhullError:
        return np.eye(3)
    corners = points[hull.vertices]
    best, best_turn = float(np.ptp(corners, axis=0).prod()), np.eye(3)
    for normal in _largest_sides(points, hull):
        flat = _onto_z(normal)
        seen = corners @ flat.T
        height = float(np.ptp(seen[:, 2]))
        area, turn = _smallest_rectangle(seen[:, :2])
        if area * height < best * (1.0 - 1e-9):
            best, best_turn = area * height, turn @ flat
    return best_turn


def _largest_sides(points: FloatArray, hull: ConvexHull) -> FloatArray:
    """Outward normals of the largest flat sides of a hull, (k, 3); opposite ones once."""
    normal = hull.equations[:, :3].copy()
    normal *= np.where(normal[np.arange(len(normal)), np.abs(normal).argmax(axis=1)] < 0, -1.0, 1.0)[:, None]
    a, b, c = (points[hull.simplices[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    _, which = np.unique(np.round(normal, 4), axis=0, return_inverse=True)
    total = np.bincount(which.reshape(-1), area)
    first = np.array([normal[np.argmax(which.reshape(-1) == k)] for k in np.argsort(-total, kind="stable")])
    return first[: int(BOX_SIDES.value)]


def _onto_z(direction: FloatArray) -> FloatArray:
    """A rotation that brings a unit vector to +Z."""
    side = np.eye(3)[int(np.abs(direction).argmin())]
    x = np.cross(side, direction)
    x /= np.linalg.norm(x)
    return np.array([x, np.cross(direction, x), direction])


def _smallest_rectangle(points: FloatArray) -> tuple[float, FloatArray]:
    """Area of the smallest rectangle around points (n, 2), and the turn about z that brings it onto the axes."""
    outline = points[ConvexHull(points).vertices]
    edges = np.roll(outline, -1, axis=0) - outline
    length = np.linalg.norm(edges, axis=1)
    c, s = edges[:, 0] / length, edges[:, 1] / length
    wide = np.ptp(np.outer(c, outline[:, 0]) + np.outer(s, outline[:, 1]), axis=1)
    deep = np.ptp(np.outer(c, outline[:, 1]) - np.outer(s, outline[:, 0]), axis=1)
    k = int(np.argmin(wide * deep))
    return float(wide[k] * deep[k]), np.array([[c[k], s[k], 0.0], [-s[k], c[k], 0.0], [0.0, 0.0, 1.0]])
