"""People by what they may do on a day: somebody whose training ends has other skills before and after that day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, timedelta

from cakewright.model.cell import Cell, Person

_DAY = timedelta(days=1)


def trained_people(cell: Cell, origin: datetime, horizon_min: int) -> tuple[Person, ...]:
    """Everybody, with the skills of each stretch of days; whoever has an end of training is there once a stretch.

    The stretches of one person keep the name and never overlap: outside its days a stretch is absent. A shift belongs
    to the day on which it begins.
    """
    first = origin.astimezone(cell.zone).date() - _DAY  # a night shift may have begun yesterday
    last = (origin + timedelta(minutes=horizon_min)).astimezone(cell.zone).date() + _DAY
    return tuple(stretch for person in cell.people for stretch in _stretches(person, first, last))


def with_skill(cell: Cell, skill: str, origin: datetime, horizon_min: int) -> tuple[Person, ...]:
    """Those who have a skill at some time, absent while they do not."""
    return tuple(p for p in trained_people(cell, origin, horizon_min) if skill in p.skills)


def ended_words(cell: Cell, skill: str, day: date | None = None) -> str:
    """Whose training for a skill has ended on a day, or ends at all, in words behind a sentence; '' for nobody."""
    ends = [(p.name, end) for p in cell.people for s, end in p.until if s == skill and (day is None or end < day)]
    said = [f"{name} is not trained for it" if end == date.min else f"the training of {name} ends on {end}"
            for name, end in ends]  # fmt: skip
    return f"; {', '.join(said)}" if said else ""


def _stretches(person: Person, first: date, last: date) -> Iterable[Person]:
    ends = sorted({end for skill, end in person.until if skill in person.skills})
    if not ends:
        return [person]
    found = []
    starts = [first, *(end + _DAY for end in ends if first <= end < last)]
    for begin, over in zip(starts, [*(s - _DAY for s in starts[1:]), last], strict=True):
        skills = tuple(s for s in person.skills if person.may(s, begin))
        away = {first + n * _DAY for n in range((last - first).days + 1)} - {
            begin + n * _DAY for n in range((over - begin).days + 1)
        }
        found.append(replace(person, skills=skills, absent=(*person.absent, *sorted(away)), until=()))
    return found
