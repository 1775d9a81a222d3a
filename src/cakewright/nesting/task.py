"""What is to be nested: pieces, their meshes and allowed rotations, the space, the rules of distance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.errors import InputError
from cakewright.model.build import Placement
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.wishes import NestWishes, ReservedPlace


@dataclass(frozen=True, slots=True)
class NestPiece:
    """One piece to be placed. `priority` > 0 asks for a place early and low."""

    piece: str
    part_key: str
    line: int
    priority: float = 0.0


@dataclass(frozen=True, slots=True)
class NestSpace:
    """The chamber: platform x by y, usable height, and the margin to the four walls, all mm."""

    x_mm: float
    y_mm: float
    height_mm: float
    wall_margin_mm: float = 0.0

    def __post_init__(self) -> None:
        """There must be room between the walls."""
        sizes = (*self.inner_mm, self.height_mm)
        if not (np.isfinite(sizes).all() and min(sizes) > 0 and self.wall_margin_mm >= 0):
            raise InputError(
                f"a chamber of {self.x_mm} x {self.y_mm} x {self.height_mm} mm with a wall margin of "
                f"{self.wall_margin_mm} mm has no room",
                remedy="check the chamber size and the wall margin of the machine",
            )

    @property
    def inner_mm(self) -> tuple[float, float]:
        """Free width and depth between the wall margins."""
        return self.x_mm - 2 * self.wall_margin_mm, self.y_mm - 2 * self.wall_margin_mm

    @property
    def box_mm(self) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest corner of the free room."""
        m = self.wall_margin_mm
        return np.array([m, m, 0.0]), np.array([self.x_mm - m, self.y_mm - m, self.height_mm])


@dataclass(frozen=True, eq=False)
class NestTask:
    """Everything a nest needs. `rotations[part_key]` is (k, 3, 3), the orientations allowed for that part.

    `wishes` are asked of the nest beyond its height; without them only the height counts. Pieces that stand `fixed`
    stay where they are, and the others keep their distance from them. Parts in `turning` may stand turned about the
    vertical by any angle from the rotations named; the search keeps to those, settling may turn further.
    """

    meshes: Mapping[str, Mesh]
    pieces: Sequence[NestPiece]
    rotations: Mapping[str, FloatArray]
    space: NestSpace
    clearance_mm: float
    voxel_mm: float
    wishes: NestWishes | None = None
    fixed: Sequence[Placement] = ()
    turning: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        """Name what is missing before any work is done."""
        if not 0 <= self.clearance_mm < np.inf:
            raise InputError(f"clearance {self.clearance_mm} mm", remedy="use zero or more")
        if not 0 < self.voxel_mm < np.inf:
            raise InputError(f"voxel {self.voxel_mm} mm", remedy="use a voxel above zero, e.g. 1.5 mm")
        names = [*(p.piece for p in self.pieces), *(p.piece for p in self.fixed)]
        if len(set(names)) != len(names):
            twice = sorted({n for n in names if names.count(n) > 1})
            raise InputError(f"piece names occur twice: {', '.join(twice[:5])}", remedy="name each piece once")
        for key in sorted(({p.part_key for p in self.pieces} | {p.part_key for p in self.fixed}) - set(self.meshes)):
            raise InputError(f"part {key!r} has no mesh", remedy="give a mesh for each part")
        for key in sorted({p.part_key for p in self.pieces}):
            turns = np.asarray(self.rotations.get(key, ()), dtype=np.float64)
            if turns.ndim != 3 or turns.shape[0] == 0 or turns.shape[1:] != (3, 3):
                raise InputError(
                    f"part {key!r} has no allowed orientation (found shape {turns.shape}, expected (k, 3, 3))",
                    remedy="allow at least one orientation, for example as the part stands in its file",
                )
        if self.wishes is not None:
            self.wishes.check(self.meshes, self.space.box_mm)

    @property
    def reserved(self) -> tuple[ReservedPlace, ...]:
        """Places that are kept free."""
        return self.wishes.reserved if self.wishes is not None else ()
