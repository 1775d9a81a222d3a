"""What people record at the bench: written once, never changed, the last word about a piece counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy import Connection, insert, select

from cakewright.errors import InputError, StoreError
from cakewright.store import schema

LONGEST_NOTE = 500


class PieceState(StrEnum):
    """What somebody says about a piece at break-out. OPEN takes an earlier word back."""

    FOUND = "found"
    MISSING = "missing"
    BROKEN = "broken"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class PieceRecord:
    """One word about one piece."""

    number: int
    plan: int
    build: str
    piece: str
    state: PieceState
    by: str
    at: datetime
    note: str = ""


def add_record(
    link: Connection, *, plan: int, build: str, piece: str, state: PieceState, by: str, at: datetime, note: str
) -> int:
    """Append a record inside the open transaction; its number. InputError without a name or for a strange piece."""
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who you are", where="by")
    if len(note) > LONGEST_NOTE:
        raise InputError(f"the note has {len(note)} characters", remedy=f"keep it below {LONGEST_NOTE}", where="note")
    placement = schema.placement.c
    where = (placement.plan == plan) & (placement.build == build) & (placement.piece == piece)
    if link.scalar(select(placement.piece).where(where)) is None:
        raise InputError(f"there is no piece {piece} in build {build} of plan {plan}", where="piece")
    record = schema.piece_record
    same = (record.c.plan == plan) & (record.c.build == build) & (record.c.piece == piece) & (record.c.at == at)
    same &= (record.c.state == state.value) & (record.c.by == by.strip())
    known = link.scalar(select(record.c.number).where(same))
    if known is not None:  # a tablet that was offline sends again what had arrived
        return int(known)
    row = {"plan": plan, "build": build, "piece": piece, "state": state.value, "by": by.strip(), "at": at, "note": note}
    number = link.scalar(insert(schema.piece_record).returning(schema.piece_record.c.number), row)
    if number is None:
        raise StoreError("the record was not kept", remedy="do it again")
    return int(number)


def records_of(link: Connection, plan: int, build: str) -> tuple[PieceRecord, ...]:
    """Every record of a build, oldest first."""
    record = schema.piece_record
    query = select(record).where((record.c.plan == plan) & (record.c.build == build)).order_by(record.c.number)
    rows = link.execute(query).mappings()
    return tuple(PieceRecord(**{**row, "state": PieceState(row["state"])}) for row in rows)


def last_words(records: tuple[PieceRecord, ...]) -> dict[str, PieceRecord]:
    """The record that counts for each piece: said last, whenever it arrived; pieces taken back are not in it."""
    latest = {record.piece: record for record in sorted(records, key=lambda r: (r.at, r.number))}
    return {piece: record for piece, record in latest.items() if record.state is not PieceState.OPEN}
