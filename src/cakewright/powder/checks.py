"""Refusals shared by the powder pages: each names the figure, what was expected and what to do."""

from __future__ import annotations

import math

from cakewright.errors import InputError


def need_positive(what: str, value: float, unit: str) -> float:
    """`value` when it is finite and above zero."""
    if not math.isfinite(value) or value <= 0.0:
        raise InputError(f"{what} is {value:g} {unit}", remedy="give a number above zero")
    return value


def need_zero_or_more(what: str, value: float, unit: str) -> float:
    """`value` when it is finite and not negative."""
    if not math.isfinite(value) or value < 0.0:
        raise InputError(f"{what} is {value:g} {unit}", remedy="give zero or a number above it")
    return value


def need_fraction(what: str, value: float) -> float:
    """`value` when it lies between 0 and 1."""
    if not 0.0 <= value <= 1.0:
        raise InputError(f"{what} is {value:g}", remedy="give a share between 0 and 1 (0.4 means 40 %)")
    return value
