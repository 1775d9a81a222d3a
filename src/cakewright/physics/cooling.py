"""When may the cake be opened? The simple, late-erring answer: a hot block that cools through its skin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.errors import CellError, InputError
from cakewright.model.build import Cooling, LayerProfile, PrintTime
from cakewright.model.cell import ChamberType, Material
from cakewright.physics import series
from cakewright.physics.layers import height_of
from cakewright.sources.physics import DIFFUSIVITY_SPREAD, SURFACE_SPREAD

_CURVE_POINTS = 121
_G_CM3_TO_KG_M3 = 1000.0
_M_PER_MM = 1e-3


@dataclass(frozen=True, slots=True)
class CakeBlock:
    """A uniform block standing for the cake: sides m, conductivity W/(m K), heat capacity J/(m³ K)."""

    sides_m: tuple[float, float, float]
    conductivity_w_mk: float
    capacity_j_m3k: float
    surface_w_m2k: float

    @property
    def diffusivity_m2s(self) -> float:
        """Conductivity over heat capacity, m²/s."""
        return self.conductivity_w_mk / self.capacity_j_m3k

    def slower(self, diffusivity: float, surface: float) -> CakeBlock:
        """The block with its diffusivity (through conductivity) and surface coefficient divided by factors."""
        return CakeBlock(
            self.sides_m,
            self.conductivity_w_mk / diffusivity,
            self.capacity_j_m3k,
            self.surface_w_m2k / surface,
        )


def cool(
    profile: LayerProfile,
    print_time: PrintTime,
    *,
    base_mm: tuple[float, float],
    base_powder_mm: float,
    cover_powder_mm: float,
    material: Material,
    chamber_type: ChamberType,
    room_c: float,
) -> Cooling:
    """Cooling of the cake from the end of the print, taken as a block that is hot all through.

    The whole cake starts at bed temperature although its lower layers have cooled while the upper ones
    were printed (`print_time` is not used for that), so the answer is late, not early. All six faces
    lose heat with the chamber's surface coefficient. `opening_s` is for the centre, with the early and
    late case from `physics.diffusivity_spread` and `physics.surface_spread`; `skin_c` is the middle of
    the nearest side face, the warmest skin. Source: product of three slab series (`physics.series`).
    """
    block = cake_block(profile, base_mm, base_powder_mm + cover_powder_mm, material, chamber_type)
    theta = target_theta(material, room_c)
    wide = chamber_type.cooling_spread or DIFFUSIVITY_SPREAD.value
    surface = chamber_type.cooling_spread or SURFACE_SPREAD.value
    early, likely, late = (
        _opening_s(b, theta) for b in (block.slower(1 / wide, 1 / surface), block, block.slower(wide, surface))
    )
    t = np.linspace(0.0, likely * 1.25, _CURVE_POINTS)
    start = material.bed_temperature_c
    skin_at = tuple(1.0 if i == int(np.argmin(block.sides_m[:2])) else 0.0 for i in range(3))
    core, skin = (_theta(block, t, at) for at in ((0.0, 0.0, 0.0), skin_at))
    mean = series.box_mean(block.sides_m, t, **_numbers(block))
    return Cooling(
        target_c=material.opening_temperature_c,
        opening_s=(early, likely, late),
        curve_s=t,
        core_c=room_c + (start - room_c) * core,
        skin_c=room_c + (start - room_c) * skin,
        mean_c=room_c + (start - room_c) * mean,
        hottest_mm=(base_mm[0] / 2, base_mm[1] / 2, block.sides_m[2] / _M_PER_MM / 2 - base_powder_mm),
        method="hot block, product of slab series; starts at bed temperature all through, so it errs late",
    )


def cake_block(
    profile: LayerProfile,
    base_mm: tuple[float, float],
    extra_mm: float,
    material: Material,
    chamber_type: ChamberType,
) -> CakeBlock:
    """The block with the mass-weighted mean heat capacity of parts and powder."""
    height_mm = height_of(profile) + extra_mm
    volume = base_mm[0] * base_mm[1] * height_mm
    solid = profile.volume_mm3 / volume
    if not 0 <= solid < 1:
        raise InputError(f"parts fill {solid:.0%} of the cake", remedy="check base, height and layer areas")
    density = solid * material.sintered_density_g_cm3 + (1 - solid) * material.bed_density_g_cm3
    return CakeBlock(
        sides_m=(base_mm[0] * _M_PER_MM, base_mm[1] * _M_PER_MM, height_mm * _M_PER_MM),
        conductivity_w_mk=_positive(material.cake_conductivity_w_mk, "cake conductivity", material.name)
        * chamber_type.cooling_speed,
        capacity_j_m3k=_positive(density, "density", material.name)
        * _G_CM3_TO_KG_M3
        * _positive(material.cake_heat_capacity_j_kgk, "heat capacity", material.name),
        surface_w_m2k=_positive(chamber_type.surface_coefficient_w_m2k, "surface coefficient", chamber_type.name)
        * chamber_type.cooling_speed,
    )


def target_theta(material: Material, room_c: float) -> float:
    """The opening temperature as a fraction of the way from room to bed temperature."""
    start, target = material.bed_temperature_c, material.opening_temperature_c
    if not room_c < target < start:
        raise CellError(
            f"opening at {target} °C, room {room_c} °C, bed {start} °C",
            remedy="the opening temperature must lie between room and bed temperature",
            where=material.name,
        )
    return (target - room_c) / (start - room_c)


def _positive(value: float, what: str, where: str) -> float:
    if not value > 0:
        raise CellError(f"{what} is {value}", remedy="it must be above zero", where=where)
    return value


def _numbers(block: CakeBlock) -> dict[str, float]:
    return {
        "conductivity_w_mk": block.conductivity_w_mk,
        "diffusivity_m2s": block.diffusivity_m2s,
        "surface_w_m2k": block.surface_w_m2k,
    }


def _opening_s(block: CakeBlock, theta: float) -> float:
    return series.box_centre_seconds(block.sides_m, theta, **_numbers(block))


def _theta(block: CakeBlock, t: np.ndarray, at: tuple[float, ...]) -> np.ndarray:
    return series.box(block.sides_m, t, **_numbers(block), at=(at[0], at[1], at[2]))
