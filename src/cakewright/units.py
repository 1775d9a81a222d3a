"""One unit per quantity inside, converters for the world outside.

Inside cakewright a length is mm, a time s (schedules: whole minutes), a mass kg
(single parts: g, and the name says so), a temperature °C, an instant UTC.
"""

from enum import StrEnum

MM_PER_INCH = 25.4  # exact by definition (international yard and pound agreement, 1959)
MM3_PER_CM3 = 1_000.0
MM3_PER_L = 1_000_000.0
S_PER_H = 3_600.0
S_PER_MIN = 60.0
MIN_PER_H = 60
KELVIN_AT_0_C = 273.15


class LengthUnit(StrEnum):
    """Units in which a mesh file may state, or seem to state, its lengths."""

    MICRON = "micron"
    MILLIMETER = "millimeter"
    CENTIMETER = "centimeter"
    INCH = "inch"
    FOOT = "foot"
    METER = "meter"

    @property
    def mm(self) -> float:
        """Millimetres in one of this unit."""
        return _MM_IN[self]


_MM_IN = {
    LengthUnit.MICRON: 0.001,
    LengthUnit.MILLIMETER: 1.0,
    LengthUnit.CENTIMETER: 10.0,
    LengthUnit.INCH: MM_PER_INCH,
    LengthUnit.FOOT: 12 * MM_PER_INCH,
    LengthUnit.METER: 1000.0,
}


def hours(seconds: float) -> float:
    """Seconds to hours."""
    return seconds / S_PER_H


def litres(mm3: float) -> float:
    """Cubic millimetres to litres."""
    return mm3 / MM3_PER_L


def hours_minutes(minutes: float) -> str:
    """Minutes as a person says them: 95 -> '1 h 35 min'."""
    whole = round(minutes)
    h, m = divmod(whole, MIN_PER_H)
    if h == 0:
        return f"{m} min"
    return f"{h} h {m:02d} min" if m else f"{h} h"
