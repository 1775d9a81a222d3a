"""Price range and date for one part, from its mesh."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from cakewright.app.effort import Effort
from cakewright.app.intake import read_part
from cakewright.app.plan_build import bulk_litres, envelope_mm3
from cakewright.app.plan_builds import plan_builds
from cakewright.app.plan_costs import line_share, plan_costs, staffed_build_minutes
from cakewright.app.plan_dates import plan_dates, week_start
from cakewright.cost.failure import failure_probability
from cakewright.cost.lines import LineShare, add_costs, cost_build_lines
from cakewright.errors import DoesNotFitError
from cakewright.findings import Severity
from cakewright.model.build import Build, LayerProfile
from cakewright.model.cell import Cell
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import LineCost, LinePromise
from cakewright.physics.buildtime import print_time
from cakewright.powder.balance import powder_need
from cakewright.sources.plan import ENVELOPE_FILL, TYPICAL_DENSITY


@dataclass(frozen=True, eq=False)
class Quote:
    """What can be said on the phone: `shared` in a full mixed build, `alone` in builds of its own."""

    line: OrderLine
    part: Part
    shared: LineCost
    alone: LineCost
    builds: tuple[Build, ...]
    promise: LinePromise


def quote_file(
    file: Path, line: OrderLine, cell: Cell, *, start: datetime | None, now: datetime, effort: Effort, seed: int = 1
) -> Quote:
    """Quote a mesh file: read and check it, then `quote_order`. Raises MeshFileError or DoesNotFitError."""
    part = read_part(line, cell, file)
    blocking = next((f for f in part.findings if f.severity is Severity.BLOCKING), None)
    if blocking is not None:
        raise DoesNotFitError(blocking.message, remedy=blocking.remedy, where=file.name)
    begin = week_start(start, now, [line], cell)
    return quote_order(replace(line, due=begin.date()), part, cell, start=begin, effort=effort, seed=seed)


def quote_order(line: OrderLine, part: Part, cell: Cell, *, start: datetime, effort: Effort, seed: int = 1) -> Quote:
    """Quote one line in an otherwise empty cell.

    The part is really nested, sliced, cooled and scheduled alone: that gives the dearer price and the
    earliest date. The cheaper price is its share of a full chamber of typical density. Raises
    DoesNotFitError when the part has no place in the chamber.
    """
    parts, part_of_line = {part.key: part}, {line.line: part.key}
    builds, without_place = plan_builds([line], parts, part_of_line, cell, start=start, effort=effort, seed=seed)
    if not builds:
        raise DoesNotFitError(without_place[0].reason, remedy=without_place[0].remedy, where=part.name)
    litres = bulk_litres([line], parts, part_of_line, cell.nesting.clearance_mm)
    _, promises, builds = plan_dates(builds, [line], litres, cell, start=start, effort=effort, seed=seed)
    alone = plan_costs(builds, [line], parts, part_of_line, cell)[0]
    shared = shared_cost(line, part, cell)
    return Quote(line, part, shared if shared.total < alone.total else alone, alone, builds, promises[0])


def shared_cost(line: OrderLine, part: Part, cell: Cell) -> LineCost:
    """Cost of a line as one of many in full chambers of typical density and envelope fill."""
    machine = cell.machines_for(line.material)[0]
    chamber = cell.chamber_type(machine.chamber_type)
    material, quality = cell.material(line.material), cell.quality_class(line.quality_class)
    area, height = chamber.x_mm * chamber.y_mm, chamber.usable_height_mm
    layers = int(height / machine.layer_mm)
    profile = LayerProfile(
        machine.layer_mm,
        np.full(layers, area * TYPICAL_DENSITY.value),
        np.zeros(layers),
        np.ones(layers, dtype=np.int32),
    )
    hours = print_time(profile, machine, extra_layers_mm=chamber.base_mm + chamber.cover_mm).hours
    powder = powder_need(
        height_mm=height,
        base_area_mm2=area,
        base_mm=chamber.base_mm,
        cover_mm=chamber.cover_mm,
        parts_volume_mm3=profile.volume_mm3,
        material=material,
        overflow_fraction=machine.feed_overflow_fraction,
        dead_kg=machine.dead_powder_kg,
        refresh_ratio=quality.refresh_ratio,
        refresh_reason=f"class {quality.name}",
    )
    room = area * height * ENVELOPE_FILL.value
    per_build = max(1, int(room / envelope_mm3(part, cell.nesting.clearance_mm)))
    costs: list[LineCost] = []
    left = line.quantity
    while left > 0:
        share = line_share(line, min(left, per_build), part, cell, is_first=left == line.quantity)
        others = LineShare(  # whatever else is in the chamber; only its room and mass matter
            line=-1,
            pieces=1,
            solid_mm3=max(profile.volume_mm3 - share.solid_mm3, 1.0),
            envelope_mm3=max(room - share.envelope_mm3, 1.0),
            height_mm=height,
            refresh_ratio=quality.refresh_ratio,
        )
        costs += cost_build_lines(
            lines=[share, others],
            machine_rate_per_h=machine.rate_per_h,
            print_hours=hours,
            build_height_mm=height,
            hands_per_h=cell.rates.hands_per_h,
            build_min=staffed_build_minutes(machine, cell),
            powder=powder,
            virgin_price_per_kg=material.virgin_price_per_kg,
            failure_probability=failure_probability(cell.failures.failed, cell.failures.builds),
        )[:1]
        left -= share.pieces
    return add_costs(costs)[0]
