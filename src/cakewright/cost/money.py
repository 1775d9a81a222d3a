"""Money is decimal: amounts are rounded once, and shares are rounded so that they still add up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from cakewright.errors import InputError


def to_money(amount: float | Fraction, digits: int = 2) -> Decimal:
    """An amount rounded half-even to the currency's digits."""
    if isinstance(amount, float) and not math.isfinite(amount):
        raise InputError(f"an amount of {amount}", remedy="look for a missing rate or hours")
    exact = Fraction(amount)
    return _decimal(round(exact * 10**digits), digits)


def round_up(amount: float | Fraction | Decimal, step: Decimal = Decimal("0.01")) -> Decimal:
    """The next multiple of `step` that is not below the amount: for prices, never for costs."""
    if step <= 0:
        raise InputError(f"a price step of {step}", remedy="give a step above zero")
    value = amount if isinstance(amount, Decimal) else Decimal(repr(float(amount)))
    return (value / step).to_integral_value(ROUND_CEILING) * step


def share_out(amounts: Sequence[float | Fraction], digits: int = 2) -> tuple[Decimal, ...]:
    """Each amount in the currency's digits such that they add up to the rounded total.

    Largest remainders are rounded up first; each result is within one unit of its amount.
    """
    unit = 10**digits
    scaled = [_exact(a) * unit for a in amounts]
    floors = [math.floor(s) for s in scaled]
    left = round(sum(scaled, Fraction(0))) - sum(floors)
    order = sorted(range(len(scaled)), key=lambda i: (floors[i] - scaled[i], i))
    for i in order[:left]:
        floors[i] += 1
    return tuple(_decimal(f, digits) for f in floors)


def _exact(amount: float | Fraction) -> Fraction:
    if isinstance(amount, float) and not math.isfinite(amount):
        raise InputError(f"an amount of {amount}", remedy="look for a missing rate or hours")
    return Fraction(amount)


def _decimal(units: int, digits: int) -> Decimal:
    return Decimal(units).scaleb(-digits).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_EVEN)
