"""How far the database has come: a few largest numbers, read in one look, that tell one program what others added."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Column, Connection, func, select

from cakewright.store import schema, schema_floor, schema_offers, schema_powder, schema_schedule

_COUNTED: dict[str, tuple[Column[int], ...]] = {
    "plans": (schema.plan.c.version,),
    "week": (schema_schedule.commitment.c.number, schema_schedule.progress.c.number, schema_schedule.stop.c.number),
    "floor": (schema_floor.floor_record.c.number, schema.piece_record.c.number),
    "powder": (schema_powder.entry.c.number, schema_powder.remark.c.number, schema_powder.reading.c.number),
    "offers": (schema_offers.offer_event.c.id,),
}


@dataclass(frozen=True, slots=True)
class Marks:
    """A number for each part, which grows with whatever is added there."""

    plans: int
    week: int
    floor: int
    powder: int
    offers: int


def marks_of(link: Connection) -> Marks:
    """The marks as one transaction sees them; each is a look at the end of an index, whatever lies before it."""
    largest = [
        select(func.coalesce(func.max(column), 0)).scalar_subquery()
        for columns in _COUNTED.values()
        for column in columns
    ]
    found = iter(link.execute(select(*largest)).one())
    return Marks(**{name: sum(int(next(found)) for _ in columns) for name, columns in _COUNTED.items()})
