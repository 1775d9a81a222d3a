"""Planned against actual cost, split into volume, mix, yield, usage and price that add up to the cent.

The steps change one thing at a time, in this order: total quantity, shares of the lines, pieces started
for each good one, use for each started piece, price of the use. Each variance is the cost after its
step minus the cost before it, so the sum is actual minus planned by construction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from cakewright.cost.money import share_out
from cakewright.errors import InputError

Number = int | float | Decimal


@dataclass(frozen=True, slots=True)
class Use:
    """What one line took of one resource (machine hours, virgin kg, minutes).

    `good` pieces delivered, `started` pieces begun for them, `used` of the resource in all, `price` of
    one unit of it.
    """

    line: int
    good: int
    started: int
    used: Number
    price: Number

    def __post_init__(self) -> None:
        """Refuse what would divide by nothing."""
        if self.good < 1 or self.started < self.good:
            raise InputError(
                f"{self.good} good of {self.started} started pieces",
                remedy="give at least one good piece, and at least as many started",
                where=f"line {self.line}",
            )
        if not self.used >= 0 or not self.price >= 0:
            raise InputError(f"use {self.used} at {self.price}", remedy="give zero or more", where=f"line {self.line}")

    @property
    def cost(self) -> Fraction:
        """Use times price, exact."""
        return Fraction(self.used) * Fraction(self.price)


@dataclass(frozen=True, slots=True)
class Variance:
    """Actual minus planned cost by cause; positive is dearer. The five add up to `total` exactly."""

    volume: Decimal
    mix: Decimal
    yield_loss: Decimal
    usage: Decimal
    price: Decimal

    @property
    def total(self) -> Decimal:
        """All causes."""
        return self.volume + self.mix + self.yield_loss + self.usage + self.price


def split_variance(planned: Sequence[Use], actual: Sequence[Use], digits: int = 2) -> Variance:
    """Variance of one resource over the same lines, in currency units with `digits` decimals."""
    before, after = {u.line: u for u in planned}, {u.line: u for u in actual}
    if before.keys() != after.keys() or not before or len(before) != len(planned) or len(after) != len(actual):
        odd = sorted(before.keys() ^ after.keys())
        raise InputError(
            f"planned and actual do not name the same lines once each (differing: {odd})",
            remedy="give each line once in both; a line not planned is compared with its quote",
        )
    lines = sorted(before)
    q0, q1 = (sum(side[n].good for n in lines) for side in (before, after))
    grown = [_cost(before[n], good=Fraction(before[n].good * q1, q0)) for n in lines]
    mixed = [_cost(before[n], good=Fraction(after[n].good)) for n in lines]
    begun = [_rate(before[n]) * Fraction(before[n].price) * after[n].started for n in lines]
    used = [_rate(after[n]) * Fraction(before[n].price) * after[n].started for n in lines]
    steps = [
        sum(side, Fraction(0)) for side in ([before[n].cost for n in lines], grown, mixed, begun, used,
                                            [after[n].cost for n in lines])
    ]  # fmt: skip
    return Variance(*share_out([b - a for a, b in pairwise(steps)], digits))


def _rate(use: Use) -> Fraction:
    """Use per started piece."""
    return Fraction(use.used) / use.started


def _cost(use: Use, good: Fraction) -> Fraction:
    """Cost of `good` pieces at this line's yield, use and price."""
    return good * Fraction(use.started, use.good) * _rate(use) * Fraction(use.price)
