"""The log of the floor in the store: append, read; a record that comes twice is kept once."""

from __future__ import annotations

import json
import re
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace
from datetime import datetime
from threading import Lock
from typing import Any

from sqlalchemy import Connection, Engine, RowMapping, Select, func, insert, select

from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.store import schema
from cakewright.store.engine import reading, writing
from cakewright.store.schema_floor import floor_record
from cakewright.store.server import Desk

Asked = tuple[int | None, str | None, FloorKind | None]
AT_HAND = 64  # questions whose records are kept in memory
_UID = re.compile(r"[A-Za-z0-9._:-]{8,64}")
LONGEST_DATA = 4000


class FloorLog:
    """Every record of the floor, over one database."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._seen: OrderedDict[Asked, tuple[int, tuple[FloorRecord, ...]]] = OrderedDict()
        self._lock = Lock()
        self._still: ContextVar[dict[Asked, tuple[FloorRecord, ...]] | None] = ContextVar("still", default=None)

    def add(self, records: Iterable[FloorRecord], *, kept_at: datetime) -> tuple[FloorRecord, ...]:
        """Keep records, all of them or none; those whose `uid` is known already are given back as they were kept.

        InputError for a record without a name, with a strange plan or build, or with a `uid` that belongs to another.
        """
        kept: list[FloorRecord] = []
        if (still := self._still.get()) is not None:
            still.clear()
        with writing(self._engine, Desk.FLOOR) as link:
            for record in records:
                _check(record)
                same = link.execute(select(floor_record).where(floor_record.c.uid == record.uid)).mappings().first()
                if same is not None:
                    known = _record(same)
                    if replace(record, number=known.number, kept_at=known.kept_at) != known:
                        raise InputError(f"record {record.uid} is known with other content", remedy="give it a new uid")
                    kept.append(known)
                    continue
                _check_place(link, record)
                row = {
                    "uid": record.uid, "plan": record.plan, "kind": record.kind.value, "by": record.by.strip(),
                    "at": record.at, "kept_at": kept_at, "build": record.build, "line": record.line,
                    "piece": record.piece, "data": json.dumps(dict(record.data), ensure_ascii=False),
                }  # fmt: skip
                number = link.scalar(insert(floor_record).returning(floor_record.c.number), row)
                kept.append(replace(record, by=record.by.strip(), number=int(number or 0), kept_at=kept_at))
        return tuple(kept)

    def records(
        self, *, plan: int | None = None, build: str | None = None, kind: FloorKind | None = None
    ) -> tuple[FloorRecord, ...]:
        """Records in the order in which they happened, of a plan, a build, a kind, or all.

        Records are written once, so those read before are kept at hand and only newer ones are read.
        """
        asked: Asked = (plan, build, kind)
        still = self._still.get()
        if still is not None and asked in still:
            return still[asked]
        found = self._records(asked)
        if still is not None:
            still[asked] = found
        return found

    @contextmanager
    def still(self) -> Iterator[None]:
        """Within it every question is asked of the database once: for a look at many lines that must agree anyway."""
        token = self._still.set(self._still.get() or {})
        try:
            yield
        finally:
            self._still.reset(token)

    def _records(self, asked: Asked) -> tuple[FloorRecord, ...]:
        with reading(self._engine) as link:
            last = int(link.scalar(select(func.max(floor_record.c.number))) or 0)
            with self._lock:
                known, found = self._seen.get(asked, (0, ()))
            if last > known:
                more = link.execute(_query(asked, known)).mappings()
                found = tuple(sorted((*found, *map(_record, more)), key=lambda r: (r.at, r.number)))
        with self._lock:
            if last >= self._seen.get(asked, (0, ()))[0]:
                self._seen[asked] = (last, found)
            self._seen.move_to_end(asked)
            while len(self._seen) > AT_HAND:
                self._seen.popitem(last=False)
        return found


def _query(asked: Asked, after: int) -> Select[Any]:
    plan, build, kind = asked
    query = select(floor_record).where(floor_record.c.number > after)
    for column, value in (("plan", plan), ("build", build), ("kind", kind.value if kind else None)):
        if value is not None:
            query = query.where(floor_record.c[column] == value)
    return query


def _check(record: FloorRecord) -> None:
    if not record.by.strip():
        raise InputError("nobody's name is given", remedy="say who you are", where="by")
    if not _UID.fullmatch(record.uid):
        raise InputError(f"uid {record.uid[:20]!r} is no plain name of 8 to 64 signs", where="uid")
    if any(not isinstance(v, str | float | int) for v in record.data.values()):
        raise InputError("a record holds texts and numbers only", where="data")
    if len(json.dumps(dict(record.data))) > LONGEST_DATA:
        raise InputError("the record is too long", remedy=f"keep it below {LONGEST_DATA} signs", where="data")


def _check_place(link: Connection, record: FloorRecord) -> None:
    plan, build = schema.plan.c, schema.build.c
    if link.scalar(select(plan.version).where(plan.version == record.plan)) is None:
        raise InputError(f"there is no plan {record.plan}", where="plan")
    where = (build.plan == record.plan) & (build.key == record.build)
    if record.build and link.scalar(select(build.key).where(where)) is None:
        raise InputError(f"plan {record.plan} has no build {record.build}", where="build")


def _record(row: RowMapping) -> FloorRecord:
    values = dict(row)
    values["kind"] = FloorKind(values["kind"])
    values["data"] = json.loads(values["data"])
    return FloorRecord(**values)
