"""Hollows and where they open: powder stays in a cup that opens upwards and falls out of one that opens down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.measure import triangle_areas
from cakewright.parts.rays import RayScene, spread_spots

POINTS = 600
WAYS = 64
ENCLOSED = 0.3  # of all directions: who sees less of the outside sits in a hollow; a flat face sees half


@dataclass(frozen=True, eq=False)
class Hollows:
    """Points inside hollows: the surface each stands for, mm², and the mean direction of its free sight, (n, 3)."""

    share_mm2: FloatArray
    opens: FloatArray

    def facing(self, up: FloatArray) -> float:
        """Hollow surface in mm² that opens towards `up`, weighted by how straight."""
        return float((self.share_mm2 * np.maximum(self.opens @ up, 0.0)).sum())


def hollows_of(mesh: Mesh, scene: RayScene, seed: int) -> Hollows:
    """Look around from 600 points of the surface in 64 directions."""
    spots = spread_spots(mesh, POINTS, seed)
    k = np.arange(WAYS) + 0.5
    z, turn = 1 - 2 * k / WAYS, np.pi * (1 + np.sqrt(5)) * k
    ways = np.column_stack([np.sqrt(1 - z * z) * np.cos(turn), np.sqrt(1 - z * z) * np.sin(turn), z])
    start = np.repeat(spots.at + 1e-4 * float(mesh.size_mm.max()) * spots.normal, WAYS, axis=0)
    free = np.isinf(scene.first_hit(start, np.tile(ways, (POINTS, 1)))[0]).reshape(POINTS, WAYS)
    seen = free.mean(axis=1)
    hidden = (seen > 0) & (seen < ENCLOSED)
    mean = free[hidden] @ ways
    length = np.linalg.norm(mean, axis=1, keepdims=True)
    opens = np.divide(mean, length, out=np.zeros_like(mean), where=length > 0)
    return Hollows(np.full(int(hidden.sum()), float(triangle_areas(mesh).sum()) / POINTS), opens)
