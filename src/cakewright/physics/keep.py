"""From the long computed history to what is worth keeping with a plan: few moments, coarse regions, doubts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cakewright.findings import Finding
from cakewright.model.cell import Material
from cakewright.model.heat import CakeHeat, PowderDose
from cakewright.model.mesh import FloatArray
from cakewright.physics.evenness import zone_cuts
from cakewright.physics.opening import BuildHeat
from cakewright.sources import physics as numbers

_KG_PER_MM3_OF_G_CM3 = 1e-6
_SHOWN_C = 0.1  # temperatures are kept to a tenth: more would only fill the disk


def keep_heat(
    heat: BuildHeat,
    material: Material,
    findings: Sequence[Finding] = (),
    speed: float = 1.0,
    left_in_s: float | None = None,
) -> CakeHeat:
    """The record of a build's heat.

    Moments are spread evenly over the run (`physics.moments_kept`), the print end and the last one among
    them; powder regions are the zones of `physics.zones` along each side.
    """
    at = moments(heat.time_s, int(numbers.MOMENTS_KEPT.value))
    grid = heat.solid.grid
    section = heat.section_c[at]
    return CakeHeat(
        pieces=heat.pieces,
        time_s=heat.time_s[at],
        piece_c=heat.piece_c[at],
        section_c=(np.round(section / _SHOWN_C) * _SHOWN_C).astype(np.float32),
        section_solid=heat.solid.share[:, grid.cells[1] // 2, :].astype(np.float32),
        section_y_mm=heat.section_y_mm,
        cell_mm=(grid.size_mm[0], grid.size_mm[2]),
        base_powder_mm=grid.base_powder_mm,
        dose=powder_dose(heat, material),
        may_leave_s=heat.may_leave_s,
        heat_error=heat.heat_error,
        speed=speed,
        findings=tuple(findings),
        left_in_s=left_in_s,
    )


def powder_dose(heat: BuildHeat, material: Material) -> PowderDose:
    """Dose of the unsintered powder by region: mass-weighted means over the cells of each."""
    grid = heat.solid.grid
    kg = (1.0 - heat.solid.share) * grid.cell_mm3 * material.bed_density_g_cm3 * _KG_PER_MM3_OF_G_CM3
    dose = heat.dose_h * kg
    edges = []
    for axis in range(3):
        cuts = zone_cuts(grid.cells[axis], int(numbers.ZONES.value))
        kg, dose = (np.add.reduceat(values, cuts[:-1], axis=axis) for values in (kg, dose))
        low = grid.base_powder_mm if axis == 0 else 0.0
        edges.append(np.asarray(cuts * grid.size_mm[axis] - low, dtype=np.float64))
    mean = np.divide(dose, kg, out=np.zeros_like(dose), where=kg > 0)
    return PowderDose(mean, kg, edges[0], edges[1], edges[2])


def moments(time_s: FloatArray, count: int) -> np.ndarray:
    """Indices of about `count` moments spread evenly over time, with the first, the last and the print end."""
    wanted = np.linspace(time_s[0], time_s[-1], count)
    near = np.searchsorted(time_s, wanted).clip(0, len(time_s) - 1)
    end = int(np.searchsorted(time_s, 0.0).clip(0, len(time_s) - 1))
    return np.unique(np.concatenate([[0, len(time_s) - 1, end], near]))
