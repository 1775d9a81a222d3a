"""Measured lengths as CSV: one row for each, in any order of columns, comma, semicolon or tab between cells.

axis,wanted,measured[,hole][,x,y,z]      axis x, y or z of the chamber; mm; hole: yes or empty; place in the chamber
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path

from cakewright.errors import InputError

_NEEDED = ("axis", "wanted", "measured")
_YES = {"yes", "y", "true", "1", "hole"}


@dataclass(frozen=True, slots=True)
class WantedLength:
    """A length along chamber axis 0, 1, 2: as ordered and as measured, mm; `at_mm` its middle, when told."""

    axis: int
    wanted_mm: float
    measured_mm: float
    is_hole: bool = False
    at_mm: tuple[float, float, float] | None = None


def read_lengths(path: str | Path) -> tuple[WantedLength, ...]:
    """Every row of the file. InputError with line and remedy for what cannot be read."""
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as wrong:
        raise InputError(f"cannot be read: {wrong.strerror}", remedy="give the lengths", where=str(path)) from wrong
    except UnicodeDecodeError as wrong:
        raise InputError(f"byte {wrong.start} is not UTF-8", remedy="save it as UTF-8", where=str(path)) from wrong
    first = text.splitlines()[0] if text.strip() else ""
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=first.count))
    try:
        reader.fieldnames = [name.strip().lower() for name in reader.fieldnames or []]
        given = [(reader.line_num, row) for row in reader]
    except csv.Error as wrong:
        raise InputError(
            f"not readable as CSV: {wrong}", remedy="save it again from the spreadsheet", where=str(path)
        ) from wrong
    missing = [name for name in _NEEDED if name not in reader.fieldnames]
    if missing:
        raise InputError(f"no column {', '.join(missing)}", remedy="expected axis, wanted, measured", where=str(path))
    rows = [
        _length({k: (v or "").strip() for k, v in row.items() if isinstance(k, str)}, f"{path} line {number}")
        for number, row in given
        if any((v or "").strip() for v in row.values() if not isinstance(v, list))
    ]
    if not rows:
        raise InputError("there is no length in it", remedy="one row for each measured length", where=str(path))
    return tuple(rows)


def _length(row: dict[str, str], where: str) -> WantedLength:
    axis = row["axis"].lower()
    if axis not in ("x", "y", "z"):
        raise InputError(f"axis {row['axis']!r}", remedy="x, y or z of the chamber", where=where)
    place = [row.get(name, "") for name in ("x", "y", "z")]
    if any(place) and not all(place):
        raise InputError("one or two of x, y, z", remedy="give all three or none", where=where)
    at = tuple(_number(text, "place", where) for text in place) if all(place) else None
    return WantedLength(
        "xyz".index(axis),
        _number(row["wanted"], "wanted", where, above=0),
        _number(row["measured"], "measured", where, above=0),
        row.get("hole", "").lower() in _YES,
        (at[0], at[1], at[2]) if at else None,
    )


def _number(text: str, what: str, where: str, above: float = -math.inf) -> float:
    try:
        value = float(text.replace(",", ".")) if text.count(",") == 1 and "." not in text else float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > above):
        raise InputError(f"{what} is {text!r}", remedy="a number in mm", where=where)
    return value
