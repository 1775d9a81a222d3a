"""What a crowded zone costs in hours, and what moving one piece would win: computed, not guessed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from cakewright.findings import Finding, Severity
from cakewright.model.build import LayerProfile, PrintTime
from cakewright.model.cell import ChamberType, Material
from cakewright.model.mesh import FloatArray
from cakewright.physics.cake import Cake, Growth, HeatModel, growth
from cakewright.physics.evenness import Advice, advice, advice_near, zones
from cakewright.physics.grid import CakeGrid, SolidGrid
from cakewright.physics.opening import crossing
from cakewright.sources import physics as numbers
from cakewright.units import S_PER_H


@dataclass(frozen=True, slots=True)
class HotZone:
    """The most crowded zone of a cake.

    `later_h`: hours by which the real cake opens later than one with the same plastic spread evenly;
    `saved_h`: hours won by moving the piece of `move` to the emptiest zone (None when it cannot stand there).
    """

    move: Advice
    later_h: float
    saved_h: float | None


def hot_zone(
    solid: SolidGrid,
    profile: LayerProfile,
    print_time: PrintTime,
    *,
    cover_powder_mm: float,
    material: Material,
    chamber_type: ChamberType,
    room_c: float,
    model: HeatModel,
    opening_s: float,
) -> HotZone | None:
    """Cool the cake twice more, with its plastic spread evenly and with one piece moved; None without a crowded zone.

    `opening_s` is the likely opening of the cake as it is. The moved piece may overlap others there: the answer
    tells what its heat does in the other place, nesting must find it a free one.
    """
    move = advice(solid, zones(solid))
    if move is None:
        return None
    grown = growth(profile, print_time, solid.grid.base_powder_mm, cover_powder_mm)

    def opens(share: FloatArray) -> float:
        return opening_of(share, solid.grid, grown, material, chamber_type, room_c, model)

    even = opens(np.full_like(solid.share, float(solid.share.mean())))
    other = moved_share(solid, move)
    saved = None if other is None else (opening_s - opens(other)) / S_PER_H
    return HotZone(move, (opening_s - even) / S_PER_H, saved)


def hottest_piece(
    solid: SolidGrid,
    profile: LayerProfile,
    print_time: PrintTime,
    hottest_mm: tuple[float, float, float],
    *,
    cover_powder_mm: float,
    material: Material,
    chamber_type: ChamberType,
    room_c: float,
    model: HeatModel,
    opening_s: float,
) -> Finding | None:
    """The thickest piece at the place that is cold last, when moving it would open the cake sooner; else None.

    The piece with most plastic in the zones round `hottest_mm` is put into the emptiest zone and the cake cooled
    once more; arguments as for `hot_zone`.
    """
    found = zones(solid)
    move = advice_near(solid, found, hottest_mm)
    share = None if move is None else moved_share(solid, move)
    if move is None or share is None:
        return None
    grown = growth(profile, print_time, solid.grid.base_powder_mm, cover_powder_mm)
    saved = (opening_s - opening_of(share, solid.grid, grown, material, chamber_type, room_c, model)) / S_PER_H
    if saved <= numbers.LATER_WORTH_SAYING.value:
        return None
    x, y, z = move.to_mm
    return Finding(
        "heat.holds-the-cake",
        Severity.NOTE,
        f"stands where the cake is cold last; elsewhere the cake would open {saved:.1f} h sooner",
        move.piece,
        f"move it towards {x:.0f}, {y:.0f}, {z:.0f} mm when dates are tight",
        move.from_mm,
        saved,
        numbers.LATER_WORTH_SAYING.value,
        "h",
    )


def opening_of(
    share: FloatArray,
    grid: CakeGrid,
    grown: Growth,
    material: Material,
    chamber_type: ChamberType,
    room_c: float,
    model: HeatModel,
) -> float:
    """Likely opening of a cake with this share of plastic, seconds after the print end; nothing else is kept."""
    run = Cake(
        SolidGrid(grid, share, (), (), ()), grown, material, chamber_type, room_c, model, with_details=False
    ).run()
    return crossing(np.array(run.time_s), np.array(run.hottest_c), material.opening_temperature_c, room_c)


def moved_share(solid: SolidGrid, move: Advice) -> FloatArray | None:
    """The share of plastic with one piece shifted by whole cells; None when it would leave the cake."""
    piece = solid.pieces.index(move.piece)
    nz, ny, nx = solid.grid.cells
    where = np.array(np.unravel_index(solid.cells[piece], (nz, ny, nx)))
    shift = [(b - a) / d for a, b, d in zip(move.from_mm[::-1], move.to_mm[::-1], solid.grid.size_mm, strict=True)]
    there = where + np.round(shift).astype(np.int64)[:, None]
    limit = np.array([nz, ny, nx])[:, None]
    low, high = there.min(axis=1, keepdims=True), there.max(axis=1, keepdims=True)
    there += np.maximum(-low, 0) - np.maximum(high - (limit - 1), 0)  # as near as the walls allow
    if (there < 0).any() or (there >= limit).any():
        return None
    share = solid.share.copy()
    volume = solid.volume_mm3[piece] / solid.grid.cell_mm3
    np.subtract.at(share, tuple(where), volume)
    np.add.at(share, tuple(there), volume)
    return np.clip(share, 0.0, 1.0)


def hot_zone_finding(zone: HotZone, price: Callable[[float], str]) -> Finding:
    """The zone in words with its price; `price` turns hours of a blocked chamber into money, in words."""
    x, y, z = zone.move.to_mm
    at = ", ".join(f"{v:.0f}" for v in zone.move.from_mm)
    said = f"{zone.move.crowding:.1f} times the mean plastic around {at} mm"
    if zone.later_h > numbers.LATER_WORTH_SAYING.value:
        said += f"; the cake opens {zone.later_h:.1f} h later than one filled evenly ({price(zone.later_h)})"
    do = f"move it towards {x:.0f}, {y:.0f}, {z:.0f} mm, where the cake is emptiest"
    if zone.saved_h is not None and zone.saved_h > numbers.LATER_WORTH_SAYING.value:
        do += f": wins {zone.saved_h:.1f} h"
    elif zone.saved_h is not None:
        do += "; that alone does not open the cake sooner"
    return Finding(
        "heat.crowded-zone", Severity.NOTE, said, zone.move.piece, do, zone.move.from_mm, zone.move.crowding,
        unit="times the mean",
    )  # fmt: skip


def without_crowding(findings: list[Finding], zone: HotZone, price: Callable[[float], str]) -> list[Finding]:
    """The findings of `evenness_findings` with the plain word about crowding replaced by the priced one."""
    priced = hot_zone_finding(zone, price)
    return [replace(priced) if f.code == priced.code else f for f in findings]
