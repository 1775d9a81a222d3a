"""A horizontal cut through a placed build: the outlines of every piece at one height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.errors import InputError
from cakewright.model.build import Build, Placement
from cakewright.model.mesh import FloatArray
from cakewright.model.plan import WeekPlan


@dataclass(frozen=True, eq=False)
class PieceCut:
    """Where a plane meets one piece: `segments` (n, 2, 2) mm, ends of straight pieces of outline (x, y)."""

    piece: str
    line: int
    segments: FloatArray


def cut_build(plan: WeekPlan, build: Build, z_mm: float) -> tuple[PieceCut, ...]:
    """The outlines of all pieces at height `z_mm` above the first part layer.

    Exact on the triangles: each triangle that crosses the plane gives one straight segment. A height that
    meets a vertex exactly is read a ten-millionth of a millimetre higher. InputError when `z_mm` is not finite.
    """
    if not np.isfinite(z_mm):
        raise InputError(f"height {z_mm}", remedy="give a height in mm", where="z_mm")
    cuts = []
    for placed in build.nest.placements:
        if placed.z_min_mm - 1e-6 <= z_mm <= placed.z_max_mm + 1e-6:
            segments = _cut(plan, placed, z_mm)
            if len(segments):
                cuts.append(PieceCut(placed.piece, placed.line, segments))
    return tuple(cuts)


def _cut(plan: WeekPlan, placed: Placement, z_mm: float) -> FloatArray:
    mesh = plan.parts[placed.part_key].mesh
    corners = mesh.vertices @ np.asarray(placed.rotation).T + np.asarray(placed.translation)
    height = corners[:, 2] - (z_mm + 1e-7)  # never exactly zero: no triangle lies in the plane
    above = height[mesh.faces] > 0
    ups = above.sum(axis=1)
    crossing = mesh.faces[(ups == 1) | (ups == 2)]
    if not len(crossing):
        return np.empty((0, 2, 2))
    lone = _lone_corner(height[crossing] > 0)
    rows = np.arange(len(crossing))
    tip, left, right = (crossing[rows, (lone + k) % 3] for k in range(3))
    return np.stack([_meet(corners, height, tip, left), _meet(corners, height, tip, right)], axis=1)


def _lone_corner(above: np.ndarray) -> np.ndarray:
    """Index (0..2) of the corner that is alone on its side of the plane."""
    alone = np.where(above.sum(axis=1, keepdims=True) == 1, above, ~above)
    return np.asarray(alone.argmax(axis=1))


def _meet(corners: FloatArray, height: FloatArray, a: np.ndarray, b: np.ndarray) -> FloatArray:
    share = (height[a] / (height[a] - height[b]))[:, None]
    return np.asarray(corners[a, :2] + share * (corners[b, :2] - corners[a, :2]))
