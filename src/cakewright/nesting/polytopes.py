"""Solids as a few convex pieces, and which shifts of one solid against another make them share space.

Two convex pieces A and B, B moved by r against A, share space exactly when r lies inside the polytope
A + (-B) (Minkowski sum). Its face normals are those of A, the turned-about ones of B, and the cross
products of edges whose normal arcs cross on the sphere; each face lies at the sum of the two support
distances. All of that is computed here, without rounding to cells.
"""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np
from scipy.spatial import ConvexHull, QhullError

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.voxels import is_closed
from cakewright.parts.repair import repair
from cakewright.sources.nesting_exact import CONVEX_SHARE, FLAT_ANGLE, MOST_CUT_PLANES, MOST_PIECES

_AXES = 3


@dataclass(frozen=True, eq=False)
class Convex:
    """A convex piece: `corners` (v, 3); `normals` (f, 3) of its faces; `edges` (e, 9): direction, two normals."""

    corners: FloatArray
    normals: FloatArray
    edges: FloatArray

    def turned(self, rotation: FloatArray) -> Convex:
        """The piece after a rotation (3, 3)."""
        back = rotation.T
        edges = self.edges.reshape(-1, 3, 3) @ back
        return Convex(
            np.ascontiguousarray(self.corners @ back),
            np.ascontiguousarray(self.normals @ back),
            np.ascontiguousarray(edges.reshape(-1, 9)),
        )


def convex_of(points: FloatArray) -> Convex | None:
    """The convex hull of points (n, 3); None when they span no volume."""
    try:
        hull = ConvexHull(points)
    except (QhullError, ValueError):
        return None
    normals = hull.equations[:, :3]
    distinct: list[FloatArray] = []
    for n in normals:
        if not any(float(n @ m) > 1 - FLAT_ANGLE.value for m in distinct):
            distinct.append(n)
    edges = []
    for s, simplex in enumerate(hull.simplices):
        for corner, t in enumerate(hull.neighbors[s]):
            if t < s or float(normals[s] @ normals[t]) > 1 - FLAT_ANGLE.value:
                continue
            a, b = np.delete(simplex, corner)
            edges.append(np.concatenate([points[b] - points[a], normals[s], normals[t]]))
    return Convex(
        np.ascontiguousarray(points[hull.vertices]), np.array(distinct), np.array(edges, np.float64).reshape(-1, 9)
    )


def solid_of(mesh: Mesh) -> manifold3d.Manifold | None:
    """The solid a mesh encloses, after the repairs of the intake if it has gaps; None when it encloses none."""
    if not is_closed(mesh):
        mesh = repair(mesh).mesh
        if not is_closed(mesh):
            return None
    points, same = np.unique(mesh.vertices, axis=0, return_inverse=True)
    f = same.reshape(-1)[mesh.faces]
    good = (f[:, 0] != f[:, 1]) & (f[:, 1] != f[:, 2]) & (f[:, 2] != f[:, 0])
    solid = manifold3d.Manifold(manifold3d.Mesh64(points, f[good].astype(np.uint64)))
    if solid.status() != manifold3d.Error.NoError or solid.is_empty() or solid.volume() <= 0:
        return None
    return solid


def _arrays(solid: manifold3d.Manifold) -> tuple[FloatArray, FloatArray]:
    """Points (n, 3) and triangles (m, 3, 3) of a solid."""
    mesh = solid.to_mesh64()
    points = np.asarray(mesh.vert_properties, np.float64)[:, :3]
    return points, points[np.asarray(mesh.tri_verts, np.int64)]


def _notches(solid: manifold3d.Manifold) -> FloatArray:
    """Planes (k, 4) of the faces that meet in an edge where the solid is hollow, each plane once."""
    mesh = solid.to_mesh64()
    points = np.asarray(mesh.vert_properties, np.float64)[:, :3]
    faces = np.asarray(mesh.tri_verts, np.int64)
    t = points[faces]
    n = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    length = np.linalg.norm(n, axis=1)
    n = n / np.maximum(length, 1e-300)[:, None]
    owner = {(int(f[k]), int(f[(k + 1) % 3])): (i, int(f[(k + 2) % 3])) for i, f in enumerate(faces) for k in range(3)}
    size = float(np.ptp(points, axis=0).max())
    found: dict[tuple[float, ...], FloatArray] = {}
    for (a, b), (i, _) in owner.items():
        j, across = owner.get((b, a), (-1, -1))
        if j < 0 or length[i] < 1e-9 * size**2 or length[j] < 1e-9 * size**2:
            continue
        if float(n[i] @ (points[across] - points[a])) > 1e-7 * size:
            plane = np.append(n[i], n[i] @ points[a])
            found[tuple(np.round(plane, 6))] = plane
    return np.array([found[k] for k in sorted(found)]).reshape(-1, 4)


def _is_convex(solid: manifold3d.Manifold) -> bool:
    full = solid.hull().volume()
    return bool(full - solid.volume() <= CONVEX_SHARE.value * full)


def _cut(solid: manifold3d.Manifold) -> list[manifold3d.Manifold] | None:
    """Cut along the plane that leaves the fewest hollow edges; None when no plane helps or there are too many."""
    planes = _notches(solid)
    if not 0 < len(planes) <= MOST_CUT_PLANES.value:
        return None
    best: list[manifold3d.Manifold] | None = None
    least = np.inf
    for plane in planes:
        halves = [h for h in solid.split_by_plane(tuple(plane[:3]), float(plane[3])) if not h.is_empty()]
        if len(halves) < 2:
            continue
        parts = [p for h in halves for p in h.decompose() if p.volume() > 1e-9 * solid.volume()]
        left = sum(len(_notches(p)) for p in parts) + 0.1 * len(parts)
        if left < least:
            best, least = parts, left
    return best


def _merged(parts: list[manifold3d.Manifold]) -> list[manifold3d.Manifold]:
    """Join pieces whose common hull is no larger than the two."""
    parts = list(parts)
    again = True
    while again:
        again = False
        for i in range(len(parts)):
            for j in range(i + 1, len(parts)):
                both = manifold3d.Manifold.batch_hull([parts[i], parts[j]])
                if both.volume() - parts[i].volume() - parts[j].volume() <= CONVEX_SHARE.value * both.volume():
                    parts[i] = both
                    del parts[j]
                    again = True
                    break
            if again:
                break
    return parts


def convex_pieces(mesh: Mesh) -> tuple[Convex, ...] | None:
    """The solid of a mesh cut into convex pieces that together are the solid exactly.

    Cuts along the planes of faces that meet in a hollow edge until every piece is convex. None when the
    mesh encloses no solid (even after repair) or would fall into more than `MOST_PIECES`.
    """
    solid = solid_of(mesh)
    if solid is None:
        return None
    waiting = list(solid.decompose())
    done: list[manifold3d.Manifold] = []
    while waiting:
        part = waiting.pop()
        if _is_convex(part):
            done.append(part)
        else:
            cut = _cut(part)
            if cut is None:
                return None
            waiting += cut
        if len(done) + len(waiting) > 2 * MOST_PIECES.value:
            return None
    pieces = [convex_of(_arrays(part)[0]) for part in _merged(done)]
    solid_pieces = tuple(p for p in pieces if p is not None)
    return solid_pieces if 0 < len(solid_pieces) <= MOST_PIECES.value else None


@kernel
def _dot(a: FloatArray, b: FloatArray) -> float:
    return float(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


@kernel
def _add(planes: FloatArray, count: int, n: FloatArray, a: FloatArray, b: FloatArray, same: float) -> int:
    """Add the plane with normal `n` unless it is known; its distance is the sum of the support distances."""
    for k in range(count):
        if planes[k, 0] * n[0] + planes[k, 1] * n[1] + planes[k, 2] * n[2] > 1 - same:
            return count
    high, low = -1e300, 1e300
    for v in range(len(a)):
        high = max(high, _dot(a[v], n))
    for v in range(len(b)):
        low = min(low, _dot(b[v], n))
    planes[count, 0], planes[count, 1], planes[count, 2], planes[count, 3] = n[0], n[1], n[2], high - low
    return count + 1


@kernel
def _planes(
    a: FloatArray, na: FloatArray, ea: FloatArray, b: FloatArray, nb: FloatArray, eb: FloatArray, same: float
) -> FloatArray:
    planes = np.empty((len(na) + len(nb) + len(ea) * len(eb), 4))
    count = 0
    for k in range(len(na)):
        count = _add(planes, count, na[k], a, b, same)
    for k in range(len(nb)):
        count = _add(planes, count, -nb[k], a, b, same)
    for i in range(len(ea)):
        a1, a2 = ea[i, 3:6], ea[i, 6:9]
        across_a = np.cross(a1, a2)
        for j in range(len(eb)):
            b1, b2 = -eb[j, 3:6], -eb[j, 6:9]
            p, q = _dot(b1, across_a), _dot(b2, across_a)
            if p * q > 1e-12:
                continue
            across_b = np.cross(b1, b2)
            u, v = _dot(a1, across_b), _dot(a2, across_b)
            if u * v > 1e-12:
                continue
            n = np.cross(ea[i, :3], eb[j, :3])
            length = np.sqrt(_dot(n, n))
            if length < 1e-9 * np.sqrt(_dot(ea[i, :3], ea[i, :3]) * _dot(eb[j, :3], eb[j, :3])):
                continue
            n = n / length
            if _dot(n, a1 + a2) < 0:
                n = -n
            if _dot(n, b1 + b2) >= -1e-9:
                count = _add(planes, count, n, a, b, same)
    return planes[:count].copy()


def overlap_planes(a: Convex, b: Convex) -> FloatArray:
    """(k, 4): shift r of `b` against `a` makes them share space exactly when planes[:, :3] @ r < planes[:, 3].

    At any other shift one of the planes tells how far they are apart along its normal (0 when they touch).
    """
    return _planes(a.corners, a.normals, a.edges, b.corners, b.normals, b.edges, FLAT_ANGLE.value)
