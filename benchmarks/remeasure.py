"""Flagged places of published parts measured again by another way, and thin walls and gaps sought by dense rays.

Independent of the program: rays by trimesh's own ray engine with all hits of a line, distances to a cloud of points
spread over the surface (scipy), facets and edge angles by trimesh. What no second measure exists for is counted as
"not judged" and not hidden.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh
from benchmarks.signature import loaded
from scipy.spatial import cKDTree

from cakewright.findings import Finding
from cakewright.model.mesh import Mesh
from cakewright.parts.limits import PartLimits

SEED = 5
SLACK = 1.1  # a value is confirmed when the second measure is below limit x 1.1 (or above limit / 1.1)
CLOUD = 400_000
RAYS = 60_000
CLEAR = 0.9  # a wall that should have been flagged is thinner than this share of the limit ...
LEAST_MM2 = 8.0  # ... over twice the area from which the program speaks

Answer = bool | None


class Second:
    """One part ready to be measured again."""

    def __init__(self, mesh: Mesh) -> None:
        self.body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
        self.rays = self.body.ray
        rng = np.random.default_rng(SEED)
        area = self.body.area_faces
        at = rng.choice(len(area), CLOUD, p=area / area.sum())
        u, v = rng.random(CLOUD), rng.random(CLOUD)
        fold = u + v > 1
        u, v = np.where(fold, 1 - u, u), np.where(fold, 1 - v, v)
        a, b, c = (mesh.vertices[mesh.faces[at, k]] for k in range(3))
        self.cloud = a + u[:, None] * (b - a) + v[:, None] * (c - a)
        self.cloud_face = at
        self.tree = cKDTree(self.cloud)
        self.spacing = float(np.sqrt(area.sum() / CLOUD))

    def normal_at(self, place: np.ndarray) -> np.ndarray:
        return np.asarray(self.body.face_normals[self.cloud_face[self.tree.query(place)[1]]])

    def chord(self, place: np.ndarray, way: np.ndarray) -> float:
        """Length of the line from just beside a place along `way` to the first hit, mm; inf when none."""
        start = place + 1e-4 * way
        at, _, _ = self.rays.intersects_location(start[None], way[None], multiple_hits=True)
        far = (at - start) @ way if len(at) else np.empty(0)
        far = far[far > 1e-3]
        return float(far.min()) + 1e-4 if len(far) else np.inf

    def near_chords(self, place: np.ndarray, inside: bool, radius: float = 0.4) -> np.ndarray:
        """Chords from points of the surface round a place, along their own normals."""
        index = self.tree.query_ball_point(place, radius)[:24] or [int(self.tree.query(place)[1])]
        normals = self.body.face_normals[self.cloud_face[index]]
        return np.array([self.chord(p, -n if inside else n) for p, n in zip(self.cloud[index], normals, strict=True)])

    def roundness(self, place: np.ndarray, inside: bool) -> tuple[float, float]:
        """Diameter and share of a ring that stands about a radius away, from the middle of the chord at a place."""
        n = self.normal_at(place)
        way = -n if inside else n
        d = self.chord(place, way)
        if not np.isfinite(d):
            return np.inf, 0.0
        middle = place + way * d / 2
        best = 0.0
        for turn in np.linspace(0, np.pi, 24, endpoint=False):
            side = np.linalg.svd(n[None])[2][1:]
            axis = np.cos(turn) * side[0] + np.sin(turn) * side[1]
            across = np.cross(axis, n)
            ring = [np.cos(t) * n + np.sin(t) * across for t in np.linspace(0, 2 * np.pi, 24, endpoint=False)]
            free = np.array([self.chord(middle, w) for w in ring])
            best = max(best, float((np.abs(free - d / 2) < 0.2 * d / 2 + 0.05).mean()))
        return d, best


# a place may lie on an edge: then some of the faces round it are not meant, so two lines below the limit are asked
def _wall(s: Second, f: Finding, limit: float) -> Answer:
    return bool((s.near_chords(np.array(f.at_mm), True) < limit * SLACK).sum() >= 2)


def _gap(s: Second, f: Finding, limit: float) -> Answer:
    return bool((s.near_chords(np.array(f.at_mm), False) < limit * SLACK).sum() >= 2)


def _round(s: Second, f: Finding, limit: float, inside: bool) -> Answer:
    """Round all about, and narrower than the limit."""
    d, ring = s.roundness(np.array(f.at_mm), inside)
    return bool(ring > 0.6 and d < limit * SLACK)


def _channel(s: Second, f: Finding, limit: float) -> Answer:
    d, ring = s.roundness(np.array(f.at_mm), False)
    return bool(ring > 0.6 and d < 12.5)


def _thick(s: Second, f: Finding, limit: float) -> Answer:
    """Half the thickness is the distance of the place to the cloud."""
    away = float(s.tree.query(np.array(f.at_mm))[0])
    return bool(2 * away > limit / SLACK)


def _knife(s: Second, f: Finding, limit: float) -> Answer:
    edges = s.body.vertices[s.body.face_adjacency_edges].mean(axis=1)
    near = np.linalg.norm(edges - np.array(f.at_mm), axis=1) < 1e-3
    turn = np.degrees(s.body.face_adjacency_angles[near & s.body.face_adjacency_convex])
    return bool(len(turn) and (180 - turn).min() < limit * SLACK)


def _warp(s: Second, f: Finding, limit: float) -> Answer:
    """Area and span of trimesh's facet at the place; thickness by chords from it."""
    centre = np.array([s.body.triangles_center[facet].mean(axis=0) for facet in s.body.facets])
    normal = s.normal_at(np.array(f.at_mm))
    level = np.abs((centre - np.array(f.at_mm)) @ normal) < 0.05
    level &= np.abs(s.body.facets_normal @ normal) > 0.999
    if not level.any():
        return None
    k = int(np.argmax(np.where(level, s.body.facets_area, 0)))
    points = s.body.triangles[s.body.facets[k]].reshape(-1, 3)
    span = float(np.ptp(points @ np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2].T, axis=0).max())
    some = np.random.default_rng(SEED).choice(s.body.facets[k], 60)
    thick = np.array([s.chord(s.body.triangles_center[t], -s.body.face_normals[t]) for t in some])
    thick = thick[np.isfinite(thick)]
    return bool(len(thick) and s.body.facets_area[k] * span / np.median(thick) > limit / SLACK**2)


def _facets(s: Second, f: Finding, limit: float) -> Answer:
    """The edge at the place turns on at a neighbour: the middle of a facet against the circle through three edges."""
    edges = s.body.vertices[s.body.face_adjacency_edges].mean(axis=1)
    k = int(np.argmin(np.linalg.norm(edges - np.array(f.at_mm), axis=1)))
    turn = float(s.body.face_adjacency_angles[k])
    own = s.body.face_adjacency[k]
    ends = s.body.vertices[s.body.face_adjacency_edges[k]]
    line = (ends[1] - ends[0]) / max(np.linalg.norm(ends[1] - ends[0]), 1e-12)
    rises = []
    for t in own:
        facet = next((g for g in s.body.facets if t in g), np.array([t]))
        corners = s.body.triangles[facet].reshape(-1, 3) - ends[0]
        wide = np.linalg.norm(corners - np.outer(corners @ line, line), axis=1).max()
        rises.append(wide / 2 * np.tan(turn / 4))
    return bool(min(rises) > limit / SLACK**2)


JUDGES: dict[str, Callable[[Second, Finding, float], Answer]] = {
    "part.thin-wall": _wall,
    "part.narrow-gap": _gap,
    "part.moving-gap": _gap,
    "part.small-hole": lambda s, f, limit: _round(s, f, limit, False),
    "part.thin-pin": lambda s, f, limit: _round(s, f, limit, True),
    "part.slender": lambda s, f, limit: s.roundness(np.array(f.at_mm), True)[1] > 0.6,
    "part.hard-to-clean": _channel,
    "part.thick-section": _thick,
    "part.knife-edge": _knife,
    "part.may-warp": _warp,
    "part.coarse-facets": _facets,
}


def thin_regions(s: Second, limit: float, *, inside: bool) -> list[tuple[np.ndarray, float]]:
    """Places where dense rays find parallel faces clearly nearer than the limit, with the area in mm²."""
    index = np.random.default_rng(SEED + 1).choice(CLOUD, RAYS, replace=False)
    normals = s.body.face_normals[s.cloud_face[index]]
    way = -normals if inside else normals
    start = s.cloud[index] + 1e-4 * way
    hit, ray, triangle = s.rays.intersects_location(start, way, multiple_hits=False)
    far = np.full(RAYS, np.inf)
    far[ray] = np.einsum("ij,ij->i", hit - start[ray], way[ray])
    opposed = np.zeros(RAYS, dtype=bool)
    opposed[ray] = np.einsum("ij,ij->i", s.body.face_normals[triangle], normals[ray]) < -0.98
    thin = np.flatnonzero(opposed & (far < CLEAR * limit) & (far > 0.02))
    if len(thin) == 0:
        return []
    each = float(s.body.area) / RAYS
    tree = cKDTree(s.cloud[index[thin]])
    pairs = tree.query_pairs(max(4 * np.sqrt(each), limit), output_type="ndarray")
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(thin), len(thin)))
    count, label = connected_components(links, directed=False)
    found = []
    for n in range(count):
        mine = thin[label == n]
        if len(mine) * each >= LEAST_MM2:
            found.append((s.cloud[index[mine]].mean(axis=0), len(mine) * each))
    return found


ALSO = {  # what else may rightly be said of a place that is thin or narrow
    "wall": {"part.thin-wall", "part.thin-pin", "part.fine-lettering", "part.knife-edge", "mesh.partly-inside-out"},
    "gap": {"part.narrow-gap", "part.moving-gap", "part.small-hole", "part.fine-lettering", "mesh.partly-inside-out"},
}


def measure_again(
    folder: Path, limits: PartLimits, judged: Callable[[Mesh, str], tuple[Finding, ...]], only: set[str]
) -> None:
    start = time.process_time()
    table: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    sought = {"wall": [0, 0], "gap": [0, 0]}
    said = []
    meshes = {name: mesh for name, mesh in loaded(folder).items() if not only or name in only}
    for name, mesh in meshes.items():
        found = [f for f in judged(mesh, name) if f.code.startswith("part.")]
        second = Second(mesh)
        for f in found:
            if f.at_mm is None or f.code not in JUDGES or f.limit is None:
                if f.code not in ("part.several-bodies", "part.cleaning-time", "part.wall-unknown", "part.too-large"):
                    table[f.code][2] += 1
                    said.append(f"  not judged: {name}: {f.message}")
                continue
            answer = JUDGES[f.code](second, f, f.limit)
            table[f.code][0 if answer else 2 if answer is None else 1] += 1
            if not answer:
                at = ", ".join(f"{v:.2f}" for v in f.at_mm)
                said.append(f"  not confirmed: {name} at {at}: {f.code} {f.message}")
        for kind, limit, inside in (("wall", limits["wall_mm"], True), ("gap", limits["slot_mm"], False)):
            places = thin_regions(second, limit, inside=inside) if second.body.is_watertight else []
            flagged = any(f.code in ALSO[kind] for f in found)
            sought[kind][0] += bool(places)
            sought[kind][1] += bool(places) and not flagged
            if places and not flagged:
                where, area = max(places, key=lambda p: p[1])
                said.append(f"  missed: {name}: thin {kind} over {area:.0f} mm² near {np.round(where, 1)}")
    print(f"\n{len(meshes)} published parts, seed {SEED}: flagged places measured again\n")
    print(f"{'finding':26}{'confirmed':>11}{'not':>6}{'':>8}{'not judged':>12}")
    for code in sorted(table):
        yes, no, unknown = table[code]
        share = f"{no / (yes + no):8.1%}" if yes + no else f"{'':8}"
        print(f"{code:26}{yes:11}{no:6}{share}{unknown:12}")
    for kind, (there, missed) in sought.items():
        print(f"parts with a clearly thin {kind} by {RAYS} rays: {there}, of these not flagged: {missed}")
    print("\n".join(["", *said]))
    print(f"\n{time.process_time() - start:.0f} s of processor time")
