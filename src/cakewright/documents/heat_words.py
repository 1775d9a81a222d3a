"""What heat, energy and risk of a build mean, in sentences and rows: the same on page, report and paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from cakewright.documents.timeline import hours_of
from cakewright.documents.words import duration, moment, money, percent
from cakewright.findings import Finding
from cakewright.model.build import Build
from cakewright.model.heat import CakeHeat
from cakewright.model.mesh import FloatArray
from cakewright.model.plan import WeekPlan
from cakewright.physics.energy import EnergyUse, energy_findings, energy_use
from cakewright.physics.risk import ValueAtRisk, hazard_of, value_at_risk
from cakewright.sources import physics as numbers
from cakewright.sources.stop import STOP_MARGIN
from cakewright.units import S_PER_H, S_PER_MIN

_KG_PER_MM3_OF_G_CM3 = 1e-6


@dataclass(frozen=True, slots=True)
class PieceRow:
    """One piece for people: when it is cold, and how warm it would be when opened at the time asked about."""

    piece: str
    line: int
    name: str
    cold: tuple[str, str, str]
    opened_c: float
    is_hot: bool
    at_print_end_c: float
    hours_soft: float
    front_c_mm: float


@dataclass(frozen=True, eq=False)
class RiskView:
    """What a stop would cost. Values in the cell's currency; `low`, `high` hold 90 % of the chance per build."""

    chance: float
    low: float
    high: float
    at_risk: ValueAtRisk
    layer_mm: float

    @property
    def dearest_mm(self) -> float:
        """Height at which a stop spoils most."""
        return float(np.argmax(self.at_risk.cut)) * self.layer_mm


def may_leave_s(plan: WeekPlan, build: Build) -> float:
    """Seconds after the print end when the chamber may leave the machine: cold skin and the cell's own minimum."""
    least = plan.cell.machine(build.machine).minimum_cool_in_machine_min * S_PER_MIN
    return max(least, build.heat.may_leave_s if build.heat else float("inf"))


def may_leave_words(plan: WeekPlan, build: Build, *, is_brief: bool = False) -> str:
    """When the chamber may leave the machine; brief: only when."""
    heat = build.heat
    if heat is None:
        return ""
    waits = may_leave_s(plan, build)
    end = hours_of(plan, build).print_end
    when = f", {moment(end + timedelta(seconds=waits), plan.cell.zone)}" if end and np.isfinite(waits) else ""
    skin = numbers.LEAVE_SKIN.value
    stays = (
        f" Left in the machine it would open {duration(heat.left_in_s)} after the print end." if heat.left_in_s else ""
    )
    said = f"The chamber may leave the machine {duration(waits)} after the print end{when}"
    if is_brief:
        return f"{said}."
    if waits > heat.may_leave_s:
        return f"{said}: the time the cell file asks for; its skin is below {skin:g} °C by then.{stays}"
    trust = numbers.LEAVE_SKIN.status.value
    return f"{said}: not before its skin is below {skin:g} °C ({trust}). Until then keep it under gas.{stays}"


def piece_rows(plan: WeekPlan, build: Build, after_s: float) -> tuple[PieceRow, ...]:
    """Every piece, hottest first, as if the cake were opened `after_s` seconds after the print end."""
    heat, target = build.heat, build.cooling.target_c
    if heat is None:
        return ()
    line_of = {p.piece: p.line for p in build.nest.placements}
    rows = []
    for piece, celsius in heat.opened_at(after_s):
        p = heat.of_piece(piece)
        line = plan.line(line_of[piece])
        cold = tuple(duration(s) for s in p.opening_s)
        rows.append(
            PieceRow(
                piece, line.line, line.title, (cold[0], cold[1], cold[2]), celsius, celsius > target, p.at_print_end_c,
                p.hours_soft, p.front_c_mm,
            )
        )  # fmt: skip
    return tuple(rows)


def early_words(build: Build, after_s: float) -> str:
    """What opening then would lay bare, in one sentence."""
    heat, target = build.heat, build.cooling.target_c
    if heat is None:
        return ""
    hot = [(piece, c) for piece, c in heat.opened_at(after_s) if c > target]
    core = float(np.interp(after_s, build.cooling.curve_s, build.cooling.core_c))
    then = f"{duration(after_s)} after the print end"
    if not hot and core <= target:
        return f"{then} nothing is above {target:g} °C in the likely case. Measure first."
    if not hot:
        return f"{then} the pieces are below {target:g} °C, powder in the core is at {core:.0f} °C."
    worst = ", ".join(f"{piece} {c:.0f} °C" for piece, c in hot[:3])
    return (
        f"Opened {then}, {len(hot)} of {len(heat.pieces)} pieces would be above "
        f"{target:g} °C ({worst}); the core {core:.0f} °C. Hot flats bend, hot surfaces yellow, hot powder burns."
    )


def dose_words(heat: CakeHeat) -> str:
    """How much the powder of this build ages."""
    dose = heat.dose
    return (
        f"The unsintered powder ages as in {dose.mean_h:.1f} h at bed temperature, "
        f"up to {dose.largest_h:.1f} h in its hottest region."
    )


def energy_of(plan: WeekPlan, build: Build) -> EnergyUse:
    """Electricity and gas of a build on the machine chosen for it."""
    return energy_use(build.print_time, plan.cell.machine(build.machine), build.powder.in_parts_kg)


def energy_words(plan: WeekPlan, build: Build) -> str:
    """Electricity and gas in one sentence, with how far to trust it."""
    use = energy_of(plan, build)
    per_kg = f" ({use.kwh_per_kg:.0f} kWh per kg of parts)" if use.kwh_per_kg is not None else ""
    trust = "from the machine's own figures" if use.is_measured else "from default figures, unverified"
    return f"About {use.kwh:.0f} kWh{per_kg}, {use.gas_m3:.0f} m³ of inert gas ({trust})."


def energy_by_line(plan: WeekPlan, build: Build) -> tuple[tuple[int, float, float], ...]:
    """(line, kWh, m³ of gas) of the pieces of each line in a build; together they are the whole build."""
    use = energy_of(plan, build)
    mass = {p.piece: plan.parts[p.part_key].measures.volume_mm3 for p in build.nest.placements}
    whole = sum(mass.values())
    out = []
    for line in build.lines:
        mine = sum(mass[p.piece] for p in build.nest.placements if p.line == line)  # its cages too
        kwh, gas = use.share_of(use.parts_kg * mine / whole if whole > 0 else 0.0)
        out.append((line, kwh, gas))
    return tuple(out)


def risk_of(plan: WeekPlan, build: Build) -> RiskView:
    """What a stop in each layer would leave, valued at the planned cost of the pieces."""
    layers = [b.profile.layers for b in plan.builds]
    hazard = hazard_of(plan.cell.failures, max(float(np.mean(layers)), 1.0))
    cost = {c.line: c.total / plan.line(c.line).quantity for c in plan.costs}
    value = {p.piece: 0.0 if p.is_cage else cost.get(p.line, 0.0) for p in build.nest.placements}
    at_risk = value_at_risk(
        build.nest.placements, value, hazard, layer_mm=build.profile.layer_mm, layers=build.profile.layers,
        margin_mm=STOP_MARGIN.value,
    )  # fmt: skip
    n = build.profile.layers
    low, high = (float(1 - np.exp(-rate * n)) for rate in hazard.interval())
    return RiskView(float(1 - hazard.survives(n)), low, high, at_risk, build.profile.layer_mm)


def risk_words(plan: WeekPlan, build: Build) -> str:
    """The risk in two sentences."""
    risk, currency = risk_of(plan, build), plan.cell.rates.currency
    record = plan.cell.failures
    bounds = f"90 % between {percent(risk.low, 1)} and {percent(risk.high, 1)}"
    return (
        f"Chance that it stops: {percent(risk.chance, 1)} ({bounds}; "
        f"{record.failed} of {record.builds} builds on record). Expected loss in pieces begun: "
        f"{money(risk.at_risk.expected_scrap, currency)}; a stop spoils most at {risk.dearest_mm:.0f} mm."
    )


def heat_doubts(plan: WeekPlan, build: Build) -> tuple[Finding, ...]:
    """Warp, crowding, jumps of area, and an energy figure nobody has published."""
    found: list[Finding] = list(build.heat.findings) if build.heat else []
    use = energy_of(plan, build)
    if use.parts_kg > 0:
        found += energy_findings(use.kwh, use.parts_kg, build.key)
    return tuple(found)


def warp_pieces(build: Build) -> tuple[str, ...]:
    """Pieces flagged for warp, steep gradients first: whoever unpacks sets them down flat and last."""
    heat = build.heat
    flagged = [f for f in heat.findings if f.code in ("heat.steep-gradient", "heat.soft-for-long")] if heat else []
    ordered = sorted(flagged, key=lambda f: f.code != "heat.steep-gradient")
    return tuple(dict.fromkeys(f.where for f in ordered))


def warp_note(build: Build, most: int = 10) -> str:
    """A caution for whoever unpacks: which pieces may have moved, and what to do with them; '' when none."""
    pieces = warp_pieces(build)
    if not pieces:
        return ""
    shown = ", ".join(pieces[:most]) + (f" and {len(pieces) - most} more" if len(pieces) > most else "")
    return (
        f"May warp: {shown}. Take them out last, lay them on a flat plate, do not blow them cold, measure them first."
    )


def density_zones(plan: WeekPlan, build: Build) -> tuple[FloatArray, tuple[FloatArray, FloatArray, FloatArray]]:
    """Share of plastic in the regions of the dose, (nz, ny, nx), with their edges (z, y, x) in mm."""
    heat = build.heat
    if heat is None:
        return np.zeros((0, 0, 0)), (np.zeros(0), np.zeros(0), np.zeros(0))
    d = heat.dose
    edges = (d.edges_z_mm, d.edges_y_mm, d.edges_x_mm)
    room = np.einsum("i,j,k->ijk", *(np.diff(e) for e in edges))
    full_kg = room * plan.cell.material(build.material).bed_density_g_cm3 * _KG_PER_MM3_OF_G_CM3
    return np.clip(1.0 - d.powder_kg / full_kg, 0.0, 1.0), edges


def after_hours(build: Build) -> Sequence[float]:
    """Moments worth asking about, seconds after the print end: quarters of the likely opening, then early to late."""
    early, likely, late = build.cooling.opening_s
    return sorted({0.0, 0.25 * likely, 0.5 * likely, 0.75 * likely, early, likely, late})


def hours_text(seconds: float) -> str:
    """'6.5 h'."""
    return f"{seconds / S_PER_H:.1f} h"
