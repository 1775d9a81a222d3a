"""A surface cut into patches: smooth ones up to sharp edges, and flat ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.parts.joins import join, numbered
from cakewright.parts.measure import triangle_areas, triangle_normals
from cakewright.parts.topology import Topology

SMOOTH_DEG = 35.0  # facets of a coarse curve meet at less; the edges of most features at more
FLAT_DEG = 0.6


@dataclass(frozen=True, eq=False)
class Edges:
    """Edges with two triangles, seen from outside.

    `first`, `second` (e,) triangles; `turn_deg` (e,) angle between their normals, above zero where the edge is
    convex, below where it is a groove; `length_mm` (e,); `middle` (e, 3) mm.
    """

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    turn_deg: FloatArray
    length_mm: FloatArray
    middle: FloatArray


@dataclass(frozen=True, eq=False)
class Patches:
    """Number of the patch of each triangle, `of` (m,), and per patch its area mm² and how many triangles it has."""

    of: IntArray
    area_mm2: FloatArray
    triangles: IntArray

    @property
    def count(self) -> int:
        """How many patches there are."""
        return len(self.area_mm2)


def edges_of(mesh: Mesh, topology: Topology) -> Edges:
    """The edges between two triangles, with the angle by which the surface turns there."""
    flat = topology.edge_of.ravel()
    order = np.argsort(flat, kind="stable")
    start = np.searchsorted(flat[order], np.flatnonzero(topology.uses == 2))
    first, second = order[start] // 3, order[start + 1] // 3
    normals = triangle_normals(mesh)
    ends = mesh.vertices[topology.ends[topology.uses == 2]]
    middle = ends.mean(axis=1)
    cosine = np.einsum("ij,ij->i", normals[first], normals[second])
    sine = np.linalg.norm(np.cross(normals[first], normals[second]), axis=1)
    # convex where the neighbour's middle lies below the plane of the first
    below = np.einsum("ij,ij->i", normals[first], mesh.triangles[second].mean(axis=1) - middle)
    turn = np.degrees(np.arctan2(sine, cosine)) * np.where(below > 0, -1.0, 1.0)
    return Edges(first, second, turn, np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), middle)


def patches_of(mesh: Mesh, edges: Edges, within_deg: float) -> Patches:
    """Join triangles over edges that turn by less than `within_deg`."""
    joined = np.abs(edges.turn_deg) < within_deg
    of, count = _join(len(mesh.faces), edges.first[joined], edges.second[joined])
    area = np.bincount(of, weights=triangle_areas(mesh), minlength=count).astype(np.float64)
    return Patches(of, area, np.bincount(of, minlength=count).astype(np.int32))


@kernel
def _join(m: int, first: NDArray[np.intp], second: NDArray[np.intp]) -> tuple[IntArray, int]:
    parent = np.arange(m)
    for k in range(len(first)):
        join(parent, first[k], second[k])
    return numbered(parent)


@dataclass(frozen=True, eq=False)
class Flat:
    """A flat face: its patch, area, outward normal (3,), height over the origin along it, corners (n, 3), outline mm.

    `longest_mm` and `widest_mm` are the sides of the tightest rectangle around it; `outline_mm` the length of its
    rim, holes included. `middle` may lie in a window of the face, `place` lies on the face near it.
    """

    patch: int
    area_mm2: float
    normal: FloatArray
    height_mm: float
    middle: FloatArray
    longest_mm: float
    widest_mm: float
    outline_mm: float
    place: tuple[float, float, float]


def flats_of(mesh: Mesh, edges: Edges, patches: Patches, *, smallest_mm2: float, most: int = 400) -> tuple[Flat, ...]:
    """The largest flat faces of a mesh, largest first; `patches` joined within FLAT_DEG.

    A patch that creeps around a finely cut curve is not flat and left out.
    """
    normals, areas = triangle_normals(mesh), triangle_areas(mesh)
    summed = np.column_stack(
        [np.bincount(patches.of, weights=normals[:, k] * areas, minlength=patches.count) for k in range(3)]
    )
    straight = np.linalg.norm(summed, axis=1) > 0.9995 * patches.area_mm2
    wanted = np.flatnonzero(straight & (patches.area_mm2 >= smallest_mm2))
    wanted = wanted[np.argsort(-patches.area_mm2[wanted])][:most]
    rim = patches.of[edges.first] != patches.of[edges.second]
    outline = np.bincount(patches.of[edges.first[rim]], weights=edges.length_mm[rim], minlength=patches.count)
    outline += np.bincount(patches.of[edges.second[rim]], weights=edges.length_mm[rim], minlength=patches.count)
    order = np.argsort(patches.of, kind="stable")
    starts = np.searchsorted(patches.of[order], np.arange(patches.count + 1))
    return tuple(
        _flat(mesh, int(p), order[starts[p] : starts[p + 1]], summed[p], float(patches.area_mm2[p]), float(outline[p]))
        for p in wanted
    )


def _flat(mesh: Mesh, patch: int, triangles: NDArray[np.intp], summed: FloatArray, area: float, outline: float) -> Flat:
    normal = summed / np.linalg.norm(summed)
    points = mesh.vertices[np.unique(mesh.faces[triangles])]
    centres = mesh.vertices[mesh.faces[triangles]].mean(axis=1)
    middle = centres.mean(axis=0)
    x, y, z = (float(v) for v in centres[np.argmin(np.linalg.norm(centres - middle, axis=1))])
    across = np.linalg.svd(np.eye(3) - np.outer(normal, normal))[0][:, :2]
    inplane = (points - middle) @ across
    angles = np.linspace(0, np.pi, 24, endpoint=False)
    spans = np.ptp(inplane @ np.array([np.cos(angles), np.sin(angles)]), axis=0)
    across_spans = np.roll(spans, 12)
    tightest = int(np.argmin(spans * across_spans))
    sides = sorted((float(spans[tightest]), float(across_spans[tightest])))
    return Flat(patch, area, normal, float(points.mean(axis=0) @ normal), np.asarray(middle), sides[1], sides[0],
                outline, (x, y, z))  # fmt: skip
