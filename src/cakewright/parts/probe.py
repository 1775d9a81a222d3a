"""Points spread over a part with the ball inside and outside at each: what walls, pins, holes and gaps need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.balls import BallScene
from cakewright.parts.measure import triangle_areas, triangle_normals
from cakewright.parts.patches import Patches
from cakewright.parts.rays import RayScene, Spots, gap_by_ray, wall_by_ray

CELL = 0.35  # of the reach
PARALLEL = 0.9  # cosine
MUCH_LONGER = 4.0  # a ray so much longer than the ball passes a corner: no wall there
SEEN_IN_PATCH = 2000  # patches that get points of their own; the smaller the patch the rarer a limit is met


@dataclass(frozen=True, eq=False)
class Probe:
    """The measured points. `share_mm2` (n,) is the surface each stands for.

    `wall_ray`, `wall_ball` (n,) mm straight through and by the inscribed ball, nan: unknown. `gap_ray`, `gap_ball`
    the same outside, inf and nan where nothing faces. `wall_at`, `gap_at` (n,) triangles the balls touch, -1: none.
    `is_parallel` (n,) where the far side of the wall is parallel within 25 degrees: a wall, not the corner of a wedge.
    """

    spots: Spots
    share_mm2: FloatArray
    wall_ray: FloatArray
    wall_ball: FloatArray
    wall_at: NDArray[np.int64]
    gap_ray: FloatArray
    gap_ball: FloatArray
    gap_at: NDArray[np.int64]
    is_parallel: NDArray[np.bool_]

    @property
    def area_mm2(self) -> float:
        """The surface that all points stand for."""
        return float(self.share_mm2.sum())

    def centres(self, *, inside: bool) -> FloatArray:
        """Middles of the balls, (n, 3) mm; nan where there is none."""
        size = self.wall_ball if inside else self.gap_ball
        way = -1.0 if inside else 1.0
        return np.asarray(self.spots.at + way * self.spots.normal * (size / 2)[:, None])


def probe(mesh: Mesh, scene: RayScene, balls: BallScene, patches: Patches, count: int, seed: int) -> Probe:
    """Measure about `count` points: a third spread by area, a third by triangles, a third by smooth patches.

    Small features have small triangles and patches of their own; spread by area alone they would go unseen.
    """
    spots, share = _spread(mesh, patches, count, seed)
    wall_ray = wall_by_ray(mesh, scene, spots)
    gap_ray = gap_by_ray(mesh, scene, spots)
    wall_ball, wall_at = balls.opposed(spots, wall_ray, inside=True)
    gap_ball, gap_at = balls.opposed(spots, gap_ray, inside=False)
    parallel = _is_parallel(mesh, spots, wall_at) | _is_parallel(
        mesh, spots, scene.first_hit(spots.at, -spots.normal)[1]
    )
    parallel &= (wall_at >= 0) & (wall_ray < MUCH_LONGER * wall_ball)
    return Probe(spots, share, wall_ray, wall_ball, wall_at, gap_ray, gap_ball, gap_at, parallel)


def _is_parallel(mesh: Mesh, spots: Spots, far: NDArray[np.int64] | NDArray[np.intp]) -> NDArray[np.bool_]:
    """True where a triangle on the far side looks the opposite way within 25 degrees."""
    normal = triangle_normals(mesh)[np.maximum(far, 0)]
    return np.asarray((far >= 0) & (np.einsum("ij,ij->i", normal, spots.normal) < -PARALLEL))


def _spread(mesh: Mesh, patches: Patches, count: int, seed: int) -> tuple[Spots, FloatArray]:
    area = triangle_areas(mesh)
    solid = area > 0
    in_patch = area / np.maximum(patches.area_mm2[patches.of], 1e-300)
    if patches.count > SEEN_IN_PATCH:  # the patches that have most triangles
        seen = np.zeros(patches.count, dtype=bool)
        seen[np.argsort(-patches.triangles, kind="stable")[:SEEN_IN_PATCH]] = True
        in_patch = np.where(seen[patches.of], in_patch, 0.0)
    density = area / area.sum() + solid / max(int(solid.sum()), 1) + in_patch / max(float(in_patch.sum()), 1e-300)
    edge = np.cumsum(density / density.sum())
    rng = np.random.default_rng(seed)
    target = (np.arange(count) + rng.random(count)) / count * edge[-1]
    triangle = np.minimum(np.searchsorted(edge, target, side="right"), len(area) - 1)
    u, v = rng.random(count), rng.random(count)
    fold = u + v > 1
    u, v = np.where(fold, 1 - u, u), np.where(fold, 1 - v, v)
    a, b, c = (mesh.vertices[mesh.faces[triangle, k]] for k in range(3))
    at = np.asarray(a + u[:, None] * (b - a) + v[:, None] * (c - a))
    share = area[triangle] / (density[triangle] / density.sum()) / count
    return Spots(at, triangle_normals(mesh)[triangle], triangle), np.asarray(share)


def clusters(at: FloatArray, reach: FloatArray) -> list[NDArray[np.intp]]:
    """Groups of points (n, 3) joined when nearer than the smaller of their `reach` (n,) mm; largest group first."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if len(at) == 0:
        return []
    # crowded points are put into cells first: in a random crowd the few nearest of each do not hang together
    size = 1.5 ** np.floor(np.log(np.maximum(reach, 1e-9)) / np.log(1.5))
    cell = np.column_stack([np.floor(at / (CELL * size)[:, None]), size])
    _, first, of = np.unique(cell, axis=0, return_index=True, return_inverse=True)
    pairs = _near_pairs(at[first], reach[first])
    links = coo_array((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(len(first), len(first)))
    label = connected_components(links, directed=False)[1][of.ravel()]
    order = np.argsort(label, kind="stable")
    cuts = np.flatnonzero(np.diff(label[order])) + 1
    return sorted(np.split(order, cuts), key=len, reverse=True)


def _near_pairs(at: FloatArray, reach: FloatArray) -> NDArray[np.intp]:
    """Pairs within reach; each point is tied to its few nearest only, so that crowds stay cheap."""
    k = min(12, len(at))
    found = cKDTree(at).query(at, k=k)
    distance, index = np.asarray(found[0]).reshape(len(at), k), np.asarray(found[1]).reshape(len(at), k)
    rows = np.repeat(np.arange(len(at)), k)
    near = distance.ravel() <= np.minimum(reach[rows], reach[index.ravel()])
    return np.column_stack([rows[near], index.ravel()[near]])
