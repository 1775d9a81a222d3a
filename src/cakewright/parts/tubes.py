"""Round things found by their balls: holes and channels outside, pins inside; how deep, how bent, how open."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.probe import Probe, clusters
from cakewright.parts.rays import RayScene
from cakewright.sources import printability as numbers

FEWEST = 6  # points in which a tube shows
ROUND = 0.35  # second against third spread of the normals: 1 for a full circle, 0 for two parallel walls
SKIN = (0.5, 1.8)  # surface found against that of a full tube of this width and length
SLICES, SPOKES = 9, 12  # looks all round from so many middles
STRAIGHT = 0.12  # first against second spread of the normals of a straight tube
MOST_IN_WAY = 300  # middles followed along a bent tube
SHORTEST_LEG = 1.5  # diameters between two bends
WIDEST_CORNER = 1.16  # of the inscribed radius: the corners of a hexagon
SIMILAR = 1.6  # neighbours of one tube differ by less in diameter
Place = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Tube:
    """A hole or channel (free space) or a pin (material): `length_mm` along its way, `open_ends` 0 to 2.

    For a pin an open end is a free end. `bends` counts corners of the way; `at_mm` lies on its surface.
    """

    kind: Literal["hole", "pin"]
    diameter_mm: float
    length_mm: float
    open_ends: int
    bends: int
    at_mm: Place
    area_mm2: float
    spots: tuple[int, ...]

    @property
    def ratio(self) -> float:
        """Length over diameter."""
        return self.length_mm / self.diameter_mm

    @property
    def is_seen_through(self) -> bool:
        """True when a straight tool reaches all of it."""
        return self.bends == 0 and self.open_ends > 0


def tubes_of(mesh: Mesh, scene: RayScene, probe: Probe, kind: Literal["hole", "pin"]) -> tuple[Tube, ...]:
    """Round holes and channels, or pins, up to `printability.largest_feature` across, narrowest first."""
    inside = kind == "pin"
    size = probe.wall_ball if inside else probe.gap_ball
    touched = probe.wall_at if inside else probe.gap_at
    index = np.flatnonzero((touched >= 0) & (size < float(numbers.LARGEST_FEATURE)))
    centres = probe.centres(inside=inside)
    found = []
    for group in _alike(centres[index], size[index]):
        tube = _tube(mesh, scene, probe, index[group], kind)
        if tube is not None:
            found.append(tube)
    return tuple(sorted(found, key=lambda t: t.diameter_mm))


def _alike(centres: FloatArray, size: FloatArray) -> list[NDArray[np.intp]]:
    """Groups of balls that follow each other and are of about one size: classes of size first, then nearness."""
    if len(size) < FEWEST:
        return []
    # nearness in space and in the logarithm of size at once
    stretch = np.column_stack([centres, np.log(size) / np.log(SIMILAR) * size])
    return [g for g in clusters(stretch, 0.8 * size) if len(g) >= FEWEST]


def _tube(
    mesh: Mesh, scene: RayScene, probe: Probe, group: NDArray[np.intp], kind: Literal["hole", "pin"]
) -> Tube | None:
    inside = kind == "pin"
    normals, share = probe.spots.normal[group], probe.share_mm2[group]
    spread, axes = np.linalg.eigh((normals * share[:, None]).T @ normals / share.sum())
    mean = np.linalg.norm((normals * share[:, None]).sum(axis=0)) / share.sum()
    if spread[1] < ROUND * spread[2] or mean > 0.4:
        return None  # two walls, or a rounding that does not go all round
    size = probe.wall_ball[group] if inside else probe.gap_ball[group]
    diameter = float(np.median(size))
    centres = probe.centres(inside=inside)[group]
    if spread[0] < STRAIGHT * spread[1]:
        off = centres - centres.mean(axis=0)
        away = np.linalg.norm(off - np.outer(off @ axes[:, 0], axes[:, 0]), axis=1)
        if np.median(away) > 0.5 * diameter:
            return None  # four walls of a frame look all ways too, but do not share a middle line
        if not _is_round_about(scene, centres, axes[:, 0], diameter):
            return None
        length, drawn, bends = *_straight(mesh, scene, probe, group, axes[:, 0], centres, diameter), 0
        ends = _open_ends(scene, centres.mean(axis=0), axes[:, 0], length, diameter, inside)
        span = length[1] - length[0]
        diameter = drawn
    else:
        way = _longest_way(centres, diameter)
        if way is None:
            return None
        span, bends, ends = _winding(scene, way, diameter, inside)
        if span < SHORTEST_LEG * diameter * (bends + 1):
            return None  # a zigzag shorter than the tube is wide: no channel, but corners of something else
    skin = float(share.sum()) / (np.pi * diameter * span)
    if not SKIN[0] < skin < SKIN[1]:
        return None  # a lattice, or parts of several things
    x, y, z = (float(v) for v in probe.spots.at[group[np.argsort(size)[len(size) // 2]]])
    return Tube(kind, diameter, float(span), ends, bends, (x, y, z), float(share.sum()), tuple(int(g) for g in group))


def _is_round_about(scene: RayScene, centres: FloatArray, axis: FloatArray, diameter: float) -> bool:
    """True when the surface stands about a radius away all round the middle line: not a lattice, not a groove."""
    some = centres[np.linspace(0, len(centres) - 1, min(SLICES, len(centres))).astype(int)]
    across = np.linalg.svd(np.eye(3) - np.outer(axis, axis))[0][:, :2]
    turns = np.linspace(0, 2 * np.pi, SPOKES, endpoint=False)
    ways = np.column_stack([np.cos(turns), np.sin(turns)]) @ across.T
    distance = scene.first_hit(np.repeat(some, SPOKES, axis=0), np.tile(ways, (len(some), 1)))[0]
    return bool((distance < 0.8 * diameter).mean() > 0.85)


def _straight(
    mesh: Mesh,
    scene: RayScene,
    probe: Probe,
    group: NDArray[np.intp],
    axis: FloatArray,
    centres: FloatArray,
    diameter: float,
) -> tuple[tuple[float, float], float]:
    """From where to where along the axis, from the mean centre, and the diameter that was drawn.

    Both from the corners of the tube's own triangles: corners lie on the circle that was meant, while the largest
    ball between flat facets is smaller by the cosine of half their angle.
    """
    corners = mesh.triangles[np.unique(probe.spots.triangle[group])].reshape(-1, 3) - centres.mean(axis=0)
    along = corners @ axis
    across = np.linalg.norm(corners - np.outer(along, axis), axis=1)
    own = across < 0.75 * diameter
    if not own.any():
        own = np.ones(len(along), dtype=bool)
    on_circle = across[(across > 0.45 * diameter) & (across < WIDEST_CORNER * diameter / 2)]
    drawn = 2 * float(np.quantile(on_circle, 0.75)) if len(on_circle) else diameter
    return (float(along[own].min()), float(along[own].max())), max(drawn, diameter)


def _open_ends(
    scene: RayScene,
    middle: FloatArray,
    axis: FloatArray,
    length: tuple[float, float],
    diameter: float,
    inside: bool,
) -> int:
    """How many ends lead out: free space further than three diameters for a hole, air at once for a pin."""
    ends = 0
    for sign, reach in ((-1.0, -length[0]), (1.0, length[1])):
        way = sign * axis
        start = middle + way * max(reach - 0.25 * diameter, 0.0)
        distance, _ = scene.first_hit(start[None], way[None])
        if inside:
            ends += int(distance[0] < 0.75 * diameter)
        else:
            ends += int(distance[0] > 3 * diameter)
    return ends


def _winding(scene: RayScene, way: FloatArray, diameter: float, inside: bool) -> tuple[float, int, int]:
    """Length, bends and open ends of a bent tube: the way through its middles, straightened by a radius."""
    kept = _straightened(way, 0.75 * diameter)
    length = float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum())
    ends = 0
    for tip, before in ((way[0], kept[1]), (way[-1], kept[-2])):
        ahead = tip - before
        far = np.linalg.norm(ahead)
        if far > 0:
            distance, _ = scene.first_hit(tip[None], (ahead / far)[None])
            ends += int(distance[0] < diameter if inside else distance[0] > 3 * diameter)
    return length, len(kept) - 2, ends


def _longest_way(centres: FloatArray, diameter: float) -> FloatArray | None:
    """Middles of slices along the way between the two ends that are furthest apart, (k, 3).

    None when the slices are wider than the tube: a sheet, or a place where many ways meet.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import dijkstra
    from scipy.spatial import cKDTree

    centres = centres[:: len(centres) // MOST_IN_WAY + 1]
    pairs = cKDTree(centres).query_pairs(1.2 * diameter, output_type="ndarray")
    if len(pairs) == 0:
        return None
    gap = np.linalg.norm(centres[pairs[:, 0]] - centres[pairs[:, 1]], axis=1) + 1e-9
    graph = coo_matrix((gap, (pairs[:, 0], pairs[:, 1])), shape=(len(centres), len(centres))).tocsr()
    reach = dijkstra(graph, directed=False, indices=0)  # type: ignore[call-overload]  # the stubs want another array
    first = int(np.argmax(np.where(np.isfinite(reach), reach, -1)))
    reach = dijkstra(graph, directed=False, indices=first)  # type: ignore[call-overload]
    far = np.isfinite(reach)
    slices = np.floor(reach[far] / max(0.5 * diameter, 1e-9)).astype(int)
    points = centres[far]
    each = [points[slices == s] for s in np.unique(slices)]
    way = np.array([p.mean(axis=0) for p in each])
    width = np.median(np.concatenate([np.linalg.norm(p - m, axis=1) for p, m in zip(each, way, strict=True)]))
    return way if len(way) >= 3 and width < 0.7 * diameter else None


def _straightened(way: FloatArray, within: float) -> FloatArray:
    """The corners that remain when points nearer than `within` to the line are dropped (Ramer, Douglas, Peucker)."""
    if len(way) < 3:
        return way if len(way) == 2 else np.repeat(way[:1], 2, axis=0)
    line = way[-1] - way[0]
    length = np.linalg.norm(line)
    off = way - way[0]
    away = np.linalg.norm(np.cross(off, line), axis=1) / length if length > 0 else np.linalg.norm(off, axis=1)
    k = int(np.argmax(away))
    if away[k] <= within:
        return way[[0, -1]]
    return np.vstack([_straightened(way[: k + 1], within)[:-1], _straightened(way[k:], within)])
