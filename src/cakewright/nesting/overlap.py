"""Do two solids share space, when touching is allowed? Used by the check at zero clearance only."""

from __future__ import annotations

import manifold3d
import numpy as np

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray
from cakewright.nesting.trees import winding


def _solid(vertices: FloatArray, faces: IntArray) -> manifold3d.Manifold:
    points, same = np.unique(vertices, axis=0, return_inverse=True)
    joined = same.reshape(-1)[faces]
    good = (joined[:, 0] != joined[:, 1]) & (joined[:, 1] != joined[:, 2]) & (joined[:, 2] != joined[:, 0])
    return manifold3d.Manifold(manifold3d.Mesh64(points, joined[good].astype(np.uint64)))


@kernel
def _probes_inside(
    vertices: FloatArray,
    faces: IntArray,
    other: FloatArray,
    other_faces: IntArray,
    low: FloatArray,
    high: FloatArray,
    depth: float,
) -> bool:
    """True when a point just under the skin of one mesh lies in the solid of the other.

    Four points a triangle, `depth` mm below the surface; a sample, not a proof.
    """
    weights = np.array([[1 / 3, 1 / 3, 1 / 3], [0.6, 0.2, 0.2], [0.2, 0.6, 0.2], [0.2, 0.2, 0.6]])
    for t in range(len(faces)):
        a, b, c = vertices[faces[t, 0]], vertices[faces[t, 1]], vertices[faces[t, 2]]
        n = np.cross(b - a, c - a)
        length = np.sqrt(n[0] ** 2 + n[1] ** 2 + n[2] ** 2)
        if length <= 0:
            continue
        for w in range(4):
            p = weights[w, 0] * a + weights[w, 1] * b + weights[w, 2] * c - n * (depth / length)
            if (p < low).any() or (p > high).any():
                continue
            if abs(winding(p, other, other_faces)) > 0.5:
                return True
    return False


def thickness_shared(a: FloatArray, fa: IntArray, b: FloatArray, fb: IntArray, tolerance_mm: float) -> float:
    """Mean thickness in mm of what two solids share; 0 when they only touch.

    Computed by an exact intersection of the solids. A mesh that encloses no solid cannot be
    intersected: then points just under the surfaces are probed, and a hit counts as 2 tolerances.
    """
    first, second = _solid(a, fa), _solid(b, fb)
    ok = manifold3d.Error.NoError
    if first.status() == ok and second.status() == ok and not first.is_empty() and not second.is_empty():
        shared = first ^ second
        area = shared.surface_area()
        return 2 * abs(shared.volume()) / area if area > 0 else 0.0
    depth = 2 * tolerance_mm
    hit = _probes_inside(a, fa, b, fb, b.min(axis=0), b.max(axis=0), depth) or _probes_inside(
        b, fb, a, fa, a.min(axis=0), a.max(axis=0), depth
    )
    return depth if hit else 0.0
