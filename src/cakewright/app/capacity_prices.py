"""What the added machine, chambers or shift cost a week, so that a gain is never shown without its price."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from cakewright.errors import InputError
from cakewright.model.cell import Cell, Shift
from cakewright.sources.cost import RATE_HOURS_PER_YEAR

WEEKS_PER_YEAR = 365.25 / 7


@dataclass(frozen=True, slots=True)
class WeekPrices:
    """Cost of owning or paying one more for a week, in the cell's currency; None: nobody said.

    `machine` and `chamber` are for one, `shift` for the whole second shift.
    """

    machine: float | None = None
    chamber: float | None = None
    shift: float | None = None

    def __post_init__(self) -> None:
        """Prices are zero or more."""
        for name, value in (("machine", self.machine), ("chamber", self.chamber), ("shift", self.shift)):
            if value is not None and (not math.isfinite(value) or value < 0):
                raise InputError(
                    f"a week of the {name} costs {value:g}", remedy="give zero or more, or leave it empty", where=name
                )


def usual_prices(cell: Cell, machine: str, shift: Shift) -> WeekPrices:
    """What the cell's own rates say: a chamber has no rate there and stays unsaid.

    A machine: its hourly rate times the printing hours that such rates are spread over. A shift: paid hours,
    breaks left out, times the hourly rate of hands.
    """
    rate = cell.machine(machine).rate_per_h
    return WeekPrices(
        machine=rate * RATE_HOURS_PER_YEAR.value / WEEKS_PER_YEAR,
        shift=paid_hours(shift) * cell.rates.hands_per_h,
    )


def paid_hours(shift: Shift) -> float:
    """Working hours of a shift in a mean week, breaks left out."""
    length = _between(shift.start, shift.end) - sum((_between(a, b) for a, b in shift.breaks), timedelta())
    return len(shift.weekdays) * length / timedelta(hours=1) / shift.every_weeks


def _between(start: time, end: time) -> timedelta:
    day = date(2001, 1, 1)
    a, b = datetime.combine(day, start), datetime.combine(day, end)
    return b - a if b > a else b - a + timedelta(days=1)
