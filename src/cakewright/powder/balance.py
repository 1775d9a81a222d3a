"""How much powder a build needs, how much comes back, and which refresh ratio keeps the used drum level."""

from __future__ import annotations

from cakewright.errors import InputError
from cakewright.model.build import PowderNeed
from cakewright.model.cell import Material
from cakewright.powder.checks import need_fraction, need_positive, need_zero_or_more
from cakewright.units import MM3_PER_CM3

_G_PER_KG = 1000.0


def powder_need(
    *,
    height_mm: float,
    base_area_mm2: float,
    base_mm: float,
    cover_mm: float,
    parts_volume_mm3: float,
    material: Material,
    overflow_fraction: float,
    dead_kg: float,
    refresh_ratio: float,
    refresh_reason: str,
) -> PowderNeed:
    """Powder of one build in kg; nothing appears and nothing vanishes.

    cake = bed density x (base area x (height + base + cover) - parts) + parts; the recoater lays down
    `overflow_fraction` of that on top (it ends in the overflow), and `dead_kg` stays in hoppers and feeds.
    All of it is weighed out: charge = cake x (1 + overflow) + dead. Of what is not sintered the
    material's `loss_fraction` is lost, the rest comes back (the dead powder counts as coming back).

    `base_area_mm2` is the inner area of the chamber, `height_mm` the height of the part layers,
    `parts_volume_mm3` the solid volume of all pieces. Surplus is what the used stock grows by (negative:
    it shrinks). Source: mass balance; see docs/explanation/powder.md.
    """
    parts_mm3 = need_zero_or_more("the solid volume of the parts", parts_volume_mm3, "mm³")
    space_mm3 = need_positive("the height of the build", height_mm, "mm") + need_zero_or_more("base", base_mm, "mm")
    space_mm3 = (space_mm3 + need_zero_or_more("cover", cover_mm, "mm")) * need_positive(
        "the base area of the chamber", base_area_mm2, "mm²"
    )
    if parts_mm3 > space_mm3:
        raise InputError(
            f"parts of {parts_mm3 / 1000:.1f} cm³ in a cake of {space_mm3 / 1000:.1f} cm³",
            remedy="check the unit of the meshes and the height of the nest: parts cannot be larger than their cake",
        )
    ratio = need_fraction("the refresh ratio", refresh_ratio)
    in_parts = parts_mm3 / MM3_PER_CM3 * material.sintered_density_g_cm3 / _G_PER_KG
    loose = (space_mm3 - parts_mm3) / MM3_PER_CM3 * material.bed_density_g_cm3 / _G_PER_KG
    overflow = need_zero_or_more("the overflow fraction", overflow_fraction, "of the cake") * (in_parts + loose)
    unsintered = loose + overflow + need_zero_or_more("the dead powder", dead_kg, "kg")
    charge = in_parts + unsintered
    loss = need_fraction("the loss fraction", material.loss_fraction) * unsintered
    virgin = ratio * charge
    return PowderNeed(
        charge_kg=charge,
        virgin_kg=virgin,
        used_kg=charge - virgin,
        in_parts_kg=in_parts,
        loss_kg=loss,
        back_kg=unsintered - loss,
        refresh_ratio=ratio,
        break_even_ratio=(in_parts + loss) / charge,
        surplus_kg=virgin - in_parts - loss,
        refresh_reason=refresh_reason,
    )


def break_even_refresh(
    *,
    packing_density: float,
    sintered_density_g_cm3: float,
    bed_density_g_cm3: float,
    loss_fraction: float = 0.0,
    overflow_fraction: float = 0.0,
) -> float:
    """The virgin share of a charge that just replaces what leaves in parts and losses.

    `packing_density` is solid volume over the volume of the whole cake (base and cover included),
    `loss_fraction` the share of the unsintered powder that is lost, `overflow_fraction` as in
    `powder_need`. Without overflow: a = (f rs + l (1 - f) rp) / (f rs + (1 - f) rp).
    """
    density = need_fraction("the packing density", packing_density)
    parts = density * need_positive("the sintered density", sintered_density_g_cm3, "g/cm³")
    loose = (1.0 - density) * need_positive("the bed density", bed_density_g_cm3, "g/cm³")
    cake = parts + loose
    unsintered = loose + need_zero_or_more("the overflow fraction", overflow_fraction, "of the cake") * cake
    return (parts + need_fraction("the loss fraction", loss_fraction) * unsintered) / (parts + unsintered)


def density_for_refresh(
    *,
    refresh_ratio: float,
    sintered_density_g_cm3: float,
    bed_density_g_cm3: float,
    loss_fraction: float = 0.0,
    overflow_fraction: float = 0.0,
) -> float | None:
    """Packing density of the whole cake at which a refresh ratio balances; None when no density does.

    The inverse of `break_even_refresh`, solved in closed form: both sides are linear in the density.
    """
    ratio = need_fraction("the refresh ratio", refresh_ratio)
    at = [
        _leaving_minus_virgin(f, ratio, sintered_density_g_cm3, bed_density_g_cm3, loss_fraction, overflow_fraction)
        for f in (0.0, 1.0)
    ]
    if at[0] > 0.0 or at[1] < 0.0 or at[0] == at[1]:
        return None
    return -at[0] / (at[1] - at[0])


def _leaving_minus_virgin(f: float, ratio: float, rs: float, rp: float, loss: float, overflow: float) -> float:
    """What leaves minus the virgin share, per unit of cake volume, at packing density f (linear in f)."""
    parts, loose = f * rs, (1.0 - f) * rp
    unsintered = loose + overflow * (parts + loose)
    return parts + loss * unsintered - ratio * (parts + unsintered)
