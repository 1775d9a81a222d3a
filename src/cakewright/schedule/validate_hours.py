"""When somebody is at work, for the judge: shifts converted to UTC instants, without the solvers' calendars."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from cakewright.model.cell import Cell, Person, Shift

_MINUTE = timedelta(minutes=1)


def week_counts(day: date, every_weeks: int, first_day: date | None) -> bool:
    """True when the week of a day is one in which something that is not every week takes place."""
    if every_weeks == 1 or first_day is None:
        return True
    monday, first = (d - timedelta(days=d.isoweekday() - 1) for d in (day, first_day))
    return ((monday - first) // timedelta(weeks=1)) % every_weeks == 0


def somebody_in(cell: Cell, skill: str, start: datetime, end: datetime) -> bool:
    """True when at every minute of [start, end) somebody with the skill is at work."""
    people = [(p, p.last_day(skill)) for p in cell.people if skill in p.skills]
    steps = [(start + i * _MINUTE, start + (i + 1) * _MINUTE) for i in range((end - start) // _MINUTE)]
    return all(any(on_shift(cell, p, begin, over, last) for p, last in people) for begin, over in steps)


def on_shift(cell: Cell, person: Person, start: datetime, end: datetime, last: date | None = None) -> bool:
    """True when [start, end) can be walked along stretches of work; of shifts that begin until the day `last`."""
    stretches: list[tuple[datetime, datetime]] = []
    day = start.astimezone(cell.zone).date() - timedelta(days=1)
    while day <= end.astimezone(cell.zone).date():
        if day not in cell.holidays and day not in person.absent and (last is None or day <= last):
            for shift in person.shifts:
                if day.weekday() in shift.weekdays and week_counts(day, shift.every_weeks, shift.first_day):
                    stretches += _stretches(cell, shift, day)
        day += timedelta(days=1)
    at = start
    for begins, ends in sorted(stretches):
        if begins <= at < ends:
            at = ends
    return at >= end


def _stretches(cell: Cell, shift: Shift, day: date) -> list[tuple[datetime, datetime]]:
    """The parts of one shift between its breaks, in UTC."""

    def instant(wall: time, tomorrow: bool) -> datetime:
        return datetime.combine(day + timedelta(days=int(tomorrow)), wall, tzinfo=cell.zone).astimezone(UTC)

    at, over = instant(shift.start, False), instant(shift.end, shift.end <= shift.start)
    parts = []
    for pause, back in sorted((instant(a, a < shift.start), instant(b, b <= shift.start)) for a, b in shift.breaks):
        if pause < over:
            parts.append((at, pause))
            at = max(at, back)
    return [*parts, (at, over)]
