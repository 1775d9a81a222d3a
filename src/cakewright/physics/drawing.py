"""Drawing pieces for the machine: scale and offset per axis so that they measure as ordered when cold.

drawn = scale x (wanted + 2 offset) for an outer length, scale x (wanted - 2 offset) for a hole: `offset` moves
every face outwards (below 0: inwards, against a beam that builds too thick), then everything grows by `scale`.
With measured = s x drawn + 2 d (quality.calibrate): scale = 1 / s, offset = -d.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.errors import InputError
from cakewright.model.cell import ChamberType, Machine
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.sources import physics as numbers

_FLAT = 0.05  # share of the largest direction below which the faces round a corner count as parallel


@dataclass(frozen=True, slots=True)
class Drawing:
    """Scale and outward offset (mm per face) along chamber x, y, z; `fixed_mm` is the point that scaling leaves.

    `by_place` (empty, or rows for x, y, z) changes the scale for each mm from `centre_mm`, up to `half_mm` away: each
    piece is then drawn about its own middle with the scale there.
    """

    scale: tuple[float, float, float] = (1.0, 1.0, 1.0)
    offset_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    fixed_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    by_place: tuple[tuple[float, float, float], ...] = ()
    centre_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    half_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        """Scales must be above zero."""
        if min(self.scale) <= 0:
            raise InputError(f"scale {self.scale}", remedy="scales must be above zero")

    @property
    def changes_something(self) -> bool:
        """False when pieces are written as they are."""
        return self.scale != (1.0, 1.0, 1.0) or self.offset_mm != (0.0, 0.0, 0.0) or self.varies

    @property
    def varies(self) -> bool:
        """True when the scale depends on the place."""
        return any(v != 0 for row in self.by_place for v in row)

    def scale_at(self, at_mm: Sequence[float] | FloatArray | None) -> FloatArray:
        """The three scales at a place of the chamber, (3,); the uniform ones without a place."""
        if at_mm is None or not self.varies:
            return np.array(self.scale)
        return np.array(self.scale) + np.array(self.by_place) @ (np.asarray(at_mm) - self.centre_mm)

    def drawn(
        self, wanted_mm: float, axis: int, *, is_hole: bool = False, at_mm: Sequence[float] | None = None
    ) -> float:
        """Length in the build file for a length wanted when cold; in a hole the faces move the other way.

        `at_mm` is the middle of the piece in the chamber, where the scale depends on the place.
        """
        outward = -self.offset_mm[axis] if is_hole else self.offset_mm[axis]
        return float(self.scale_at(at_mm)[axis]) * (wanted_mm + 2 * outward)

    def wanted(
        self, drawn_mm: float, axis: int, *, is_hole: bool = False, at_mm: Sequence[float] | None = None
    ) -> float:
        """The length that a drawn one stands for: the inverse of `drawn`, for whoever measures."""
        outward = -self.offset_mm[axis] if is_hole else self.offset_mm[axis]
        return drawn_mm / float(self.scale_at(at_mm)[axis]) - 2 * outward

    def placed(self, mesh: Mesh) -> Mesh:
        """A mesh in chamber coordinates as it goes into the build file."""
        moved = offset_mesh(mesh, self.offset_mm)
        turn = self.matrix(mesh.box_mm.mean(axis=0))
        return Mesh(moved.vertices @ turn[:3, :3].T + turn[:3, 3], moved.faces)

    def matrix(self, middle_mm: FloatArray) -> FloatArray:
        """The (4, 4) transform of a placed piece with this middle: its place by the uniform scale, its size by the own.

        The middle goes where the uniform scale takes it; about it the piece has the scale of its place.
        """
        fixed, own = np.asarray(self.fixed_mm), self.scale_at(middle_mm)
        there = fixed + (np.asarray(middle_mm) - fixed) * np.asarray(self.scale)
        out = np.diag([*own, 1.0])
        out[:3, 3] = there - own * np.asarray(middle_mm)
        return out

    @property
    def outward_mm(self) -> float:
        """How far a corner may move out at most, uniform scale left out: 0 when nothing moves outwards.

        By the offset, and by a scale that is larger somewhere: half the diagonal of the chamber.
        """
        moved = numbers.OFFSET_REACH.value * max(abs(v) for v in self.offset_mm) if max(self.offset_mm) > 0 else 0.0
        if not self.varies:
            return moved
        most = float((np.abs(np.array(self.by_place)) @ np.array(self.half_mm)).max())
        return moved + most * float(np.linalg.norm(self.half_mm))

    def gap_to_nest(self, wanted_mm: float) -> float:
        """The gap to leave between ordered pieces so that drawn ones keep `wanted_mm`, sharpest corners included.

        Each of two corners takes `outward_mm` at most; a scale below one makes every gap smaller.
        """
        return wanted_mm / min(1.0, *self.scale) + 2 * self.outward_mm

    @property
    def words(self) -> str:
        """What was done, for the notes in the file and the report."""
        if not self.changes_something:
            return "as ordered, not scaled"
        sx, sy, sz = self.scale
        ox, oy, oz = self.offset_mm
        scaled = f"drawn larger by x {sx:g}, y {sy:g}, z {sz:g}"
        if self.varies:
            scaled += ", changing with the place"
        return (
            scaled if self.offset_mm == (0.0, 0.0, 0.0) else f"{scaled}; faces moved by {ox:g}, {oy:g}, {oz:g} mm first"
        )


def drawing_of(machine: Machine, chamber: ChamberType) -> Drawing:
    """The drawing that a machine asks for in the cell file; scaled from the front left corner of the free space."""
    corner = (chamber.wall_margin_mm, chamber.wall_margin_mm, 0.0)
    half = (chamber.x_mm / 2, chamber.y_mm / 2, chamber.usable_height_mm / 2)
    return Drawing(machine.export_scale, machine.export_offset_mm, corner, machine.export_by_place, half, half)


def offset_mesh(mesh: Mesh, offset_mm: tuple[float, float, float]) -> Mesh:
    """The mesh with every face moved along its outward normal n by sum of n_i² offset_i.

    Each corner goes where its moved faces meet (least squares over the faces round it), so edges stay sharp
    and flats stay flat. Meant for offsets far below the thinnest wall; a corner never moves further than
    `physics.offset_reach` times the largest offset.
    """
    if offset_mm == (0.0, 0.0, 0.0):
        return mesh
    corners = mesh.vertices[mesh.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    double_area = np.linalg.norm(cross, axis=1)
    sound = double_area > 0
    normal = np.zeros_like(cross)
    normal[sound] = cross[sound] / double_area[sound, None]
    away = (normal**2) @ np.asarray(offset_mm)
    shift = _meeting_points(mesh.faces, normal, away, _angles(corners) * sound[:, None], len(mesh.vertices))
    limit = numbers.OFFSET_REACH.value * float(np.abs(offset_mm).max())
    length = np.linalg.norm(shift, axis=1)
    shift *= np.minimum(1.0, limit / np.maximum(length, 1e-30))[:, None]
    return Mesh(mesh.vertices + shift, mesh.faces)


def _angles(corners: FloatArray) -> FloatArray:
    """Inner angles of triangles, (n, 3): how much a face weighs at each of its corners."""
    out = []
    for i in range(3):
        a, b = corners[:, (i + 1) % 3] - corners[:, i], corners[:, (i + 2) % 3] - corners[:, i]
        lengths = np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1)
        cosine = np.einsum("ij,ij->i", a, b) / np.where(lengths > 0, lengths, 1.0)
        out.append(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return np.stack(out, axis=1)


def _meeting_points(faces: IntArray, normal: FloatArray, away: FloatArray, weight: FloatArray, n: int) -> FloatArray:
    """For each vertex the shift x that fits n_f · x = away_f best over its faces f, shortest where free, (n, 3)."""
    matrix, right = np.zeros((n, 3, 3)), np.zeros((n, 3))
    outer = normal[:, :, None] * normal[:, None, :]
    for i in range(3):
        np.add.at(matrix, faces[:, i], weight[:, i, None, None] * outer)
        np.add.at(right, faces[:, i], (weight[:, i] * away)[:, None] * normal)
    values, vectors = np.linalg.eigh(matrix)
    keep = values > _FLAT * values[:, -1:]
    inverse = np.where(keep, 1.0 / np.where(keep, values, 1.0), 0.0)
    return np.asarray(np.einsum("nij,nj,nkj,nk->ni", vectors, inverse, vectors, right))
