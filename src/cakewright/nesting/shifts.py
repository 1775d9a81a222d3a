"""For every two poses of a task: the shifts at which they share space, as flat arrays for compiled code.

The forbidden shifts of two poses depend on the turn of one against the other only, so they are kept once
for each pair of parts and relative turn, in the frame of the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Ints
from cakewright.nesting.polytopes import Convex, overlap_planes


@dataclass(frozen=True, eq=False)
class Shifts:
    """All poses of a task and their forbidden shifts.

    Poses of part number i are `first[i]` to `first[i + 1]`; `frame` (p, 3, 3) their rotations, `low` and
    `high` (p, 3) the corners of their boxes. `pair[p, q]` names the entry for q against p: polytopes
    `poly_at[e]` to `poly_at[e + 1]`; polytope s has the planes `plane_at[s]` to `plane_at[s + 1]` and the box
    `box[s]` (6,); `hull[e]` (6,) encloses all of an entry. Shifts are in the frame of p; the clearance is added.
    """

    first: Ints
    frame: FloatArray
    low: FloatArray
    high: FloatArray
    pair: Ints
    poly_at: Ints
    plane_at: Ints
    planes: FloatArray
    box: FloatArray
    hull: FloatArray

    @property
    def part_of(self) -> Ints:
        """(p,) number of the part of each pose."""
        return np.repeat(np.arange(len(self.first) - 1), np.diff(self.first))


def _polytope(a: Convex, b: Convex, clearance_mm: float) -> tuple[FloatArray, FloatArray]:
    planes = overlap_planes(a, b)
    planes[:, 3] += clearance_mm
    low = a.corners.min(axis=0) - b.corners.max(axis=0) - clearance_mm
    high = a.corners.max(axis=0) - b.corners.min(axis=0) + clearance_mm
    return planes, np.concatenate([low, high])


def _corners(pieces: Sequence[Convex], turn: FloatArray) -> FloatArray:
    return np.concatenate([p.corners for p in pieces]) @ turn.T


def different(pieces: Sequence[Convex], rotations: FloatArray) -> FloatArray:
    """Of `rotations` (k, 3, 3) those that bring the pieces into different shapes, shifts apart."""
    seen: set[bytes] = set()
    kept = []
    for turn in rotations:
        points = _corners(pieces, turn)
        cloud = np.round(points - points.min(axis=0), 6) + 0.0
        mark = np.unique(cloud, axis=0).tobytes()
        if mark not in seen:
            seen.add(mark)
            kept.append(turn)
    return np.array(kept, np.float64).reshape(-1, 3, 3)


def make_shifts(solids: Sequence[Sequence[Convex]], rotations: Sequence[FloatArray], clearance_mm: float) -> Shifts:
    """The table for parts given as convex pieces, each with its allowed rotations (k, 3, 3).

    With a clearance the faces of the forbidden polytopes are moved out by it: pieces then keep at least the
    clearance everywhere, and a little more where corners face each other.
    """
    first = np.concatenate([[0], np.cumsum([len(r) for r in rotations])]).astype(np.int64)
    frame = np.concatenate([np.asarray(r, np.float64) for r in rotations])
    part = [i for i, turns in enumerate(rotations) for _ in turns]
    boxes = [_corners(solids[p], turn) for p, turn in zip(part, frame, strict=True)]
    known: dict[tuple[int, int, bytes], int] = {}
    pair = np.zeros((len(frame), len(frame)), np.int64)
    poly_at, plane_at = [0], [0]
    planes: list[FloatArray] = []
    box: list[FloatArray] = []
    hull: list[FloatArray] = []
    for p in range(len(frame)):
        for q in range(len(frame)):
            turn = frame[p].T @ frame[q]
            key = (part[p], part[q], (np.round(turn, 9) + 0.0).tobytes())
            if key not in known:
                known[key] = len(hull)
                turned = [piece.turned(turn) for piece in solids[part[q]]]
                made = [_polytope(a, b, clearance_mm) for a in solids[part[p]] for b in turned]
                for some, around in made:
                    planes.append(some)
                    plane_at.append(plane_at[-1] + len(some))
                    box.append(around)
                poly_at.append(len(box))
                around = np.array([around for _, around in made])
                hull.append(np.concatenate([around[:, :3].min(axis=0), around[:, 3:].max(axis=0)]))
            pair[p, q] = known[key]
    return Shifts(
        first,
        np.ascontiguousarray(frame),
        np.array([b.min(axis=0) for b in boxes]),
        np.array([b.max(axis=0) for b in boxes]),
        pair,
        np.array(poly_at, np.int64),
        np.array(plane_at, np.int64),
        np.ascontiguousarray(np.concatenate(planes)),
        np.array(box),
        np.array(hull),
    )
