"""What each line costs, build by build, then added up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cakewright.app.nested_inside import credited
from cakewright.app.plan_build import envelope_mm3
from cakewright.cost.failure import failure_probability
from cakewright.cost.lines import LineShare, add_costs, cost_build_lines
from cakewright.model.build import Build
from cakewright.model.cell import Cell, Machine
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import LineCost


def plan_costs(
    builds: Sequence[Build],
    lines: Sequence[OrderLine],
    parts: Mapping[str, Part],
    part_of_line: Mapping[int, str],
    cell: Cell,
) -> tuple[LineCost, ...]:
    """Cost of every line that is in a build; minutes per order line are charged once, in its first build."""
    charged: set[int] = set()
    costs: list[LineCost] = []
    for build in builds:
        here = [line for line in lines if line.line in build.lines]
        shares = [
            line_share(
                line,
                len(build.pieces_of(line.line)),
                parts[part_of_line[line.line]],
                cell,
                is_first=line.line not in charged,
            )
            for line in here
        ]
        costs += cost_one_build(build, shares, cell, parts)
        charged |= {line.line for line in here}
    return add_costs(costs)


def cost_one_build(
    build: Build, shares: Sequence[LineShare], cell: Cell, parts: Mapping[str, Part]
) -> tuple[LineCost, ...]:
    """The cost of one build split over its lines; a hollow part is credited with what stands inside it."""
    machine = cell.machine(build.machine)
    return cost_build_lines(
        lines=credited(build, shares, parts, cell.nesting.clearance_mm),
        machine_rate_per_h=machine.rate_per_h,
        print_hours=build.print_time.hours,
        build_height_mm=build.nest.height_mm,
        hands_per_h=cell.rates.hands_per_h,
        build_min=staffed_build_minutes(machine, cell),
        powder=build.powder,
        virgin_price_per_kg=cell.material(build.material).virgin_price_per_kg,
        failure_probability=failure_probability(cell.failures.failed, cell.failures.builds),
    )


def line_share(line: OrderLine, pieces: int, part: Part, cell: Cell, *, is_first: bool) -> LineShare:
    """What `pieces` of a line take of one build; the minutes per order line belong to its first build.

    Measures are those of the part, not of where it happened to stand: identical pieces cost the same.
    """
    rates, quality, finish = cell.rates, cell.quality_class(line.quality_class), cell.finish(line.finish)
    return LineShare(
        line=line.line,
        pieces=pieces,
        solid_mm3=pieces * part.measures.volume_mm3,
        envelope_mm3=pieces * envelope_mm3(part, cell.nesting.clearance_mm),
        height_mm=min(part.measures.size_mm),
        unpack_s_per_piece=rates.unpack_s_per_piece,
        count_s_per_piece=rates.count_s_per_piece,
        inspect_s_per_piece=quality.inspect_s_per_piece,
        fixed_min=(rates.fixed_min_per_line + rates.pack_min_per_line) if is_first else 0.0,
        finish=finish.name if finish.steps else "",
        finish_price=finish.flat_price,
        finish_staffed_min=float(sum(step.staffed_min for step in finish.steps)),
        finish_s_per_piece=float(sum(step.per_piece_s for step in finish.steps)),
        refresh_ratio=quality.refresh_ratio,
    )


def staffed_build_minutes(machine: Machine, cell: Cell) -> float:
    """Hands for a build as a whole: load, lift out, unpack, clean."""
    clean = cell.chamber_type(machine.chamber_type).clean_min
    return machine.load_min + machine.unload_min + clean + cell.rates.unpack_min_per_build
