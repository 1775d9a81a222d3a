"""Working hours as minutes: local shifts, breaks, absences and holidays turned into spans on one axis.

The axis counts whole minutes from an origin in UTC. Every local day is converted on its own, so the day on
which the clocks change is 23 or 25 hours long. A wall time that the change skips counts as the
instant just after; one that occurs twice counts as its first occurrence.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from cakewright.model.cell import Person, Shift

Span = tuple[int, int]
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FAR = 1 << 40  # a minute that never comes
_MIN_PER_DAY = 24 * 60


def local_minute(origin: datetime, wall: datetime, zone: ZoneInfo) -> int:
    """The minute of a local wall time without zone."""
    return minutes_after(origin, wall.replace(tzinfo=zone).astimezone(UTC))


def minutes_after(origin: datetime, instant: datetime) -> int:
    """Whole minutes from origin to instant, rounded up."""
    return -int((origin - instant) // timedelta(minutes=1))


def instant_of(origin: datetime, minute: int) -> datetime:
    """The UTC instant of a minute on the axis."""
    return origin + timedelta(minutes=int(minute))


def person_spans(
    person: Person, holidays: Iterable[date], zone: ZoneInfo, origin: datetime, horizon_min: int
) -> list[Span]:
    """Spans in which a person works, clipped to [0, horizon_min): shifts less breaks, absences, holidays."""
    closed = set(holidays) | set(person.absent)
    spans: list[Span] = []
    for day in _days(zone, origin, horizon_min):
        if day in closed:
            continue
        for shift in person.shifts:
            if day.weekday() in shift.weekdays and counts(day, shift.every_weeks, shift.first_day):
                spans += _shift_spans(shift, day, zone, origin)
    return clip(merge(spans), horizon_min)


def counts(day: date, every_weeks: int, first_day: date | None) -> bool:
    """True in the week of `first_day` and every so many weeks before and after; weeks begin on Monday."""
    if every_weeks == 1 or first_day is None:
        return True
    weeks = (day.toordinal() - day.weekday() - first_day.toordinal() + first_day.weekday()) // len(WEEKDAYS)
    return weeks % every_weeks == 0


def weekday_spans(
    weekdays: Sequence[int],
    zone: ZoneInfo,
    origin: datetime,
    horizon_min: int,
    every_weeks: int = 1,
    first_day: date | None = None,
) -> list[Span]:
    """Whole local days of the given weekdays (none given: all) in weeks that count, clipped to [0, horizon_min)."""
    spans = [
        (_minute(day, time(0), zone, origin), _minute(day + timedelta(days=1), time(0), zone, origin))
        for day in _days(zone, origin, horizon_min)
        if (not weekdays or day.weekday() in weekdays) and counts(day, every_weeks, first_day)
    ]
    return clip(merge(spans), horizon_min)


def common(one: Iterable[Span], other: Sequence[Span]) -> list[Span]:
    """The minutes that lie in both."""
    return subtract(one, gaps(merge(other)))


def merge(spans: Iterable[Span]) -> list[Span]:
    """Sorted disjoint spans that cover the same minutes; touching spans become one."""
    merged: list[Span] = []
    for start, end in sorted(s for s in spans if s[1] > s[0]):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    return merged


def subtract(spans: Iterable[Span], holes: Iterable[Span]) -> list[Span]:
    """The minutes of `spans` that lie in no hole."""
    left = merge(spans)
    for a, b in holes:
        pieces = [((s, min(e, a)), (max(s, b), e)) for s, e in left]
        left = [p for pair in pieces for p in pair if p[1] > p[0]]
    return left


def clip(spans: Iterable[Span], horizon_min: int) -> list[Span]:
    """Spans cut to [0, horizon_min)."""
    return [(max(s, 0), min(e, horizon_min)) for s, e in spans if e > 0 and s < horizon_min]


def gaps(spans: Sequence[Span]) -> list[Span]:
    """The minutes outside `spans` from long before the origin until never."""
    edges = [-FAR, *(x for span in spans for x in span), FAR]
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a]


def words(origin: datetime, minute: int, zone: ZoneInfo) -> str:
    """Local day and time as people say it: 'Thu 14:20', with the date when it is a week or more away."""
    local = instant_of(origin, minute).astimezone(zone)
    today = origin.astimezone(zone).date()
    day = WEEKDAYS[local.weekday()]
    if not 0 <= (local.date() - today).days < len(WEEKDAYS):
        day = f"{day} {local.day} {MONTHS[local.month - 1]}"
    return f"{day} {local:%H:%M}"


def _days(zone: ZoneInfo, origin: datetime, horizon_min: int) -> list[date]:
    first = origin.astimezone(zone).date() - timedelta(days=1)  # a night shift may have begun yesterday
    return [first + timedelta(days=i) for i in range(horizon_min // _MIN_PER_DAY + 3)]


def _shift_spans(shift: Shift, day: date, zone: ZoneInfo, origin: datetime) -> list[Span]:
    start, end = _span(day, shift.start, shift.end, shift.start, zone, origin)
    breaks = [_span(day, a, b, shift.start, zone, origin) for a, b in shift.breaks]
    return subtract([(start, end)], breaks)


def _span(day: date, start: time, end: time, shift_start: time, zone: ZoneInfo, origin: datetime) -> Span:
    """From start to end; times before the shift's start belong to the next morning (night shifts)."""
    first = day + timedelta(days=1) if start < shift_start else day
    last = first + timedelta(days=1) if end <= start else first
    return _minute(first, start, zone, origin), _minute(last, end, zone, origin)


def _minute(day: date, wall: time, zone: ZoneInfo, origin: datetime) -> int:
    return minutes_after(origin, datetime.combine(day, wall, tzinfo=zone).astimezone(UTC))
