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


def grams_from_kg(kg: float, *, may_be_zero: bool = False) -> int:
    """Whole grams of a scale reading in kg; refuses what no scale shows."""
    if not math.isfinite(kg) or kg < 0 or (kg == 0 and not may_be_zero):
        raise InputError(f"a scale reading of {kg:g} kg", remedy="weigh again: zero or less is no reading")
    grams = round(kg * 1000)
    if grams == 0 and not may_be_zero:
        raise InputError(f"a scale reading of {kg:g} kg is below one gram", remedy="the ledger counts whole grams")
    return grams


def kg_text(grams: int) -> str:
    """Grams as people read them: 1250 -> '1.250 kg'."""
    return f"{grams / 1000:.3f} kg"
