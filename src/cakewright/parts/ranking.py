"""Which way up: a few hundred turns scored by what they cost, the best three with reasons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.part import OrientationRule
from cakewright.parts.fit import hull_points
from cakewright.parts.hollows import hollows_of
from cakewright.parts.measure import triangle_areas, triangle_normals
from cakewright.parts.orient import candidate_rotations, turn_onto
from cakewright.parts.rays import RayScene
from cakewright.sources import parts as limits

SEEN_POCKET = 100.0  # mm²: smaller hollows decide nothing
FLAT_COS = np.cos(np.radians(1.0))  # faces within a degree of level are exposed in one layer


@dataclass(frozen=True, eq=False)
class Scored:
    """One turn and what it costs. `cost` is lower for better; the parts of it are beside, in plain units.

    `pocket_mm2` surface of hollows that open upwards, from which powder has to be tipped.
    `height_mm`; `box_mm3`; `stair_mm` mean height error of steps over the faces that matter; `flat_mm2` largest level
    area; `strength` relative to lying in the layers along the load (1 when no load is given).
    """

    rotation: FloatArray
    cost: float
    height_mm: float
    box_mm3: float
    stair_mm: float
    flat_mm2: float
    strength: float
    reason: str
    pocket_mm2: float = 0.0


def rank_orientations(
    mesh: Mesh,
    rule: OrientationRule,
    *,
    layer_mm: float,
    seed: int,
    tried: int = 300,
    best: int = 3,
    marked: FloatArray | None = None,
    load: FloatArray | None = None,
    evened_mm: float = 0.0,
) -> tuple[Scored, ...]:
    """Score turns within the rule, cheapest first, at most `best` that differ by more than 10 degrees in the vertical.

    `marked` (m,) weights faces whose finish matters (all equal when None); `load` (3,) is the main load direction in
    part coordinates. Stairs: a face at angle a to the vertical shows steps of layer x cos(a), none when level or
    upright; error as the mean of layer x |n_z| over faces that are not level, less `evened_mm` that
    the finish takes off them. Strength across layers is
    `parts.strength_across` of that within them, between them in proportion to sin² of the angle.
    """
    turns = _candidates(mesh, rule, seed, tried)
    normals, areas = triangle_normals(mesh), triangle_areas(mesh)
    weight = areas if marked is None else areas * np.asarray(marked)
    points = hull_points(mesh)
    hollows = hollows_of(mesh, RayScene(mesh), seed)
    rows = [(*_measure(r, points, normals, areas, weight, layer_mm, load), hollows.facing(r[2])) for r in turns]
    table = np.array(rows)
    table[:, 2] = np.maximum(0.0, table[:, 2] - evened_mm)
    spread = table.max(axis=0)
    scaled = table / np.where(spread > 0, spread, 1.0)
    weights = (limits.W_HEIGHT, limits.W_BOX, limits.W_STAIR, limits.W_FLAT, limits.W_STRENGTH, limits.W_POCKET)
    shares = np.array([float(w) for w in weights])
    cost = scaled @ shares
    chosen: list[int] = []
    for k in np.argsort(cost, kind="stable"):
        up = turns[k][2]
        if all(abs(float(up @ turns[j][2])) < np.cos(np.radians(10)) for j in chosen):
            chosen.append(int(k))
        if len(chosen) == best:
            break
    return tuple(_scored(turns[k], float(cost[k]), table[k], np.median(table, axis=0)) for k in chosen)


def _candidates(mesh: Mesh, rule: OrientationRule, seed: int, tried: int) -> FloatArray:
    """Turns to score; for a free part also each of the largest flat faces down."""
    turns = candidate_rotations(mesh, rule, seed, tried)
    if rule.freedom.value != "free":
        return turns
    normals, areas = triangle_normals(mesh), triangle_areas(mesh)
    key, index = np.unique(np.round(normals, 2), axis=0, return_inverse=True)
    total = np.bincount(index.ravel(), weights=areas)
    largest = [key[k] for k in np.argsort(-total)[:20] if np.linalg.norm(key[k]) > 0.5]
    return np.concatenate([turns, [turn_onto(-n / np.linalg.norm(n)) for n in largest]])


def _measure(
    rotation: FloatArray,
    points: FloatArray,
    normals: FloatArray,
    areas: FloatArray,
    weight: FloatArray,
    layer_mm: float,
    load: FloatArray | None,
) -> tuple[float, float, float, float, float]:
    size = np.ptp(points @ rotation.T, axis=0)
    up = np.abs(normals @ rotation[2])
    level = up > FLAT_COS
    total = float(weight.sum())
    stair = layer_mm * float((weight * np.where(level, 0.0, up)).sum()) / total if total > 0 else 0.0
    flat = float(areas[level].sum()) / 2
    weakness = 0.0
    if load is not None:
        along = float(abs(rotation[2] @ load) / np.linalg.norm(load))
        weakness = (1 - float(limits.STRENGTH_ACROSS)) * along**2
    return float(size[2]), float(size.prod()), stair, flat, weakness


def _scored(rotation: FloatArray, cost: float, row: FloatArray, usual: FloatArray) -> Scored:
    height, box, stair, flat, weakness, pocket = (float(v) for v in row)
    said = []
    if height < 0.9 * usual[0]:
        said.append(f"low: {height:.0f} mm, {height / usual[0]:.0%} of the usual turn")
    if box < 0.9 * usual[1]:
        said.append(f"small box: {box / usual[1]:.0%} of the usual one")
    if stair < 0.9 * usual[2]:
        said.append(f"fewer steps on slopes ({stair * 1000:.0f} µm on average)")
    if flat > 1.5 * usual[3] and flat > 100:
        said.append(f"but {flat / 100:.0f} cm² lie in one layer, which may warp")
    if weakness > 0:
        said.append(f"strength along the load {1 - weakness:.0%} of the best")
    if pocket < 0.5 * usual[5] and usual[5] > SEEN_POCKET:
        said.append("hollows open downwards: powder falls out")
    elif pocket > 1.5 * usual[5] and pocket > SEEN_POCKET:
        said.append(f"but {pocket / 100:.0f} cm² of hollows open upwards")
    reason = "; ".join(said) or "nothing stands out: a compromise"
    return Scored(rotation, cost, height, box, stair, flat, 1 - weakness, reason, pocket)
