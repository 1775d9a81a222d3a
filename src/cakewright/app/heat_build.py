"""The heat of one build as its own machine and chamber give it, with the doubts that follow."""

from __future__ import annotations

import math
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from cakewright.model.build import Cooling, LayerProfile, Nest, PrintTime
from cakewright.model.cell import Cell, ChamberType, Machine, Material
from cakewright.model.heat import CakeHeat
from cakewright.model.mesh import Mesh
from cakewright.physics.cake import HeatModel, growth
from cakewright.physics.evenness import evenness_findings
from cakewright.physics.hotzones import hot_zone, hottest_piece, opening_of, without_crowding
from cakewright.physics.keep import keep_heat
from cakewright.physics.opening import DEFAULT_SPREAD, cool_build, warp_findings
from cakewright.units import S_PER_MIN


def heat_build(
    meshes: Mapping[str, Mesh], placed: Nest, profile: LayerProfile, hours: PrintTime, machine: Machine, cell: Cell
) -> tuple[Cooling, CakeHeat]:
    """Grow and cool the placed build; the simple curve for the calendar, and the record kept with the plan.

    The record's `dose` is what the powder ledger needs: hours at bed temperature, by region and as a mean.
    """
    chamber = cell.chamber_type(machine.chamber_type)
    material = cell.material(machine.material)
    model = heat_model(machine, chamber, material)
    heat = cool_build(
        meshes,
        placed.placements,
        profile,
        hours,
        base_mm=(chamber.x_mm, chamber.y_mm),
        base_powder_mm=chamber.base_mm,
        cover_powder_mm=chamber.cover_mm,
        material=material,
        chamber_type=chamber,
        room_c=cell.room_c,
        model=model,
        spread=(chamber.cooling_spread,) * 2 if chamber.cooling_spread else DEFAULT_SPREAD,
    )
    doubts = [*warp_findings(heat), *evenness_findings(profile, heat.solid, chamber.x_mm * chamber.y_mm)]
    quick = model.quick(heat.solid.grid.sides_mm)
    grown = growth(profile, hours, chamber.base_mm, chamber.cover_mm)
    with ThreadPoolExecutor(2) as pool:
        asked_zone = pool.submit(
            hot_zone, heat.solid, profile, hours, cover_powder_mm=chamber.cover_mm, material=material,
            chamber_type=chamber, room_c=cell.room_c, model=quick, opening_s=heat.cooling.opening_s[1],
        )  # fmt: skip
        asked_piece = pool.submit(
            hottest_piece, heat.solid, profile, hours, heat.cooling.hottest_mm, cover_powder_mm=chamber.cover_mm,
            material=material, chamber_type=chamber, room_c=cell.room_c, model=quick,
            opening_s=heat.cooling.opening_s[1],
        )  # fmt: skip
        stays = replace(quick, in_machine_s=math.inf)
        left_in = opening_of(heat.solid.share, heat.solid.grid, grown, material, chamber, cell.room_c, stays)
        zone, holding = asked_zone.result(), asked_piece.result()
    if zone is not None:
        doubts = without_crowding(doubts, zone, lambda late_h: _price(late_h, machine, cell))
    doubts += [holding] if holding else []
    return heat.cooling, keep_heat(heat, material, doubts, chamber.cooling_speed, left_in)


def heat_model(machine: Machine, chamber: ChamberType, material: Material) -> HeatModel:
    """What the cell file and the cell's own records say about the cooling of one build."""
    return HeatModel(
        in_machine_s=machine.minimum_cool_in_machine_min * S_PER_MIN,
        speed=chamber.cooling_speed,
        is_variable=material.varies_with_temperature,
        crystallisation_j_kg=material.crystallisation_j_kg,
    )


def _price(hours: float, machine: Machine, cell: Cell) -> str:
    """What the hours cost when the machine has to wait for this chamber: an upper bound."""
    return f"up to {hours * machine.rate_per_h:.0f} {cell.rates.currency} when a machine waits for this chamber"
