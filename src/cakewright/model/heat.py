"""What heat does to a build: each piece, the powder around it, the cut through the cake, doubts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding
from cakewright.model.mesh import FloatArray


@dataclass(frozen=True, slots=True)
class PieceHeat:
    """One piece. Seconds count from the print end.

    `opening_s`: its warmest place below the opening temperature (early, likely, late); `solid_s`: its last
    place solidified; `hours_soft`: from its last layer until then; `front_c_mm`: steepest gradient in it
    while solidifying, °C/mm.
    """

    piece: str
    opening_s: tuple[float, float, float]
    at_print_end_c: float
    solid_s: float
    hours_soft: float
    front_c_mm: float


@dataclass(frozen=True, eq=False)
class PowderDose:
    """Thermal dose of the unsintered powder, region by region, up to the opening.

    `dose_h` (nz, ny, nx): hours at bed temperature that would age the powder as much; `powder_kg`
    (nz, ny, nx): unsintered powder there. `edges_z_mm` (nz + 1,), `edges_y_mm`, `edges_x_mm` bound the
    regions in chamber coordinates (z = 0 at the first part layer, so the base powder lies below 0).
    """

    dose_h: FloatArray
    powder_kg: FloatArray
    edges_z_mm: FloatArray
    edges_y_mm: FloatArray
    edges_x_mm: FloatArray

    @property
    def mean_h(self) -> float:
        """Mean over the powder by mass: what the mix of the whole cake has seen."""
        kg = float(self.powder_kg.sum())
        return float((self.dose_h * self.powder_kg).sum()) / kg if kg > 0 else 0.0

    @property
    def largest_h(self) -> float:
        """The hottest region."""
        return float(self.dose_h.max())

    def by_height(self) -> tuple[tuple[float, float, float, float], ...]:
        """(from mm, to mm, kg, mean hours) of each band of height, bottom up."""
        kg = self.powder_kg.sum(axis=(1, 2))
        hours = (self.dose_h * self.powder_kg).sum(axis=(1, 2)) / np.where(kg > 0, kg, 1.0)
        z = self.edges_z_mm
        return tuple((float(z[i]), float(z[i + 1]), float(kg[i]), float(hours[i])) for i in range(len(kg)))


@dataclass(frozen=True, eq=False)
class CakeHeat:
    """Everything worth keeping of the heat computed for a build.

    `time_s` (k,): chosen moments, seconds from the print end (negative while printing); `piece_c`
    (k, pieces) the warmest place of each piece in the order of `pieces`; `section_c` (k, nz, nx) the cake
    cut at `section_y_mm`, rows from the floor, NaN where no powder lies yet; `section_solid` (nz, nx) the
    share of plastic there; `cell_mm` height and width of its cells; the floor is `base_powder_mm` below the first
    part layer. `may_leave_s`: after so long in the machine the skin may meet air. `heat_error`: heat
    through the faces against heat missing inside, relative. `speed`: the learnt number of the chamber type used.
    `left_in_s`: when it would open if the chamber stayed in the switched-off machine (None: not computed).
    """

    pieces: tuple[PieceHeat, ...]
    time_s: FloatArray
    piece_c: FloatArray
    section_c: NDArray[np.float32]
    section_solid: NDArray[np.float32]
    section_y_mm: float
    cell_mm: tuple[float, float]
    base_powder_mm: float
    dose: PowderDose
    may_leave_s: float
    heat_error: float
    speed: float
    findings: tuple[Finding, ...] = field(default=())
    left_in_s: float | None = None

    def of_piece(self, piece: str) -> PieceHeat:
        """What is known about one piece."""
        return next(heat for heat in self.pieces if heat.piece == piece)

    def opened_at(self, seconds: float) -> tuple[tuple[str, float], ...]:
        """What opening at this time after the print end would lay bare: pieces and their warmest °C, hottest first."""
        found = [
            (p.piece, float(np.interp(seconds, self.time_s, self.piece_c[:, i]))) for i, p in enumerate(self.pieces)
        ]
        return tuple(sorted(found, key=lambda pair: -pair[1]))
