"""A price range for a line before it is nested: its share of a typical build, from full to half empty."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from cakewright.cost.lines import LineShare, cost_build_lines
from cakewright.cost.money import round_up
from cakewright.errors import InputError
from cakewright.model.build import PowderNeed
from cakewright.model.plan import LineCost


@dataclass(frozen=True, slots=True)
class TypicalBuild:
    """A usual build of the cell for one material: what `cost_build_lines` needs, and how it is filled.

    `envelope_fill` are low, likely and high shares of the chamber's usable volume that envelopes of
    parts occupy in this cell's builds; `packing_density` belongs to the likely one.
    """

    usable_mm3: float
    height_mm: float
    print_hours: float
    machine_rate_per_h: float
    hands_per_h: float
    build_min: float
    powder: PowderNeed
    virgin_price_per_kg: float
    failure_probability: float
    envelope_fill: tuple[float, float, float]
    solid_mm3: float

    def __post_init__(self) -> None:
        """Refuse fills that are no shares in rising order."""
        low, likely, high = self.envelope_fill
        if not 0.0 < low <= likely <= high <= 1.0:
            raise InputError(
                f"envelope fill {low:g} / {likely:g} / {high:g}", remedy="give three shares of the chamber, rising"
            )


@dataclass(frozen=True, slots=True)
class PriceRange:
    """Cost of the whole line for a full, usual and poorly filled build, and prices with margin, rounded up."""

    cost: tuple[LineCost, LineCost, LineCost]
    price: tuple[Decimal, Decimal, Decimal]
    builds: float


def quote_line(
    share: LineShare, typical: TypicalBuild, *, margin: float, step: Decimal = Decimal(1), minimum: Decimal = Decimal(0)
) -> PriceRange:
    """Low, likely and high price of a line in shared builds.

    `share` holds all pieces of the line; when they fill more than one build, the line takes builds of its
    own and a share of the last. `margin` 0.25 puts a quarter on top of cost; `minimum` is the least price.
    """
    if not margin >= 0:
        raise InputError(f"a margin of {margin:g}", remedy="give zero or more: 0.25 means 25 % on cost")
    low, likely, high = typical.envelope_fill
    costs = tuple(_cost_at(share, typical, fill, likely) for fill in (high, likely, low))
    prices = tuple(max(minimum, round_up(c.total * (1.0 + margin), step)) for c in costs)
    builds = share.envelope_mm3 / (typical.usable_mm3 * likely)
    return PriceRange((costs[0], costs[1], costs[2]), (prices[0], prices[1], prices[2]), builds)


def _cost_at(share: LineShare, typical: TypicalBuild, fill: float, likely: float) -> LineCost:
    """The line beside a stranger that takes the rest of `builds` typical builds filled to `fill`."""
    room = typical.usable_mm3 * fill
    builds = max(1.0, share.envelope_mm3 / room)
    rest = max(room * builds - share.envelope_mm3, room * 1e-9)
    solid = max(typical.solid_mm3 * fill / likely * rest / room, 1e-9)
    stranger = LineShare(-1, 1, solid, rest, share.height_mm)
    in_parts = typical.powder.in_parts_kg / typical.solid_mm3 * (share.solid_mm3 + solid)
    charge = typical.powder.charge_kg * builds
    need = replace(
        typical.powder, charge_kg=charge, virgin_kg=typical.powder.refresh_ratio * charge, in_parts_kg=in_parts
    )
    return cost_build_lines(
        lines=[share, stranger],
        machine_rate_per_h=typical.machine_rate_per_h,
        print_hours=typical.print_hours * builds,
        build_height_mm=max(typical.height_mm, share.height_mm),
        hands_per_h=typical.hands_per_h,
        build_min=typical.build_min * builds,
        powder=need,
        virgin_price_per_kg=typical.virgin_price_per_kg,
        failure_probability=typical.failure_probability,
    )[0]
