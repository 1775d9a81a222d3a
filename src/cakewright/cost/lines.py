"""The cost of one build, split over its order lines by what each of them causes.

Rule, column by column (docs/explanation/cost.md says why):

machine        hours x rate; a part (`height_weight`) by the height a line needs for itself, the rest by envelope
in parts       the sintered mass at the virgin price, by solid volume
refresh burden virgin powder used beyond what leaves in parts, by envelope; who asks for more pays for more
hands          build minutes by envelope; piece seconds and line minutes where they arise
finish         price of a basket, by envelope among the lines of the build that share the finish
risk           expected cost of builds that fail, in proportion to what the failed build would lose

Machine + powder + hands + finish + risk of all lines is the cost of the build, to rounding of floats.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.cost.failure import lost_hours_factor, lost_value_factor
from cakewright.cost.shares import FloatArray, by_levels, by_weight
from cakewright.errors import InputError
from cakewright.model.build import PowderNeed
from cakewright.model.plan import LineCost
from cakewright.sources.cost import HEIGHT_WEIGHT
from cakewright.units import S_PER_H, S_PER_MIN


@dataclass(frozen=True, slots=True)
class LineShare:
    """What one order line takes of one build, all its pieces in this build together.

    `solid_mm3` and `envelope_mm3` are sums over the pieces: the envelope of a piece is the space it
    keeps from others (its box or dilated volume, clearance included). `height_mm` is the height that
    one piece needs for itself, not where it happened to stand. Give measures per part, not per
    placement: then identical pieces cost the same. `refresh_ratio` is what the line's class asks for
    (None: as the build). `fixed_min` are line minutes charged in this build: give them once when a
    line is spread over builds. Finish price and staffed minutes are per basket; lines of the same
    `finish` share one.
    """

    line: int
    pieces: int
    solid_mm3: float
    envelope_mm3: float
    height_mm: float
    unpack_s_per_piece: float = 0.0
    count_s_per_piece: float = 0.0
    inspect_s_per_piece: float = 0.0
    fixed_min: float = 0.0
    finish: str = ""
    finish_price: float = 0.0
    finish_staffed_min: float = 0.0
    finish_s_per_piece: float = 0.0
    refresh_ratio: float | None = None

    def __post_init__(self) -> None:
        """Refuse a share that cannot be."""
        if self.pieces < 1:
            raise InputError(
                f"{self.pieces} pieces", remedy="leave the line out of the build", where=f"line {self.line}"
            )
        for name in ("solid_mm3", "envelope_mm3", "height_mm"):
            value = getattr(self, name)
            if not math.isfinite(value) or value <= 0:
                raise InputError(f"{name} is {value:g}", remedy="give a number above zero", where=f"line {self.line}")
        for name in self.__slots__[5:-1]:
            value = getattr(self, name)
            if isinstance(value, float | int) and not value >= 0:
                raise InputError(f"{name} is {value:g}", remedy="give zero or more", where=f"line {self.line}")

    @property
    def piece_hours(self) -> float:
        """Hands for all pieces: unpack, count, inspect."""
        seconds = self.unpack_s_per_piece + self.count_s_per_piece + self.inspect_s_per_piece
        return self.pieces * seconds / S_PER_H


def cost_build_lines(
    *,
    lines: Sequence[LineShare],
    machine_rate_per_h: float,
    print_hours: float,
    build_height_mm: float,
    hands_per_h: float,
    build_min: float,
    powder: PowderNeed,
    virgin_price_per_kg: float,
    failure_probability: float,
    height_weight: float = HEIGHT_WEIGHT.value,
) -> tuple[LineCost, ...]:
    """Cost of each line of one build, in the order of `lines`.

    `build_min` are staffed minutes for the build as a whole (load, lift out, unpack, sieve, clean).
    When powder used is less than what leaves in parts the refresh burden is negative: a credit for
    drawing down used stock. Add a line's costs over its builds with `add_costs`.
    """
    _check(lines, machine_rate_per_h, print_hours, build_height_mm, hands_per_h, build_min, virgin_price_per_kg)
    envelope = np.array([s.envelope_mm3 for s in lines])
    solid = np.array([s.solid_mm3 for s in lines])
    machine = _machine(machine_rate_per_h * print_hours, build_height_mm, height_weight, lines, envelope)
    in_parts = by_weight(powder.in_parts_kg * virgin_price_per_kg, solid)
    burden = _refresh_burden(powder, virgin_price_per_kg, lines, envelope)
    common = by_weight(hands_per_h * build_min * S_PER_MIN / S_PER_H, envelope)
    own = hands_per_h * np.array([s.piece_hours + s.fixed_min * S_PER_MIN / S_PER_H for s in lines])
    finish_hands, finish_price = _finish(lines, envelope, hands_per_h)
    # at least zero: a credit for used powder is no value that a failed build would give back
    at_stake = np.maximum(in_parts + burden, 0.0) + common
    risk = lost_hours_factor(failure_probability) * machine + lost_value_factor(failure_probability) * at_stake
    columns = (machine, in_parts, burden, common + own + finish_hands, finish_price, risk)
    return tuple(LineCost(s.line, *(float(column[i]) for column in columns)) for i, s in enumerate(lines))


def add_costs(costs: Sequence[LineCost]) -> tuple[LineCost, ...]:
    """One cost per line, added over builds, by line number."""
    sums: dict[int, FloatArray] = {}
    for c in costs:
        row = np.array([c.machine, c.powder_in_parts, c.refresh_burden, c.hands, c.finish, c.risk])
        sums[c.line] = sums.get(c.line, np.zeros(6)) + row
    return tuple(LineCost(line, *(float(x) for x in sums[line])) for line in sorted(sums))


def _machine(
    total: float, height_mm: float, weight: float, lines: Sequence[LineShare], envelope: FloatArray
) -> FloatArray:
    tall = by_levels(total * weight, height_mm, [s.height_mm for s in lines], envelope)
    return tall + by_weight(total * (1.0 - weight), envelope)


def _refresh_burden(
    powder: PowderNeed, price_per_kg: float, lines: Sequence[LineShare], envelope: FloatArray
) -> FloatArray:
    """Virgin beyond parts: the least ratio asked for is everybody's, each step above it is for those who ask."""
    top = powder.refresh_ratio
    asked = np.array([top if s.refresh_ratio is None else min(s.refresh_ratio, top) for s in lines])
    least = float(asked.min())
    everybody = least * powder.charge_kg - powder.in_parts_kg
    burden = by_weight(everybody * price_per_kg, envelope)
    if top > least:
        extra = (top - least) * powder.charge_kg
        burden = burden + by_levels(extra * price_per_kg, top - least, asked - least, envelope)
    return burden


def _finish(lines: Sequence[LineShare], envelope: FloatArray, hands_per_h: float) -> tuple[FloatArray, FloatArray]:
    """Hands and price of finishing: one basket for each finish, shared by envelope, plus piece seconds."""
    hands = np.array([hands_per_h * s.pieces * s.finish_s_per_piece / S_PER_H for s in lines])
    price = np.zeros(len(lines))
    for finish in sorted({s.finish for s in lines if s.finish}):
        here = np.array([s.finish == finish for s in lines])
        first = next(s for s in lines if s.finish == finish)
        weight = np.where(here, envelope, 0.0)
        hands = hands + by_weight(hands_per_h * first.finish_staffed_min * S_PER_MIN / S_PER_H, weight)
        price = price + by_weight(first.finish_price, weight)
    return hands, price


def _check(lines: Sequence[LineShare], *numbers: float) -> None:
    if not lines:
        raise InputError("a build without lines has nobody to pay for it", remedy="give at least one line")
    named = [s.line for s in lines]
    twice = sorted({n for n in named if named.count(n) > 1})
    if twice:
        raise InputError(f"line {twice[0]} is in the list twice", remedy="add its pieces into one share")
    names = ("machine rate", "print hours", "build height", "hands rate", "build minutes", "virgin price")
    for name, value in zip(names, numbers, strict=True):
        if not math.isfinite(value) or value < 0 or (name == "build height" and value == 0):
            raise InputError(f"the {name} is {value:g}", remedy="give a number that is not negative")
    for finish in {s.finish for s in lines if s.finish}:
        terms = {(s.finish_price, s.finish_staffed_min) for s in lines if s.finish == finish}
        if len(terms) > 1:
            raise InputError(
                f"finish {finish!r} has {len(terms)} different basket prices or minutes in one build",
                remedy="give every line of a finish the price and minutes of the basket",
            )
