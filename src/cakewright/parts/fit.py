"""Does a part fit into a chamber, in any way it may be turned?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.spatial import ConvexHull, QhullError
from scipy.spatial.transform import Rotation

from cakewright.model.cell import ChamberType
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.parts.orient import candidate_rotations, is_allowed, upright

Size = tuple[float, float, float]
TRIED = 400  # orientations before the search refines the best few
REFINED = 4


@dataclass(frozen=True, eq=False)
class Fit:
    """The best way found: `rotation` (3, 3), the box then (mm), and how much of the chamber its worst side uses.

    It fits when `use` <= 1.
    """

    rotation: FloatArray
    size_mm: Size
    use: float

    @property
    def is_possible(self) -> bool:
        """True when every side is within the chamber."""
        return self.use <= 1.0


def usable_box(chamber: ChamberType) -> Size:
    """Inner box of a chamber in which parts may stand, mm."""
    margin = 2 * chamber.wall_margin_mm
    return (chamber.x_mm - margin, chamber.y_mm - margin, chamber.usable_height_mm)


def best_fit(mesh: Mesh, box_mm: Size, rule: OrientationRule, seed: int, shrink: Size = (1.0, 1.0, 1.0)) -> Fit:
    """Turn a part so that its box, grown by the `shrink` factors, uses as little of `box_mm` as possible.

    Evenly spread orientations on the convex hull, the best refined downhill. Not a proof: a part that fits
    only within a fraction of a degree can be missed. Upright first: if the part fits as it is, that is kept.
    """
    room = np.asarray(box_mm) / np.asarray(shrink)
    base = np.eye(3) if rule.freedom is Freedom.FREE else upright(rule)
    points = hull_points(mesh)
    if (np.ptp(points @ base.T, axis=0) <= room).all() or rule.freedom is Freedom.FIXED:
        return _fit(points, base, room, shrink)
    turns = candidate_rotations(mesh, rule, seed, TRIED)
    use = np.array([_use(points, r, room) for r in turns])
    best = turns[int(np.argmin(use))]
    if use.min() > 1.0:
        best = _refined(points, turns[np.argsort(use)[:REFINED]], room, rule)
    return _fit(points, best, room, shrink)


def hull_points(mesh: Mesh) -> FloatArray:
    """Corners of the convex hull, moved to the middle of the box; all used corners when the part is flat."""
    used = mesh.vertices[np.unique(mesh.faces)] - mesh.box_mm.mean(axis=0)
    try:
        return np.asarray(used[ConvexHull(used).vertices])
    except (QhullError, ValueError):
        return np.asarray(used)


def _use(points: FloatArray, rotation: FloatArray, room: FloatArray) -> float:
    return float((np.ptp(points @ rotation.T, axis=0) / room).max())


def _refined(points: FloatArray, starts: FloatArray, room: FloatArray, rule: OrientationRule) -> FloatArray:
    def turned(vector: FloatArray, start: FloatArray) -> FloatArray:
        if rule.freedom is Freedom.ABOUT_Z:
            vector = vector * (0.0, 0.0, 1.0)
        return np.asarray(Rotation.from_rotvec(vector).as_matrix() @ start)

    simplex = np.vstack([np.zeros(3), 0.1 * np.eye(3)])

    def cost(vector: FloatArray, start: FloatArray) -> float:
        rotation = turned(vector, start)
        return _use(points, rotation, room) if is_allowed(rotation, rule) else np.inf

    options = {"initial_simplex": simplex, "xatol": 1e-5, "fatol": 1e-6, "maxfev": 300}
    found = []
    for start in starts:
        # the stubs know no initial simplex
        end = minimize(cost, np.zeros(3), args=(start,), method="Nelder-Mead", options=options)  # type: ignore[call-overload]
        found.append((float(end.fun), turned(end.x, start)))
    return min(found, key=lambda pair: pair[0])[1]


def _fit(points: FloatArray, rotation: FloatArray, room: FloatArray, shrink: Size) -> Fit:
    x, y, z = (float(v) for v in np.ptp(points @ rotation.T, axis=0) * np.asarray(shrink))
    return Fit(np.asarray(rotation), (x, y, z), _use(points, rotation, room))
