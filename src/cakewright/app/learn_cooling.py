"""From probe readings to one number for each chamber type: how much faster its cakes cool than computed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from cakewright.app.heat_build import heat_model
from cakewright.errors import InputError
from cakewright.model.cell import Cell, ChamberType
from cakewright.model.mesh import FloatArray
from cakewright.model.plan import WeekPlan
from cakewright.physics.opening import watch_build
from cakewright.physics.probe import Speed, fit_speed, reading_at
from cakewright.sources import physics as numbers
from cakewright.store import Store
from cakewright.store.physics import KeptReading, KeptSpeed
from cakewright.units import S_PER_H

_LIMIT_C = (-20.0, 400.0)


def take_reading(
    store: Store,
    build: str,
    at_mm: tuple[float, float, float] | None,
    after_h: float,
    celsius: float,
    *,
    plan: int | None = None,
    by: str,
    at: datetime,
    note: str = "",
) -> tuple[Speed, ChamberType]:
    """Keep a temperature measured in a cake and learn the number of its chamber type anew.

    `at_mm` is chamber x, y and height above the first part layer (default: the computed hottest place),
    `after_h` hours after the print end. All readings of the chamber type count. InputError for a build that
    the plan does not have, an impossible temperature, or a place outside the cake. A reading later than the computed
    history counts against its last moment.
    """
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who you are", where="by")
    if not _LIMIT_C[0] < celsius < _LIMIT_C[1]:
        raise InputError(f"{celsius:g} °C", remedy="a temperature in °C", where="celsius")
    owner = store.load_plan(plan)
    known = {b.key: b for b in owner.builds}
    if build not in known:
        raise InputError(f"plan {owner.version} has no build {build!r}", remedy=f"use one of: {', '.join(known)}")
    place = at_mm or known[build].cooling.hottest_mm
    reading = KeptReading(owner.version, build, place, after_h * S_PER_H, celsius)
    chamber = owner.cell.chamber_type(known[build].chamber_type)
    readings = (*store.physics.readings(chamber.name), reading)
    speed = fit_chamber(chamber, readings, store, owner)  # before keeping: a reading that cannot be used is refused
    store.physics.add_readings([reading], by=by, at=at, note=note)
    kept = KeptSpeed(chamber.name, basis_of(owner.cell, chamber), len(readings), speed.value, speed.low, speed.high)
    store.physics.add_speed(kept, by=by, at=at)
    return speed, chamber


def fit_chamber(chamber: ChamberType, readings: Sequence[KeptReading], store: Store, newest: WeekPlan) -> Speed:
    """The speed that fits all readings of one chamber type, with the properties of `newest`."""
    plans = {newest.version: newest}
    for version in {r.plan for r in readings} - set(plans):
        plans[version] = store.load_plan(version)
    cakes: dict[tuple[int, str], list[KeptReading]] = {}
    for r in readings:
        cakes.setdefault((r.plan, r.build), []).append(r)
    order = [r for mine in cakes.values() for r in mine]

    def predict(speed: float) -> FloatArray:
        shown: list[float] = []
        for (version, build), mine in cakes.items():
            time_s, watch_c = _watched(plans[version], build, [r.at_mm for r in mine], newest.cell, speed)
            last = float(time_s[-1])  # a quicker cake is cold sooner: it then stays as it is
            shown += [reading_at(time_s, watch_c[:, i], min(r.after_s, last)) for i, r in enumerate(mine)]
        return np.array(shown)

    return fit_speed([r.celsius for r in order], predict)


def with_learnt_cooling(chamber: ChamberType, speeds: Mapping[str, KeptSpeed], cell: Cell) -> ChamberType:
    """The chamber type with its learnt number; as it is without one, or when the properties changed since."""
    kept = speeds.get(chamber.name)
    if kept is None or kept.basis != basis_of(cell, chamber):
        return chamber
    spread = max(kept.high / kept.value, numbers.LEARNT_SPREAD_LEAST.value)
    return replace(chamber, cooling_speed=kept.value, cooling_spread=spread)


def basis_of(cell: Cell, chamber: ChamberType) -> str:
    """The properties that a learnt number belongs to, in words; another text means: measure again."""
    names = sorted({c.material for c in cell.chambers if c.type == chamber.name})
    powders = (cell.material(name) for name in names)
    of = [f"{m.name} {m.cake_conductivity_w_mk:g} W/(m K), {m.cake_heat_capacity_j_kgk:g} J/(kg K)" for m in powders]
    return f"skin {chamber.surface_coefficient_w_m2k:g} W/(m² K); {'; '.join(of)}"


def _watched(
    plan: WeekPlan, key: str, places: Sequence[tuple[float, float, float]], cell: Cell, speed: float
) -> tuple[FloatArray, FloatArray]:
    build = plan.build(key)
    chamber = cell.chamber_type(build.chamber_type)
    machine = cell.machine(build.machine)
    meshes = {p.part_key: plan.parts[p.part_key].mesh for p in build.nest.placements}
    return watch_build(
        meshes, build.nest.placements, build.profile, build.print_time, base_mm=(chamber.x_mm, chamber.y_mm),
        base_powder_mm=chamber.base_mm, cover_powder_mm=chamber.cover_mm, material=cell.material(build.material),
        chamber_type=chamber, room_c=cell.room_c,
        model=replace(heat_model(machine, chamber, cell.material(build.material)), speed=speed), watch_mm=places,
    )  # fmt: skip
