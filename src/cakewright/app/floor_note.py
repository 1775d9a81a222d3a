"""One way to keep a record of the floor, for every page that writes one."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from uuid import uuid4

from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.store import Store


def keep(
    store: Store,
    plan: WeekPlan,
    kind: FloorKind,
    data: Mapping[str, Value],
    *,
    by: str,
    at: datetime,
    build: str = "",
    line: int | None = None,
    piece: str = "",
    uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:
    """Append one record; sent twice with the same `uid` it is kept once. InputError without a name."""
    record = FloorRecord(uid or uuid4().hex, plan.version, kind, by, at, build, line, piece, dict(data))
    return store.floor.add([record], kept_at=kept_at or at)[0]


def day_of(text: str, what: str) -> date:
    """A day written as 2027-03-01; InputError naming `what` otherwise."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError as wrong:
        raise InputError(f"{text[:20]!r} is no day", remedy="write 2027-03-01", where=what) from wrong
