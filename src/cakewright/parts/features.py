"""Every feature of a sound part against its material: walls, gaps, holes, pins, plates, letters, edges, facets."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cakewright.findings import Finding, Severity
from cakewright.model.mesh import Mesh
from cakewright.parts.balls import BallScene
from cakewright.parts.edges import check_facets, check_knives
from cakewright.parts.free_space import Pocket
from cakewright.parts.limits import PartLimits
from cakewright.parts.openings import check_cleaning, check_holes, check_pins
from cakewright.parts.patches import FLAT_DEG, SMOOTH_DEG, Flat, edges_of, flats_of, patches_of
from cakewright.parts.plates import check_lettering, check_plates, lettering
from cakewright.parts.probe import Probe, probe
from cakewright.parts.rays import RayScene
from cakewright.parts.topology import Topology
from cakewright.parts.tubes import tubes_of
from cakewright.parts.walls import between_bodies, check_gaps, check_thick, check_walls
from cakewright.sources import printability as numbers

SMALLEST_FACE = 0.1  # mm²: what is smaller is no letter


def check_features(
    mesh: Mesh, topology: Topology, limits: PartLimits, pockets: tuple[Pocket, ...], seed: int, where: str
) -> Iterator[Finding]:
    """Findings on a closed, oriented mesh in mm, each with its place."""
    scene, balls = RayScene(mesh), BallScene(mesh)
    edges = edges_of(mesh, topology)
    smooth = patches_of(mesh, edges, SMOOTH_DEG)
    level = patches_of(mesh, edges, FLAT_DEG)
    flats = flats_of(mesh, edges, level, smallest_mm2=SMALLEST_FACE)
    seen = probe(mesh, scene, balls, smooth, int(float(numbers.FEATURE_SPOTS)), seed)
    letters = lettering(flats)
    holes, pins = tubes_of(mesh, scene, seen, "hole"), tubes_of(mesh, scene, seen, "pin")
    patch_of_spot = level.of[seen.spots.triangle]
    is_letter = np.isin(patch_of_spot, [f for group in letters for f in group.faces])
    for group in letters:
        is_letter |= group.holds(seen.spots.at, seen.spots.normal)
    told_as_pin = _marked(seen, [s for p in pins if p.open_ends > 0 for s in p.spots])
    told_as_hole = _marked(seen, [s for h in holes for s in h.spots])
    if not limits.is_known:
        yield Finding(
            "part.limits-of-pa12",
            Severity.NOTE,
            f"the material's name tells no powder family: judged by the limits of {limits.family}",
            where,
            "write PA12, PA11, GF, TPU or PP into the name, or set the limits in the cell file",
        )
    yield from check_walls(seen, limits, is_letter | told_as_pin | between_bodies(mesh, seen, topology), where)
    yield from check_gaps(seen, topology, limits, told_as_hole | is_letter, where)
    yield from check_holes(holes, limits, where)
    yield from check_pins(pins, limits, where)
    yield from check_lettering(letters, limits, where)
    yield from check_knives(edges, limits, where)
    yield from check_plates(flats, _thickness_of(flats, patch_of_spot, seen), limits, where)
    yield from check_thick(seen, balls, limits, where)
    yield from check_cleaning(holes, sum(p.volume_mm3 for p in pockets), where)
    yield from check_facets(mesh, edges, where)


def _marked(seen: Probe, spots: list[int]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    mask = np.zeros(len(seen.share_mm2), dtype=bool)
    mask[spots] = True
    return mask


def _thickness_of(
    flats: tuple[Flat, ...], patch_of_spot: np.ndarray[tuple[int], np.dtype[np.int32]], seen: Probe
) -> dict[int, float]:
    """Median straight-through thickness under the larger flat faces, mm."""
    found = {}
    for flat in flats[:20]:
        walls = seen.wall_ray[patch_of_spot == flat.patch]
        walls = walls[np.isfinite(walls)]
        if len(walls):
            found[flat.patch] = float(np.median(walls))
    return found
