"""The turns worth trying for a part: those its rule allows, and for free parts some that follow from its shape.

A part drawn askew fills less of a box along the axes than of a box turned with it. For such a part the 24 turns
that bring its smallest box onto the axes are tried as well, and the positions in which it would lie by itself on a
table, if they are others. What a restriction forbids is never tried.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.parts.orient import about_z, axis_rotations, candidate_rotations
from cakewright.sources.nesting import BOX_GAIN, BOX_SIDES, SAME_POSE, STABLE_POSES


def orientations_for(mesh: Mesh, rule: OrientationRule, seed: int, *, sampled: int = 0) -> FloatArray:
    """Rotations to nest a part in, (k, 3, 3), the identity first for free parts.

    Free parts: the 24 axis turns; the 24 turns of the smallest box where that is smaller by at least
    `nesting.box_gain`; the likeliest stable positions that are no such turn, four ways round; and `sampled` turns
    spread evenly over all there are. All others: what the rule allows, see `parts.orient.candidate_rotations`. The
    reason of a restriction stays with the rule.
    """
    turns = candidate_rotations(mesh, rule, seed)
    if rule.freedom is not Freedom.FREE:
        return turns
    frame = smallest_box(mesh)
    size, plain = (np.ptp(mesh.vertices[mesh.faces.reshape(-1)] @ r.T, axis=0) for r in (frame, np.eye(3)))
    if size.prod() <= (1.0 - BOX_GAIN.value) * plain.prod():
        turns = np.concatenate([turns, axis_rotations() @ frame])
    for pose in stable_poses(mesh):
        if (turns[:, 2] @ pose[2]).max() < SAME_POSE.value:  # no turn so far has this side down
            turns = np.concatenate([turns, about_z(4) @ pose])
    return np.concatenate([turns, spread_rotations(sampled)]) if sampled else turns


def stable_poses(mesh: Mesh) -> FloatArray:
    """Rotations (k, 3, 3) in which a solid part lies still on a table, the likeliest first, at most
    `nesting.stable_poses`.

    It lies still on a side of its convex hull when its centre of mass is above that side. The chance of ending there
    is taken as the share of directions, seen from the centre of mass, that meet the side (a part dropped without
    bouncing comes to rest on it or rolls on; rolling is left out). Each is turned about the vertical so that its
    outline fits the smallest rectangle. A flat mesh has none.
    """
    points = np.unique(mesh.vertices[mesh.faces.reshape(-1)], axis=0)
    try:
        hull = ConvexHull(points)
    except QhullError:
        return np.zeros((0, 3, 3))
    centre = _centre_of_mass(mesh)
    a, b, c = (points[hull.simplices[:, k]] - centre for k in range(3))
    _, side = np.unique(np.round(hull.equations, 3), axis=0, return_inverse=True)
    share = np.bincount(side.reshape(-1), _solid_angles(a, b, c)) / (4 * np.pi)
    found: list[FloatArray] = []
    for k in np.argsort(-share, kind="stable"):
        if len(found) >= int(STABLE_POSES.value):
            break
        facets = np.flatnonzero(side.reshape(-1) == k)
        normal = hull.equations[facets[0], :3]
        rim = points[np.unique(hull.simplices[facets])]
        flat = _onto_z(-normal)
        if _is_over(rim @ flat.T, centre @ flat.T):
            found.append(_smallest_rectangle((points[hull.vertices] @ flat.T)[:, :2])[1] @ flat)
    return np.array(found).reshape(-1, 3, 3)


def _centre_of_mass(mesh: Mesh) -> FloatArray:
    """Of the solid; of the box where the mesh encloses nothing."""
    middle = mesh.box_mm.mean(axis=0)
    t = mesh.triangles - middle
    six = np.einsum("ij,ij->i", t[:, 0], np.cross(t[:, 1], t[:, 2]))
    if abs(six.sum()) < 1e-9:
        return np.asarray(middle)
    inside = middle + (t.sum(axis=1) * six[:, None]).sum(axis=0) / (4 * six.sum())
    return np.asarray(np.clip(inside, *mesh.box_mm))


def _solid_angles(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Solid angle of triangles (k, 3) seen from the origin (van Oosterom and Strackee 1983)."""
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    top = np.abs(np.einsum("ij,ij->i", a, np.cross(b, c)))
    bottom = la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
    return np.asarray(2 * np.arctan2(top, bottom))


def _is_over(rim: FloatArray, centre: FloatArray) -> bool:
    """True when the point is above the inside of the rim's outline, seen from above."""
    outline = rim[ConvexHull(rim[:, :2]).vertices, :2]
    edges = np.roll(outline, -1, axis=0) - outline
    off = centre[:2] - outline
    return bool((edges[:, 0] * off[:, 1] - edges[:, 1] * off[:, 0] > 0).all())


def spread_rotations(count: int) -> FloatArray:
    """Rotations (count, 3, 3) spread evenly over all rotations, always the same.

    Points of the additive recurrence with the root of x^4 = x + 1 in the unit cube, brought to quaternions as
    Shoemake (Graphics Gems III, 1992) brings three random numbers.
    """
    root = 1.2207440846057596
    u, v, w = ((np.arange(1, count + 1) * root**-k) % 1.0 for k in (1, 2, 3))
    p, q = np.sqrt(1 - u), np.sqrt(u)
    x, y = p * np.sin(2 * np.pi * v), p * np.cos(2 * np.pi * v)
    z, s = q * np.sin(2 * np.pi * w), q * np.cos(2 * np.pi * w)
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - s * z), 2 * (x * z + s * y)],
        [2 * (x * y + s * z), 1 - 2 * (x * x + z * z), 2 * (y * z - s * x)],
        [2 * (x * z - s * y), 2 * (y * z + s * x), 1 - 2 * (x * x + y * y)],
    ]
    return np.moveaxis(np.array(rows), -1, 0).copy()


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
