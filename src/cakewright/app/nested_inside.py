"""Which pieces of a build stand wholly inside the hull of a piece of another line: a hollow part that hosts others."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from weakref import WeakKeyDictionary

import numpy as np
from scipy.spatial import ConvexHull

from cakewright.app.hulls import hull_of
from cakewright.app.plan_build import envelope_mm3
from cakewright.cost.envelope import net_envelopes
from cakewright.cost.lines import LineShare
from cakewright.model.build import Build, Placement
from cakewright.model.mesh import FloatArray
from cakewright.model.part import Part

TOUCH_MM = 0.01  # a corner on the hull counts as inside
Hosted = tuple[tuple[int, int, float], ...]
_known: WeakKeyDictionary[Build, dict[float, Hosted]] = WeakKeyDictionary()  # a build never changes


def credited(
    build: Build, shares: Sequence[LineShare], parts: Mapping[str, Part], clearance_mm: float
) -> list[LineShare]:
    """The shares with the room that a hollow line gives back to those that stand inside its pieces.

    The outer line pays no longer for room that others fill; it never pays for less than its solid.
    """
    known = _known.setdefault(build, {})
    if clearance_mm not in known:
        known[clearance_mm] = hosted(build, parts, clearance_mm)
    inside = known[clearance_mm]
    if not inside:
        return list(shares)
    net = net_envelopes({s.line: s.envelope_mm3 for s in shares}, {s.line: s.solid_mm3 for s in shares}, inside)
    return [replace(s, envelope_mm3=net[s.line]) for s in shares]


def hosted(build: Build, parts: Mapping[str, Part], clearance_mm: float) -> Hosted:
    """(outer line, inner line, envelope mm³ of the inner pieces) of a build, by line.

    A piece counts as inside when every corner of its convex hull lies in the convex hull of the other; of several
    hosts the smallest is taken. Flat parts without a hull host nobody.
    """
    pieces = [p for p in build.nest.placements if not p.is_cage]
    hulls = {key: hull_of(parts[key].mesh) for key in {p.part_key for p in pieces}}
    room = {key: envelope_mm3(parts[key], clearance_mm) for key in hulls}
    boxes = [_box(p, parts[p.part_key], hulls[p.part_key]) for p in pieces]
    low, high = (np.array([b[i] for b in boxes]).reshape(-1, 3) for i in (0, 1))
    found: defaultdict[tuple[int, int], float] = defaultdict(float)
    for n, inner in enumerate(pieces):
        around = np.flatnonzero((low <= low[n] + TOUCH_MM).all(axis=1) & (high >= high[n] - TOUCH_MM).all(axis=1))
        hosts = [pieces[k] for k in around if pieces[k].line != inner.line and _holds(pieces[k], inner, parts, hulls)]
        if hosts:
            outer = min(hosts, key=lambda p: (room[p.part_key], p.piece))
            found[outer.line, inner.line] += room[inner.part_key]
    return tuple((outer, inner, mm3) for (outer, inner), mm3 in sorted(found.items()))


def _corners(placement: Placement, part: Part, hull: ConvexHull | None) -> FloatArray:
    points = part.mesh.vertices if hull is None else part.mesh.vertices[hull.vertices]
    return np.asarray(points @ placement.rotation.T + placement.translation, dtype=np.float64)


def _box(placement: Placement, part: Part, hull: ConvexHull | None) -> tuple[FloatArray, FloatArray]:
    corners = _corners(placement, part, hull)
    return corners.min(axis=0), corners.max(axis=0)


def _holds(
    outer: Placement, inner: Placement, parts: Mapping[str, Part], hulls: Mapping[str, ConvexHull | None]
) -> bool:
    around = hulls[outer.part_key]
    if around is None:
        return False
    corners = _corners(inner, parts[inner.part_key], hulls[inner.part_key])
    local = (corners - outer.translation) @ outer.rotation  # back into the outer part's own frame
    planes = around.equations
    return bool((local @ planes[:, :3].T + planes[:, 3] <= TOUCH_MM).all())
