"""Rays through a part: how thick is it here, how wide is the gap there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh
from numpy.typing import NDArray

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.measure import triangle_areas, triangle_normals

FACING = 0.7  # cosine: walls within 45 degrees of parallel make a gap, the sides of a groove's end do not
LIFT = 1e-5  # of the largest length: how far a ray starts from its own triangle (single precision inside)


@dataclass(frozen=True, eq=False)
class Spots:
    """Points spread over a surface: `at` (n, 3) mm, outward `normal` (n, 3), `triangle` (n,)."""

    at: FloatArray
    normal: FloatArray
    triangle: NDArray[np.intp]


class RayScene:
    """A mesh ready for rays. Inside, coordinates are moved to the middle of the box to keep digits."""

    def __init__(self, mesh: Mesh) -> None:
        self._middle = mesh.box_mm.mean(axis=0)
        self._lift = LIFT * float(mesh.size_mm.max())
        self._scene = rtcore_scene.EmbreeScene()
        TriangleMesh(self._scene, (mesh.triangles - self._middle).astype(np.float32))

    def first_hit(self, start: FloatArray, direction: FloatArray) -> tuple[FloatArray, NDArray[np.intp]]:
        """Distance to the first triangle along each ray, (n,) mm, inf when none; and its number, -1 when none.

        Rays start a little ahead of `start`, so that they do not hit the triangle they leave; the distance is
        counted from `start`.
        """
        origin = (start - self._middle + self._lift * direction).astype(np.float32)
        found = self._scene.run(origin, direction.astype(np.float32), output=1)
        hit = np.asarray(found["primID"], dtype=np.intp)
        distance = np.where(hit >= 0, np.asarray(found["tfar"], dtype=np.float64) + self._lift, np.inf)
        return distance, hit


def spread_spots(mesh: Mesh, count: int, seed: int) -> Spots:
    """`count` points evenly over the surface: one per equal slice of the cumulated area, jittered."""
    area = triangle_areas(mesh)
    edge = np.cumsum(area)
    rng = np.random.default_rng(seed)
    target = (np.arange(count) + rng.random(count)) / count * edge[-1]
    triangle = np.minimum(np.searchsorted(edge, target, side="right"), len(area) - 1)
    u, v = rng.random(count), rng.random(count)
    fold = u + v > 1
    u, v = np.where(fold, 1 - u, u), np.where(fold, 1 - v, v)
    a, b, c = (mesh.vertices[mesh.faces[triangle, k]] for k in range(3))
    at = a + u[:, None] * (b - a) + v[:, None] * (c - a)
    return Spots(np.asarray(at), triangle_normals(mesh)[triangle], triangle)


def wall_by_ray(mesh: Mesh, scene: RayScene, spots: Spots) -> FloatArray:
    """Thickness straight inwards from each spot, (n,) mm; nan where the ray finds no far side (unknown, not thick).

    A far side is a triangle met from inside. On a wedge the ray is longer than the inscribed sphere.
    """
    distance, hit = scene.first_hit(spots.at, -spots.normal)
    normal = triangle_normals(mesh)
    leaves = np.einsum("ij,ij->i", normal[np.maximum(hit, 0)], -spots.normal) > 0
    return np.where((hit >= 0) & leaves, distance, np.nan)


def gap_by_ray(mesh: Mesh, scene: RayScene, spots: Spots) -> FloatArray:
    """Free distance straight outwards from each spot to the same part, (n,) mm; inf where nothing faces it."""
    distance, hit = scene.first_hit(spots.at, spots.normal)
    normal = triangle_normals(mesh)
    faces_us = np.einsum("ij,ij->i", normal[np.maximum(hit, 0)], spots.normal) < -FACING
    return np.where((hit >= 0) & faces_us, distance, np.inf)
