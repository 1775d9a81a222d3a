"""When somebody is in: shifts of the cell's people as instants, for shading and for marking lonely events."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta

from cakewright.model.cell import Cell, Person

Window = tuple[datetime, datetime]


def _instant(cell: Cell, on: date, at: time) -> datetime:
    return datetime.combine(on, at, tzinfo=cell.zone).astimezone(UTC)


def hours_of_person(cell: Cell, person: Person, start: datetime, end: datetime) -> list[Window]:
    """[start, end) windows in UTC in which a person works, breaks not taken out, clipped to the span."""
    windows = []
    on = start.astimezone(cell.zone).date() - timedelta(days=1)
    last = end.astimezone(cell.zone).date()
    while on <= last:
        if on not in cell.holidays and on not in person.absent:
            for shift in person.shifts:
                if on.weekday() in shift.weekdays:
                    until = on if shift.end > shift.start else on + timedelta(days=1)
                    windows.append((_instant(cell, on, shift.start), _instant(cell, until, shift.end)))
        on += timedelta(days=1)
    return merged((max(a, start), min(b, end)) for a, b in windows if b > start and a < end)


def staffed(cell: Cell, start: datetime, end: datetime) -> list[Window]:
    """Windows in which at least one person is in."""
    return merged(w for p in cell.people for w in hours_of_person(cell, p, start, end))


def merged(windows: Iterable[Window]) -> list[Window]:
    """Sorted windows without overlaps."""
    out: list[Window] = []
    for a, b in sorted(windows):
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return out


def is_staffed(windows: Iterable[Window], when: datetime) -> bool:
    """True when `when` lies in one of the windows."""
    return any(a <= when < b for a, b in windows)
