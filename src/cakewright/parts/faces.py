"""The faces of a part as a person sees them: smooth up to a sharp edge, numbered by size, found again by a place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.measure import triangle_areas, triangle_normals
from cakewright.parts.patches import Patches, edges_of, patches_of
from cakewright.parts.topology import topology_of

EDGE_DEG = 25.0  # a sharper edge ends a face; facets of a usual curve meet at less
LISTED = 12
Place = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Face:
    """One face: its number in the list (largest first), a place on it, area, and where it looks on average."""

    number: int
    at_mm: Place
    area_mm2: float
    looks: Place


def faces_of(mesh: Mesh, most: int = LISTED) -> tuple[Face, ...]:
    """The largest faces, numbered from 1."""
    patches = _patches(mesh)
    order = np.argsort(-patches.area_mm2, kind="stable")[:most]
    areas, normals, middles = triangle_areas(mesh), triangle_normals(mesh), mesh.triangles.mean(axis=1)
    found = []
    for number, patch in enumerate(order, start=1):
        mine = np.flatnonzero(patches.of == patch)
        centre = np.average(middles[mine], axis=0, weights=np.maximum(areas[mine], 1e-12))
        near = mine[np.argmin(np.linalg.norm(middles[mine] - centre, axis=1))]
        looks = (normals[mine] * areas[mine, None]).sum(axis=0) / max(float(areas[mine].sum()), 1e-12)
        found.append(Face(number, _three(middles[near]), float(patches.area_mm2[patch]), _three(looks)))
    return tuple(found)


def on_faces(mesh: Mesh, places: Sequence[Place]) -> NDArray[np.bool_]:
    """Which triangles (m,) belong to the faces at these places: each face by its nearest triangle."""
    patches = _patches(mesh)
    middles = mesh.triangles.mean(axis=1)
    wanted = [int(patches.of[np.argmin(np.linalg.norm(middles - np.array(p), axis=1))]) for p in places]
    return np.isin(patches.of, wanted)


def _patches(mesh: Mesh) -> Patches:
    return patches_of(mesh, edges_of(mesh, topology_of(mesh)), EDGE_DEG)


def _three(v: FloatArray) -> Place:
    x, y, z = (round(float(c), 4) for c in v)
    return (x, y, z)
