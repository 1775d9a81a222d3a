"""What a value of a cell file may look like: one small reader for each kind of value.

A reader takes what TOML gave and returns what the model wants, or raises NotThis saying what was
expected instead.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time

from cakewright.sources.printability import LIMIT_MEANINGS
from cakewright.sources.quality import AQL_COLUMNS

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LARGEST = 1e15  # no length, time, mass or price of a cell comes near; above it arithmetic loses its grip
_TIME = re.compile(r"(\d{1,2}):(\d{2})")

Reader = Callable[[object], object]


class NotThis(Exception):  # noqa: N818 - never leaves this package
    """The value is not what was expected; the text says what would be."""


@dataclass(frozen=True, slots=True)
class Number:
    """A finite number within bounds; `above` is exclusive, `least` and `most` are not."""

    unit: str
    above: float | None = None
    least: float | None = None
    most: float | None = None
    whole: bool = False

    @property
    def expected(self) -> str:
        """The bounds in words."""
        what = "a whole number" if self.whole else "a number"
        limits = [f"above {self.above:g}"] if self.above is not None else []
        limits += [f"at least {self.least:g}"] if self.least is not None else []
        limits += [f"at most {self.most:g}"] if self.most is not None else []
        unit = f" ({self.unit})" if self.unit and self.unit != "-" else ""
        return " ".join([what, " and ".join(limits)]).strip() + unit

    def __call__(self, value: object) -> float | int:
        """The number, or NotThis."""
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < LARGEST:
            raise NotThis(f"{self.expected}, without quotes")
        too_low = (self.above is not None and value <= self.above) or (self.least is not None and value < self.least)
        if too_low or (self.most is not None and value > self.most) or (self.whole and value != int(value)):
            raise NotThis(self.expected)
        return int(value) if self.whole else float(value)


def text(value: object) -> str:
    """A text that is not blank."""
    if not isinstance(value, str) or not value.strip():
        raise NotThis('a text in quotes, such as "A1"')
    return value.strip()


def free_text(value: object) -> str:
    """Any text, also an empty one."""
    if not isinstance(value, str):
        raise NotThis("a text in quotes")
    return value.strip()


def texts(value: object) -> tuple[str, ...]:
    """A list of texts."""
    if not isinstance(value, list):
        raise NotThis('a list of texts, such as ["start", "unpack"]')
    return tuple(text(item) for item in value)


def weekdays(value: object) -> tuple[int, ...]:
    """A list of weekdays, 0 = Monday."""
    if not isinstance(value, list) or any(day not in WEEKDAYS for day in value):
        raise NotThis(f"a list of weekdays out of {', '.join(WEEKDAYS)}, such as ['mon', 'tue']")
    return tuple(sorted({WEEKDAYS.index(day) for day in value}))


def some_weekdays(value: object) -> tuple[int, ...]:
    """At least one weekday."""
    found = weekdays(value)
    if not found:
        raise NotThis("at least one weekday, such as ['mon']")
    return found


def clock(value: object) -> time:
    """A time of day as 'HH:MM' (or a bare TOML time)."""
    if isinstance(value, time):
        return value
    hit = _TIME.fullmatch(value.strip()) if isinstance(value, str) else None
    if hit is None or int(hit[1]) > 23 or int(hit[2]) > 59:
        raise NotThis("a time from '00:00' to '23:59', such as '06:30'")
    return time(int(hit[1]), int(hit[2]))


def breaks(value: object) -> tuple[tuple[time, time], ...]:
    """Pauses inside a shift, each as 'HH:MM-HH:MM'."""
    expected = "a list of pauses such as ['12:00-12:30'], each ending after it starts"
    if not isinstance(value, list) or any(not isinstance(item, str) or item.count("-") != 1 for item in value):
        raise NotThis(expected)
    found = tuple((clock(start), clock(end)) for start, _, end in (item.partition("-") for item in value))
    if any(start >= end for start, end in found):
        raise NotThis(expected)
    return tuple(sorted(found))


def dates(value: object) -> tuple[date, ...]:
    """A list of days as 2027-05-01, with or without quotes."""
    if not isinstance(value, list):
        raise NotThis("a list of days, such as [2027-05-01, 2027-05-17]")
    return tuple(sorted({_day(item) for item in value}))


def moment(value: object) -> datetime:
    """A day and a time of day, local, as 2027-03-08T06:00 with or without quotes."""
    expected = "a day and a time without zone, such as 2027-03-08T06:00"
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError as wrong:
            raise NotThis(expected) from wrong
    if not isinstance(value, datetime) or value.tzinfo is not None:
        raise NotThis(expected)
    return value


def day(value: object) -> date:
    """A day as 2027-05-01, with or without quotes."""
    return _day(value)


def yes_no(value: object) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise NotThis("true or false, without quotes")
    return value


def triple(value: object) -> tuple[float, float, float]:
    """Three numbers above zero, for x, y and z."""
    if not isinstance(value, list) or len(value) != 3:
        raise NotThis("three numbers for x, y and z, such as [1.031, 1.031, 1.029]")
    positive = Number("-", above=0)
    x, y, z = (float(positive(item)) for item in value)
    return (x, y, z)


def four(value: object) -> tuple[float, float, float, float]:
    """Four factors above zero."""
    if not isinstance(value, list) or len(value) != 4:
        raise NotThis("four numbers above 0, such as [1.0, 1.1, 1.0, 1.0]")
    positive = Number("-", above=0)
    a, b, c, d = (float(positive(item)) for item in value)
    return (a, b, c, d)


def offsets(value: object) -> tuple[float, float, float]:
    """Three small distances for x, y and z; negative ones allowed."""
    if not isinstance(value, list) or len(value) != 3:
        raise NotThis("three numbers for x, y and z in mm, such as [-0.075, -0.075, -0.05]")
    small = Number("mm", least=-1, most=1)
    x, y, z = (float(small(item)) for item in value)
    return (x, y, z)


def slopes(value: object) -> tuple[tuple[float, float, float], ...]:
    """Nothing, or three rows of three small numbers per mm."""
    if value == []:
        return ()
    if not isinstance(value, list) or len(value) != 3 or any(not isinstance(r, list) or len(r) != 3 for r in value):
        raise NotThis("three rows of three numbers per mm, such as [[0, 0, 1e-5], [0, 0, 1e-5], [0, 0, 0]]")
    small = Number("1/mm", least=-1e-3, most=1e-3)
    return tuple((float(small(a)), float(small(b)), float(small(c))) for a, b, c in value)


def printability(value: object) -> tuple[tuple[str, float], ...]:
    """Limits by name, each above zero."""
    if not isinstance(value, dict) or not value:
        raise NotThis("names and numbers, such as { hole_mm = 1.2, moving_mm = 0.4 }")
    positive = Number("", above=0)
    for name in value:
        if name not in LIMIT_MEANINGS or name == "wall_mm":
            raise NotThis(
                f"names among {', '.join(n for n in LIMIT_MEANINGS if n != 'wall_mm')}; the wall is minimum_wall_mm"
            )
    return tuple((str(name), float(positive(number))) for name, number in value.items())


def aql(value: object) -> float:
    """An AQL of the tables of ISO 2859-1 in per cent, 0 for none."""
    if isinstance(value, bool) or not isinstance(value, int | float) or value not in (0, *AQL_COLUMNS):
        raise NotThis(f"0 or an AQL of the table in %: {', '.join(f'{a:g}' for a in AQL_COLUMNS)}")
    return float(value)


def _day(value: object) -> date:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError as wrong:
        raise NotThis("days that exist, written as 2027-05-01") from wrong
