"""An honest hourly rate of a machine from what it costs in a year."""

from __future__ import annotations

from cakewright.errors import InputError


def machine_rate_per_h(
    *, purchase: float, life_years: float, maintenance_per_year: float, hours_per_year: float
) -> float:
    """Cost of one printing hour: straight-line depreciation plus maintenance over the hours really used.

    The classical form of Hopkinson and Dickens (2003); space and energy are to be added to maintenance.
    """
    for name, value in (("purchase price", purchase), ("maintenance", maintenance_per_year)):
        if not value >= 0:
            raise InputError(f"the {name} is {value:g}", remedy="give zero or more")
    if not life_years > 0 or not 0 < hours_per_year <= 366 * 24:
        raise InputError(
            f"a life of {life_years:g} years at {hours_per_year:g} h a year",
            remedy="give a life above zero and printing hours of at most 8784 a year",
        )
    return (purchase / life_years + maintenance_per_year) / hours_per_year


def machine_cost_per_piece(rate_per_h: float, build_hours: float, pieces_per_build: int) -> float:
    """Machine cost of one of many equal pieces in full builds."""
    if pieces_per_build < 1 or not build_hours > 0:
        raise InputError(
            f"{pieces_per_build} pieces in {build_hours:g} h", remedy="give at least one piece and hours above zero"
        )
    return rate_per_h * build_hours / pieces_per_build
