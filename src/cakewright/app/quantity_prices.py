"""What other quantities of a part would cost in builds of their own: really nested, so the saw-tooth is real."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from cakewright.app.plan_build import Batch, nest_batch
from cakewright.app.plan_costs import line_share, staffed_build_minutes
from cakewright.cost.failure import failure_probability
from cakewright.cost.lines import add_costs, cost_build_lines
from cakewright.model.build import Nest
from cakewright.model.cell import Cell, Machine
from cakewright.model.mesh import FloatArray
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import LineCost
from cakewright.nesting.orientations import orientations_for
from cakewright.nesting.task import NestPiece
from cakewright.physics.buildtime import print_time
from cakewright.physics.layers import layer_profile
from cakewright.powder.balance import powder_need
from cakewright.sources.cost import QUANTITY_DROP
from cakewright.stopping import MaxSteps

QUANTITIES = (1, 2, 5, 10, 20, 50, 100)


@dataclass(frozen=True, slots=True)
class QuantityPrice:
    """Cost of `quantity` pieces in builds of their own; `is_break` when a piece really costs less.

    That is: at least `cost.quantity_drop` less than in every smaller quantity of the list.
    """

    quantity: int
    builds: int
    cost: LineCost
    is_break: bool

    @property
    def unit(self) -> float:
        """Cost of one piece."""
        return self.cost.total / self.quantity


def quantity_prices(
    line: OrderLine, part: Part, cell: Cell, quantities: Sequence[int] = QUANTITIES, *, seed: int = 1
) -> tuple[QuantityPrice, ...]:
    """The cost of each quantity, smallest first; each is nested once, without a search, and sliced.

    Heat and calendar are left out: they change the date, not the cost. DoesNotFit is not raised here: a part
    with no place in the chamber gives an empty answer.
    """
    found: list[QuantityPrice] = []
    best = float("inf")
    for quantity in sorted({q for q in quantities if q > 0}):
        priced = _price(replace(line, quantity=quantity), part, cell, seed)
        if priced is None:
            return ()
        builds, cost = priced
        unit = cost.total / quantity
        is_break = bool(found) and unit <= best * (1 - QUANTITY_DROP.value)
        found.append(QuantityPrice(quantity, builds, cost, is_break))
        best = min(best, unit)
    return tuple(found)


def _price(line: OrderLine, part: Part, cell: Cell, seed: int) -> tuple[int, LineCost] | None:
    machine = cell.machines_for(line.material)[0]
    rotations = {part.key: orientations_for(part.mesh, part.orientation, seed)}
    costs: list[LineCost] = []
    left, capacity = line.quantity, None
    while left:
        wanted = left if capacity is None else min(left, capacity)
        placed = _nested(line, part, cell, machine, rotations, wanted, seed)
        here = len(placed.placements)
        if not here:
            return None
        full = here < wanted
        capacity = here if full else capacity
        repeats = left // here if full else 1  # equal full builds need not be computed twice
        cost = _build_cost(line, part, cell, machine, placed, is_first=not costs)
        costs.append(cost)
        if repeats > 1:
            again = _build_cost(line, part, cell, machine, placed, is_first=False)
            costs += [again] * (repeats - 1)
        left -= here * repeats
    return len(costs), add_costs(costs)[0]


def _nested(
    line: OrderLine,
    part: Part,
    cell: Cell,
    machine: Machine,
    rotations: Mapping[str, FloatArray],
    wanted: int,
    seed: int,
) -> Nest:
    pieces = tuple(NestPiece(f"{line.key}-{i + 1:03d}", part.key, line.line) for i in range(wanted))
    batch = Batch("Q", machine, pieces, "a quote", ())
    return nest_batch(batch, {part.key: part}, rotations, cell, stop=MaxSteps(0), seed=seed)


def _build_cost(line: OrderLine, part: Part, cell: Cell, machine: Machine, placed: Nest, *, is_first: bool) -> LineCost:
    chamber, material = cell.chamber_type(machine.chamber_type), cell.material(line.material)
    profile = layer_profile({part.key: part.mesh}, placed.placements, machine.layer_mm, placed.height_mm)
    hours = print_time(profile, machine, extra_layers_mm=chamber.base_mm + chamber.cover_mm).hours
    pieces = len(placed.placements)
    powder = powder_need(
        height_mm=placed.height_mm,
        base_area_mm2=chamber.x_mm * chamber.y_mm,
        base_mm=chamber.base_mm,
        cover_mm=chamber.cover_mm,
        parts_volume_mm3=pieces * part.measures.volume_mm3,
        material=material,
        overflow_fraction=machine.feed_overflow_fraction,
        dead_kg=machine.dead_powder_kg,
        refresh_ratio=cell.quality_class(line.quality_class).refresh_ratio,
        refresh_reason=f"class {line.quality_class}",
    )
    return cost_build_lines(
        lines=[line_share(line, pieces, part, cell, is_first=is_first)],
        machine_rate_per_h=machine.rate_per_h,
        print_hours=hours,
        build_height_mm=placed.height_mm,
        hands_per_h=cell.rates.hands_per_h,
        build_min=staffed_build_minutes(machine, cell),
        powder=powder,
        virgin_price_per_kg=material.virgin_price_per_kg,
        failure_probability=failure_probability(cell.failures.failed, cell.failures.builds),
    )[0]
