"""A printed cage for small loose pieces: a box of bars with openings that let powder out and keep pieces in.

The lid hangs on a few thin webs over a gap and is broken off at the bench. The mesh is built cell by
cell on a grid of bars and gaps, so it is closed by construction; it is checked all the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cakewright.errors import DoesNotFitError, GeometryError, InputError
from cakewright.model.build import Placement
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.search import nest
from cakewright.nesting.task import NestSpace, NestTask
from cakewright.nesting.voxels import is_closed
from cakewright.sources.identity import (
    CAGE_LID_GAP,
    CAGE_OPENING_LEAST,
    CAGE_OPENING_MOST,
    CAGE_OPENING_SHARE,
    CAGE_STRUT,
)
from cakewright.stopping import MaxSteps

SIDES = (1.0, 1.25, 1.6, 2.0)  # footprints tried, as multiples of the smallest square that could do


@dataclass(frozen=True, eq=False)
class FilledCage:
    """A cage and the pieces in it: the mesh with its corner at the origin, placements in the same coordinates."""

    mesh: Mesh
    opening_mm: float
    pieces: tuple[Placement, ...]

    @property
    def size_mm(self) -> FloatArray:
        """Outer size."""
        return self.mesh.size_mm

    def placed(self, cage: Placement, meshes: Mapping[str, Mesh]) -> tuple[Placement, ...]:
        """The pieces where they stand when the cage stands as placed."""
        return tuple(_carried(p, cage, meshes[p.part_key]) for p in self.pieces)


def _carried(piece: Placement, cage: Placement, mesh: Mesh) -> Placement:
    rotation = cage.rotation @ piece.rotation
    shift = cage.rotation @ piece.translation + cage.translation
    z = mesh.vertices[mesh.faces.reshape(-1)] @ rotation[2] + shift[2]
    return replace(piece, rotation=rotation, translation=shift, z_min_mm=float(z.min()), z_max_mm=float(z.max()))


def passing_mm(box_mm: Sequence[float]) -> float:
    """The smallest square opening that a box-shaped piece can pass, end first.

    A box with edges a <= b <= c needs an opening of at least a, and of b / sqrt(2) (its end turned by 45
    degrees); the larger of the two holds it back. `box_mm` is the smallest box around the piece.
    """
    a, b, _ = sorted(float(v) for v in box_mm)
    return max(a, b / math.sqrt(2.0))


def opening_mm(boxes_mm: Sequence[Sequence[float]]) -> float:
    """Opening for a cage that holds pieces with these smallest boxes; InputError when powder would stay in, too."""
    least = min(passing_mm(box) for box in boxes_mm)
    opening = min(CAGE_OPENING_MOST.value, CAGE_OPENING_SHARE.value * least)
    if opening < CAGE_OPENING_LEAST.value:
        raise InputError(
            f"pieces that pass an opening of {least:.1f} mm need bars closer than {CAGE_OPENING_LEAST.value:g} mm, "
            "and powder does not come out of such a cage",
            remedy="print them joined by a thread or runner, or sieve them out by hand",
        )
    return opening


def cage_mesh(inner_mm: Sequence[float], opening: float) -> Mesh:
    """A cage around a free room of at least `inner_mm`, its outer corner at the origin.

    Openings are at most `opening` mm square. InputError for sizes that cannot be.
    """
    bar = CAGE_STRUT.value
    if min(inner_mm) <= 0 or not opening > 0:
        raise InputError(f"a cage around {inner_mm} mm with openings of {opening} mm", remedy="use sizes above zero")
    x, y, z = (_edges(float(v), opening, bar) for v in inner_mm)
    gap = CAGE_LID_GAP.value
    z = np.concatenate([z, z[-1] + [gap, gap + bar]])  # the top wall of the box stays open: the lid lies over the gap
    nx, ny, nz = len(x) - 1, len(y) - 1, len(z) - 1
    cells = np.zeros((nx, ny, nz), bool)
    i, j, k = np.indices(cells.shape)
    is_bar = (i % 2 == 0, j % 2 == 0, k % 2 == 0)
    box = k < nz - 2
    cells |= box & ((i == 0) | (i == nx - 1)) & (is_bar[1] | is_bar[2])
    cells |= box & ((j == 0) | (j == ny - 1)) & (is_bar[0] | is_bar[2])
    cells |= (k == 0) & (is_bar[0] | is_bar[1])
    cells |= (k == nz - 1) & (is_bar[0] | is_bar[1])
    cells |= (k == nz - 2) & _webs(i, j, nx, ny)
    mesh = _surface(cells, x, y, z)
    if not is_closed(mesh):
        raise GeometryError("the cage is not closed", remedy="please report this with the sizes of the pieces")
    return mesh


def _edges(inner: float, opening: float, bar: float) -> FloatArray:
    """Cell edges bar, gap, bar, ..., bar along an axis whose room between the outer bars is at least `inner`."""
    gaps = max(1, int(np.ceil((inner + bar) / (opening + bar) - 1e-9)))
    gap = (inner + bar) / gaps - bar
    widths = [bar] + [gap, bar] * gaps
    return np.concatenate([[0.0], np.cumsum(widths)])


def _webs(i: object, j: object, nx: int, ny: int) -> object:
    """The four corners and the bars nearest the middle of each side: what is broken to open the lid."""
    x, y = np.asarray(i), np.asarray(j)
    mid_x, mid_y = (nx // 4) * 2, (ny // 4) * 2
    corner = ((x == 0) | (x == nx - 1)) & ((y == 0) | (y == ny - 1))
    side = ((x == mid_x) & ((y == 0) | (y == ny - 1))) | ((y == mid_y) & ((x == 0) | (x == nx - 1)))
    return corner | side


def _surface(cells: object, x: FloatArray, y: FloatArray, z: FloatArray) -> Mesh:
    """The boundary of the set cells as triangles over shared corners, looking outwards."""
    filled = np.pad(np.asarray(cells, dtype=bool), 1)
    edges = (x, y, z)
    faces, points = [], []
    count = 0
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for end in (0, 1):
            beyond = np.roll(filled, -1 if end else 1, axis=axis)
            at = np.argwhere(filled & ~beyond) - 1
            corner = np.zeros((len(at), 4, 3), np.int64)
            for n, (du, dv) in enumerate(((0, 0), (1, 0), (1, 1), (0, 1))):
                corner[:, n] = at
                corner[:, n, axis] += end
                corner[:, n, u] += du
                corner[:, n, v] += dv
            points.append(corner.reshape(-1, 3))
            quad = count + 4 * np.arange(len(at))[:, None] + np.arange(4)
            order = [0, 1, 2, 0, 2, 3] if end else [0, 2, 1, 0, 3, 2]
            faces.append(quad[:, order].reshape(-1, 3))
            count += 4 * len(at)
    shared, number = np.unique(np.concatenate(points), axis=0, return_inverse=True)
    where = np.stack([edges[a][shared[:, a]] for a in range(3)], axis=1)
    return Mesh(where, number.reshape(-1)[np.concatenate(faces)].astype(np.int32))


def fill_cage(
    task: NestTask, boxes_mm: Sequence[Sequence[float]], most_mm: Sequence[float], *, steps: int = 0, seed: int = 1
) -> FilledCage:
    """A cage for all pieces of `task` and the pieces nested in it, clear of its bars by the clearance.

    Several footprints are tried; the cage with the smallest outer volume is taken. `boxes_mm` are the
    smallest boxes of the parts, `most_mm` the largest outer size allowed. The space of `task` is not used.
    Raises InputError when the pieces are too small for any opening, DoesNotFitError when no cage is small enough.
    """
    opening = opening_mm(boxes_mm)
    wall = CAGE_STRUT.value + task.clearance_mm
    most = np.array(most_mm, dtype=np.float64) - [2 * wall, 2 * wall, 2 * wall + CAGE_LID_GAP.value]
    best: FilledCage | None = None
    for side in _footprints(task, boxes_mm, most):
        filled = _filled(task, side, float(most[2]), opening, wall, steps, seed)
        if filled is not None and (best is None or filled.size_mm.prod() < best.size_mm.prod()):
            best = filled
    if best is None:
        raise DoesNotFitError(
            f"{len(task.pieces)} pieces do not fit into one cage of {' x '.join(f'{v:.0f}' for v in most_mm)} mm",
            remedy="use several cages, or nest the pieces loose",
        )
    return best


def _footprints(task: NestTask, boxes_mm: Sequence[Sequence[float]], most: FloatArray) -> list[tuple[float, float]]:
    c = task.clearance_mm
    boxes = dict(zip(sorted({p.part_key for p in task.pieces}), boxes_mm, strict=True))
    bulk = sum(float(np.prod(np.array(boxes[p.part_key]) + c)) for p in task.pieces)
    longest = max(max(b) for b in boxes_mm)
    edge = max(bulk ** (1 / 3), longest + task.voxel_mm)
    sides = [(min(edge * a, most[0]), min(edge * b, most[1])) for a in SIDES for b in SIDES if b <= a]
    return [(float(a), float(b)) for a, b in dict.fromkeys(sides) if a > 0 and b > 0]


def _filled(
    task: NestTask, side: tuple[float, float], height: float, opening: float, wall: float, steps: int, seed: int
) -> FilledCage | None:
    if height <= 0:
        return None
    room = NestSpace(side[0], side[1], height)
    inside = NestTask(task.meshes, task.pieces, task.rotations, room, task.clearance_mm, task.voxel_mm)
    made = nest(inside, stop=MaxSteps(steps), seed=seed)
    if made.left_out:
        return None
    c = task.clearance_mm
    mesh = cage_mesh([side[0] + 2 * c, side[1] + 2 * c, made.height_mm + 2 * c], opening)
    shift = np.full(3, wall)
    pieces = tuple(
        replace(p, translation=p.translation + shift, z_min_mm=p.z_min_mm + wall, z_max_mm=p.z_max_mm + wall)
        for p in made.placements
    )
    return FilledCage(mesh, opening, pieces)


def block_of_cage(size_mm: FloatArray) -> Mesh:
    """The outer box of a cage: what is nested in its place, so that nothing else comes in."""
    corners = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], dtype=float) * size_mm
    faces = [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4),
             (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5)]  # fmt: skip
    return Mesh(corners, np.array(faces))
