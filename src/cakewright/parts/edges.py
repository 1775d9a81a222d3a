"""What edges tell: knives that break, and facets coarser than the tolerance."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding, Severity
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.limits import PartLimits
from cakewright.parts.measure import triangle_areas
from cakewright.parts.patches import FLAT_DEG, Edges, Patches, patches_of
from cakewright.sources import printability as numbers

CURVED_DEG = 40.0  # facets of a curve turn by less than this; a chamfer usually by 45
FINER = 4.0  # times: a facet cut into more strips than this is taken for less wide than it is
EQUAL = 1.2  # facets of one curve are about equally wide
ALIKE = 0.5  # facets are of one curve when their turns differ by less than this share


def check_knives(edges: Edges, limits: PartLimits, where: str) -> Iterator[Finding]:
    """Edges between two faces that meet at a smaller angle than the material holds."""
    inner = 180.0 - edges.turn_deg
    sharp = np.flatnonzero((inner < limits["knife_deg"]) & (edges.length_mm > 0))
    total = float(edges.length_mm[sharp].sum())
    if total < float(numbers.KNIFE_LENGTH):
        return
    longest = sharp[np.argmax(edges.length_mm[sharp])]
    x, y, z = (float(v) for v in edges.middle[longest])
    yield Finding(
        "part.knife-edge",
        Severity.WARNING,
        f"{total:.0f} mm of edges are sharper than {limits['knife_deg']:g}° (the longest has {inner[longest]:.0f}°): "
        "they come out ragged and break",
        where,
        "cut the edge off square, at least as thick as the thinnest wall",
        (x, y, z),
        float(inner[sharp].min()),
        limits["knife_deg"],
        "°",
    )


def check_facets(mesh: Mesh, edges: Edges, where: str) -> Iterator[Finding]:
    """Curved faces whose flat triangles lie further from the curve than a share of the tolerance."""
    size = float(mesh.size_mm.max())
    tolerance = max(float(numbers.TOLERANCE_MM), float(numbers.TOLERANCE_SHARE) * size)
    limit = float(numbers.FACET_SHARE) * tolerance
    error = facet_errors(mesh, edges, limit)
    if len(error) == 0 or error.max() <= limit:
        return
    worst = int(np.argmax(error))
    x, y, z = (float(v) for v in edges.middle[worst])
    yield Finding(
        "part.coarse-facets",
        Severity.NOTE,
        f"flat triangles stand {error[worst]:.2f} mm off the curve they replace; {limit:.2f} mm is a quarter of the "
        f"usual tolerance of {tolerance:.1f} mm",
        where,
        f"ask for an export with a chord error of {limit / 2:.2f} mm, unless the corners are meant",
        (x, y, z),
        float(error[worst]),
        limit,
        "mm",
    )


def facet_errors(mesh: Mesh, edges: Edges, above_mm: float = 0.0) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """How far the facets at each edge stand off their curve, (e,) mm; 0 where the edge is no part of a curve.

    Errors up to `above_mm` may be taken too large where a facet was cut into several strips.

    A chord c that turns by the angle b belongs to a circle with the rise c / 2 tan(b / 4). An edge counts as part of
    a curve when the facets on both sides turn on, by about as much, at another edge.
    """
    patches = patches_of(mesh, edges, FLAT_DEG)
    turn = np.abs(edges.turn_deg)
    curved = np.flatnonzero((turn > 2 * FLAT_DEG) & (turn < CURVED_DEG))
    a, b = patches.of[edges.first[curved]], patches.of[edges.second[curved]]
    signed = edges.turn_deg[curved]
    length = edges.length_mm[curved]
    # neighbours of a facet: the distinct pairs of patches, each with its mean turn
    pair = np.minimum(a, b).astype(np.int64) * patches.count + np.maximum(a, b)
    key, index = np.unique(pair, return_inverse=True)
    weight = np.maximum(np.bincount(index, weights=length), 1e-12)
    mean = np.bincount(index, weights=signed * length) / weight
    low, high = key // patches.count, key % patches.count
    both = np.concatenate([low, high])
    times = np.bincount(both, minlength=patches.count)
    usual = np.bincount(both, weights=np.concatenate([mean, mean]), minlength=patches.count) / np.maximum(times, 1)
    goes_on = (times[a] >= 2) & (times[b] >= 2)
    alike = (np.abs(signed - usual[a]) < ALIKE * np.abs(signed)) & (np.abs(signed - usual[b]) < ALIKE * np.abs(signed))
    width = 2 * triangle_areas(mesh) / np.maximum(_longest_at(edges, len(mesh.faces)), 1e-12)
    chord = np.minimum(width[edges.first[curved]], width[edges.second[curved]])
    # facets cut finer are as wide as before: area over the length of the edge between two that are equally wide
    whole = [patches.area_mm2[side] / weight[index.ravel()] for side in (a, b)]
    finer = (patches.triangles[a] > 2) & (patches.triangles[b] > 2) & (whole[0] < EQUAL * whole[1])
    finer &= whole[1] < EQUAL * whole[0]
    wider = np.minimum(np.minimum(whole[0], whole[1]), FINER * chord)
    bend = np.tan(np.radians(turn[curved]) / 4) / 2
    # ... but never wider than they reach across that edge
    doubtful = np.flatnonzero(finer & goes_on & alike & (wider > chord) & (wider * bend > above_mm))
    wider[doubtful] = np.minimum(wider[doubtful], _reach(mesh, edges, curved[doubtful], patches))
    chord = np.where(finer, np.maximum(chord, wider), chord)
    error = np.zeros(len(turn))
    rise = chord * bend
    error[curved] = np.where(goes_on & alike, rise, 0.0)
    return error


def _reach(mesh: Mesh, edges: Edges, which: NDArray[np.intp], patches: Patches) -> FloatArray:
    """How far the narrower of the two faces at each of these edges reaches away from the line of the edge, (k,) mm."""
    order = np.argsort(patches.of, kind="stable")
    starts = np.searchsorted(patches.of[order], np.arange(patches.count + 1))
    out = np.full(len(which), np.inf)
    for row, edge in enumerate(which):
        shared = np.intersect1d(mesh.faces[edges.first[edge]], mesh.faces[edges.second[edge]])
        if len(shared) != 2:  # an edge that is there twice: its ends are not the same points on both sides
            continue
        from_, to = mesh.vertices[shared]
        along = (to - from_) / max(float(np.linalg.norm(to - from_)), 1e-12)
        for side in (edges.first, edges.second):
            patch = patches.of[side[edge]]
            mine = order[starts[patch] : starts[patch + 1]]
            away = mesh.vertices[np.unique(mesh.faces[mine])] - from_
            out[row] = min(out[row], np.linalg.norm(away - np.outer(away @ along, along), axis=1).max())
    return out


def _longest_at(edges: Edges, triangles: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """The longest curved edge of each triangle, (m,) mm: the one along which a facet is long."""
    longest = np.zeros(triangles)
    curved = np.abs(edges.turn_deg) > FLAT_DEG
    for side in (edges.first, edges.second):
        np.maximum.at(longest, side[curved], edges.length_mm[curved])
    return longest
