"""Powder and part as the heat sees them: capacity, conductivity and heat content against temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from cakewright.errors import CellError
from cakewright.model.cell import Material
from cakewright.model.mesh import FloatArray
from cakewright.sources import Reference
from cakewright.sources import physics as numbers

_FIRST_C, _LAST_C, _STEP_C = -50.0, 350.0, 1.0
_G_CM3_TO_KG_M3 = 1000.0


@dataclass(frozen=True, eq=False)
class Tables:
    """Rows powder, part; columns every `step_c` from `first_c`. J/(m³ K), J/m³ above `first_c`, W/(m K)."""

    first_c: float
    step_c: float
    capacity: FloatArray
    heat: FloatArray
    conductivity: FloatArray


@dataclass(frozen=True, eq=False)
class Matter:
    """What fills the cells. `is_variable` tells the solver whether it must follow the tables."""

    tables: Tables
    is_variable: bool

    def heat(self, solid: ArrayLike, temperature_c: float) -> FloatArray:
        """Heat content of cells with the given solid share at one temperature, J/m³."""
        t = self.tables
        q = min(max(int((temperature_c - t.first_c) / t.step_c), 0), t.capacity.shape[1] - 2)
        w = (temperature_c - t.first_c) / t.step_c - q
        rise = t.capacity[:, q + 1] - t.capacity[:, q]
        each = t.heat[:, q] + t.step_c * w * (t.capacity[:, q] + 0.5 * w * rise)
        s = np.asarray(solid, dtype=np.float64)
        return np.asarray((1 - s) * each[0] + s * each[1])

    def faster(self, factor: float) -> Matter:
        """The same matter conducting `factor` times as well."""
        t = self.tables
        return Matter(Tables(t.first_c, t.step_c, t.capacity, t.heat, t.conductivity * factor), self.is_variable)


def plain_matter(capacity_j_m3k: tuple[float, float], conductivity_w_mk: tuple[float, float]) -> Matter:
    """Powder and part with constant properties."""
    c = _celsius()
    return _matter([np.full_like(c, v) for v in capacity_j_m3k], [np.full_like(c, v) for v in conductivity_w_mk], False)


def matter_of(material: Material, *, is_variable: bool = False, crystallisation_j_kg: float = 0.0) -> Matter:
    """Powder and part of one material.

    Powder takes the cell file's cake conductivity and heat capacity; part its own conductivity
    (`physics.part_conductivity`), the same heat capacity per kg. With `is_variable` both follow the
    recalled rise with temperature, scaled so that the cell file's value holds at the middle of the cooling
    range. `crystallisation_j_kg` is given off by parts around `crystallisation_c`.
    """
    _check(material)
    c = _celsius()
    capacity = np.full_like(c, material.cake_heat_capacity_j_kgk)
    powder_k = np.full_like(c, material.cake_conductivity_w_mk)
    if is_variable:
        middle = 0.5 * (material.bed_temperature_c + material.opening_temperature_c)
        capacity *= _rise(c, middle, numbers.POWDER_HEAT_CAPACITY_COLD, numbers.POWDER_HEAT_CAPACITY_HOT)
        powder_k *= _rise(c, middle, numbers.POWDER_CONDUCTIVITY_COLD, numbers.POWDER_CONDUCTIVITY_HOT)
    sintered, bed = (_G_CM3_TO_KG_M3 * d for d in (material.sintered_density_g_cm3, material.bed_density_g_cm3))
    width = numbers.CRYSTALLISATION_WIDTH.value
    at = crystallisation_c(material)
    bell = np.exp(-0.5 * ((c - at) / width) ** 2) / (width * np.sqrt(2 * np.pi))
    part = sintered * (capacity + crystallisation_j_kg * bell)
    part_k = np.full_like(c, max(numbers.PART_CONDUCTIVITY.value, material.cake_conductivity_w_mk))
    return _matter([bed * capacity, part], [powder_k, part_k], is_variable or crystallisation_j_kg > 0)


def crystallisation_c(material: Material) -> float:
    """Temperature below which parts of this material solidify: the cell file's, or one taken from the bed."""
    return material.solidifying_c or material.bed_temperature_c - numbers.CRYSTALLISATION_BELOW_BED.value


def _celsius() -> FloatArray:
    return np.arange(_FIRST_C, _LAST_C + _STEP_C, _STEP_C)


def _matter(capacity: list[FloatArray], conductivity: list[FloatArray], is_variable: bool) -> Matter:
    c = np.ascontiguousarray(capacity)
    steps = 0.5 * _STEP_C * (c[:, 1:] + c[:, :-1])
    heat = np.concatenate([np.zeros((2, 1)), np.cumsum(steps, axis=1)], axis=1)
    return Matter(Tables(_FIRST_C, _STEP_C, c, heat, np.ascontiguousarray(conductivity)), is_variable)


def _rise(celsius: FloatArray, middle_c: float, cold: Reference, hot: Reference) -> FloatArray:
    """Straight line between a cold and a hot value, level outside, 1 at `middle_c`."""
    at = (numbers.COLD_POINT.value, numbers.HOT_POINT.value)
    line = np.interp(celsius, at, (cold.value, hot.value))
    return np.asarray(line / np.interp(middle_c, at, (cold.value, hot.value)))


def _check(material: Material) -> None:
    for what in ("sintered_density_g_cm3", "bed_density_g_cm3", "cake_conductivity_w_mk", "cake_heat_capacity_j_kgk"):
        if not getattr(material, what) > 0:
            raise CellError(f"{what} is {getattr(material, what)}", remedy="it must be above zero", where=material.name)
