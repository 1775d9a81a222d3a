"""A build: which pieces stand where in one chamber, and what that means in layers, hours, heat, powder."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cakewright.errors import GeometryError
from cakewright.model.heat import CakeHeat
from cakewright.model.mesh import FloatArray

CAGE = "-cage-"
"""In the name of a placement that is a cage, such as L08-cage-1."""
ROTATION_TOLERANCE = 1e-5  # of the products of the rows: rounding of a file, far from a scale or a mirror


@dataclass(frozen=True, eq=False)
class Placement:
    """One piece in the build.

    A point p of the part's mesh stands at `rotation @ p + translation` in chamber coordinates: origin
    in the front left corner of the build platform, Z up, z = 0 at the bottom of the first part layer
    (base powder below is not counted). `rotation` is a (3, 3) proper rotation, `translation` (3,) mm.
    `piece` is unique in the plan ('L07-03': third piece of line 7); `part_key` names the mesh. A `pinned` piece
    was put there by somebody: the next nest leaves it where it stands.
    """

    piece: str
    part_key: str
    line: int
    rotation: FloatArray
    translation: FloatArray
    z_min_mm: float
    z_max_mm: float
    pinned: bool = False

    def __post_init__(self) -> None:
        """A placement turns and moves a part; it never mirrors or scales it."""
        r = np.asarray(self.rotation, dtype=np.float64)
        if r.shape != (3, 3) or not _is_proper(*r.reshape(-1).tolist()):
            raise GeometryError(f"{self.piece}: the rotation is not a proper rotation matrix")

    @property
    def is_cage(self) -> bool:
        """True for a cage printed around loose pieces: it belongs to their line and was ordered by nobody."""
        return CAGE in self.piece

    @property
    def matrix(self) -> FloatArray:
        """The (4, 4) homogeneous transform."""
        m = np.eye(4)
        m[:3, :3] = self.rotation
        m[:3, 3] = self.translation
        return m


def _is_proper(a: float, b: float, c: float, d: float, e: float, f: float, g: float, h: float, i: float) -> bool:
    """Rows of length 1, at right angles, not mirrored; in plain numbers, for a plan has thousands of placements."""
    products = (
        a * a + b * b + c * c - 1.0, d * d + e * e + f * f - 1.0, g * g + h * h + i * i - 1.0,
        a * d + b * e + c * f, a * g + b * h + c * i, d * g + e * h + f * i,
    )  # fmt: skip
    turns = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
    return turns > 0.0 and all(-ROTATION_TOLERANCE < x < ROTATION_TOLERANCE for x in products)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A piece for which no place was found, and why."""

    piece: str
    line: int
    reason: str


@dataclass(frozen=True, eq=False)
class Nest:
    """Placed pieces in one chamber.

    `base_mm` is the whole platform, x by y, margins included; `density` is solid volume / (platform x height).
    """

    placements: tuple[Placement, ...]
    left_out: tuple[LeftOut, ...]
    base_mm: tuple[float, float]
    height_mm: float
    density: float
    clearance_mm: float
    voxel_mm: float
    seed: int
    seconds: float = 0.0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PairGap:
    """Exact distance between two pieces; 0 when they touch, overlap or one contains the other."""

    first: str
    second: str
    gap_mm: float


@dataclass(frozen=True, slots=True)
class Verification:
    """What the independent check found on the exact meshes.

    `tightest` is the closest pair seen, None when every pair is further apart than the search looked;
    `violations` lists pairs nearer than the clearance, `outside` pieces that cross a wall, the floor or
    the ceiling (with the distance in mm).
    """

    clearance_mm: float
    tightest: PairGap | None
    violations: tuple[PairGap, ...]
    outside: tuple[tuple[str, float], ...]
    pairs_checked: int
    seconds: float

    @property
    def is_clear(self) -> bool:
        """True when clearance and walls hold everywhere."""
        return not self.violations and not self.outside


@dataclass(frozen=True, slots=True)
class Removal:
    """The way out of the cake.

    `order` is a sequence in which every listed piece can be lifted or drawn out past those still
    there; `stuck` are groups of pieces that cannot be separated by straight moves; `hooked` maps a
    piece to the pieces that must leave before it.
    """

    order: tuple[str, ...]
    stuck: tuple[tuple[str, ...], ...]
    hooked: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def is_free(self) -> bool:
        """True when everything can be taken out."""
        return not self.stuck


@dataclass(frozen=True, eq=False)
class LayerProfile:
    """Every layer of a build, bottom up.

    `area_mm2`, `contour_mm`: (n,) sintered area and total outline length, taken at mid-layer;
    `outlines`: (n,) number of pieces cut by the layer.
    """

    layer_mm: float
    area_mm2: FloatArray
    contour_mm: FloatArray
    outlines: NDArray[np.int32]

    @property
    def layers(self) -> int:
        """Number of layers."""
        return len(self.area_mm2)

    @property
    def volume_mm3(self) -> float:
        """Sintered volume by summing layers."""
        return float(self.area_mm2.sum() * self.layer_mm)


@dataclass(frozen=True, eq=False)
class PrintTime:
    """Machine time of a build, from closing the door to the end of the last layer, in seconds.

    `layer_s`: (n,) duration of each layer. `relative_sigma` is the spread of actual over predicted.
    """

    warm_up_s: float
    recoat_s: float
    scan_s: float
    waiting_s: float
    end_s: float
    layer_s: FloatArray
    relative_sigma: float

    @property
    def total_s(self) -> float:
        """Everything added up."""
        return self.warm_up_s + self.recoat_s + self.scan_s + self.waiting_s + self.end_s

    @property
    def hours(self) -> float:
        """Total in hours."""
        return self.total_s / 3600.0


@dataclass(frozen=True, eq=False)
class Cooling:
    """Temperature of the cake after the print end.

    `opening_s`: seconds from print end until the warmest point is below `target_c`, as (early, likely,
    late) for the range of powder properties; `curve_s`, `core_c`, `skin_c`, `mean_c`: (k,) history of
    the likely case. `hottest_mm` is the last hot place, chamber coordinates.
    """

    target_c: float
    opening_s: tuple[float, float, float]
    curve_s: FloatArray
    core_c: FloatArray
    skin_c: FloatArray
    mean_c: FloatArray
    hottest_mm: tuple[float, float, float]
    method: str


@dataclass(frozen=True, slots=True)
class PowderNeed:
    """Powder of one build in kg. charge = virgin + used; what is not in parts comes back or is lost."""

    charge_kg: float
    virgin_kg: float
    used_kg: float
    in_parts_kg: float
    loss_kg: float
    back_kg: float
    refresh_ratio: float
    break_even_ratio: float
    surplus_kg: float
    refresh_reason: str


@dataclass(frozen=True, eq=False)
class Build:
    """One planned build with everything computed for it. `lines` are the order lines in it.

    `heat` is what the full heat model says (None in plans made before it was kept); `heat.dose` is the
    thermal dose of the unsintered powder, region by region.
    """

    key: str
    material: str
    machine: str
    chamber_type: str
    lines: tuple[int, ...]
    nest: Nest
    verification: Verification
    removal: Removal
    profile: LayerProfile
    print_time: PrintTime
    cooling: Cooling
    powder: PowderNeed
    reason: str
    line_reasons: tuple[tuple[int, str], ...] = field(default=())
    heat: CakeHeat | None = None

    @property
    def pieces(self) -> int:
        """Pieces in the build, cages not counted."""
        return len(self.ordered)

    @property
    def ordered(self) -> tuple[Placement, ...]:
        """The placements of pieces that somebody ordered: all but cages."""
        return tuple(p for p in self.nest.placements if not p.is_cage)

    def pieces_of(self, line: int) -> tuple[Placement, ...]:
        """The placements of one order line, top of the cake first."""
        return self._pieces_of.get(line, ())

    @cached_property
    def _pieces_of(self) -> dict[int, tuple[Placement, ...]]:
        found: dict[int, list[Placement]] = {}
        for p in sorted(self.ordered, key=lambda p: -p.z_max_mm):
            found.setdefault(p.line, []).append(p)
        return {line: tuple(pieces) for line, pieces in found.items()}

    @property
    def caged(self) -> dict[str, tuple[str, ...]]:
        """The pieces in each cage, read from the order of removal: a cage is followed by what stands in it."""
        cages = {p.piece: p.line for p in self.nest.placements if p.is_cage}
        line = {p.piece: p.line for p in self.nest.placements}
        found: dict[str, tuple[str, ...]] = {}
        now = ""
        for piece in (*self.removal.order, *(p for group in self.removal.stuck for p in group)):
            if piece in cages:
                now, found[piece] = piece, ()
            elif now and line.get(piece) == cages[now]:
                found[now] = (*found[now], piece)
            else:
                now = ""
        return found
