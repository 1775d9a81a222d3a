"""The running week in the database: committed plans, what really began and ended, stopped builds. Written once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, Table, insert, select

from cakewright.errors import InputError, StoreError
from cakewright.model.plan import TaskKind
from cakewright.store import schema
from cakewright.store import schema_schedule as tables
from cakewright.store.engine import reading, writing
from cakewright.store.printed import Printed, printed_builds
from cakewright.store.server import Desk

LONGEST_NOTE = 500


@dataclass(frozen=True, slots=True)
class Commitment:
    """A plan that was told to people; its tasks up to `until` are not moved without being said."""

    number: int
    plan: int
    until: datetime
    at: datetime
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Progress:
    """When a task of a plan really began and ended (None: not yet, or not known).

    Of a build when `build` is named, of a line when `line` is. The last entry about a task counts.
    """

    number: int
    plan: int
    kind: TaskKind
    build: str
    line: int | None
    started: datetime | None
    ended: datetime | None
    at: datetime
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class StopRecord:
    """A build that stopped after so many finished layers, and the recovery that was accepted (its plan: `new_plan`)."""

    number: int
    plan: int
    build: str
    layer: int
    cause: str
    margin_mm: float
    stopped: datetime
    recovery: str
    new_plan: int | None
    at: datetime
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Kept:
    """A promise of a committed plan and what became of it. `ready` is None until the line is packed."""

    plan: int
    committed_at: datetime
    order: str
    line: int
    part: str
    due_by: datetime
    p50: datetime | None
    p90: datetime | None
    on_time_probability: float | None
    ready: datetime | None


class ScheduleTables:
    """The records of the running week in one database."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def commit(self, *, plan: int, until: datetime, at: datetime, by: str, note: str = "") -> int:
        """Note that a plan was told to people; the record's number."""
        with writing(self._engine, Desk.WEEK) as link:
            _check_plan(link, plan)
            return _add(link, tables.commitment, plan=plan, until=until, **_who(at, by, note))

    def commitments(self) -> tuple[Commitment, ...]:
        """Every commitment, newest first."""
        with reading(self._engine) as link:
            rows = link.execute(select(tables.commitment).order_by(tables.commitment.c.number.desc())).mappings()
            return tuple(Commitment(**row) for row in rows)

    def note_progress(
        self,
        *,
        plan: int,
        kind: TaskKind,
        build: str = "",
        line: int | None = None,
        started: datetime | None = None,
        ended: datetime | None = None,
        at: datetime,
        by: str,
        note: str = "",
    ) -> int:
        """Note when a task really began or ended; the record's number. InputError for a task the plan does not have."""
        if started and ended and ended < started:
            raise InputError(f"it ends {ended} before it starts {started}", remedy="give the later instant as its end")
        if (started and started > at) or (ended and ended > at):
            raise InputError("it lies in the future", remedy="note what has happened, not what will", where="at")
        with writing(self._engine, Desk.WEEK) as link:
            _check_plan(link, plan)
            _check_task(link, plan, kind, build, line)
            return _add(link, tables.progress, plan=plan, kind=kind.value, build=build, line=line, started=started,
                        ended=ended, **_who(at, by, note))  # fmt: skip

    def progress_of(self, plan: int) -> tuple[Progress, ...]:
        """What was noted about the tasks of one plan, oldest first."""
        with reading(self._engine) as link:
            query = select(tables.progress).where(tables.progress.c.plan == plan).order_by(tables.progress.c.number)
            return tuple(Progress(**{**row, "kind": TaskKind(row["kind"])}) for row in link.execute(query).mappings())

    def note_stop(
        self,
        *,
        plan: int,
        build: str,
        layer: int,
        cause: str,
        margin_mm: float,
        stopped: datetime,
        recovery: str,
        new_plan: int | None,
        at: datetime,
        by: str,
        note: str = "",
    ) -> int:
        """Note that a build stopped and which recovery was accepted; the record's number."""
        with writing(self._engine, Desk.WEEK) as link:
            return _add(link, tables.stop, plan=plan, build=build, layer=layer, cause=cause, margin_mm=margin_mm,
                        stopped=stopped, recovery=recovery, new_plan=new_plan, **_who(at, by, note))  # fmt: skip

    def printed(self) -> tuple[Printed, ...]:
        """Every print that was begun, over all plans, oldest first."""
        return printed_builds(self._engine)

    def stops(self) -> tuple[StopRecord, ...]:
        """Every stop, newest first."""
        with reading(self._engine) as link:
            rows = link.execute(select(tables.stop).order_by(tables.stop.c.number.desc())).mappings()
            return tuple(StopRecord(**row) for row in rows)

    def kept_promises(self) -> tuple[Kept, ...]:
        """The first promise committed for each order line, with the instant at which it was really packed.

        A line is the same through plans when order, line number and part are. It was packed at the last noted end of
        packing, in whichever plan that was noted.
        """
        with reading(self._engine) as link:
            packed = _packed(link)
            first: dict[tuple[str, int, str], Kept] = {}
            for row in link.execute(_committed_promises()).mappings():
                key = (row["order_number"], row["line"], row["part"])
                if key not in first:
                    first[key] = Kept(
                        row["plan"], row["committed_at"], *key, row["due_by"], row["p50"], row["p90"],
                        row["on_time_probability"], packed.get(key),
                    )  # fmt: skip
            return tuple(first.values())


def _committed_promises() -> Any:
    line, promise, told = schema.order_line.c, schema.promise.c, tables.commitment.c
    return (
        select(told.plan, told.at.label("committed_at"), line.order_number, line.line, line.part, promise.due_by,
               promise.p50, promise.p90, promise.on_time_probability)
        .join(schema.promise, promise.plan == told.plan)
        .join(schema.order_line, (line.plan == promise.plan) & (line.line == promise.line))
        .order_by(told.number, promise.line)
    )  # fmt: skip


def _packed(link: Connection) -> dict[tuple[str, int, str], datetime]:
    line, done = schema.order_line.c, tables.progress.c
    query = (
        select(line.order_number, line.line, line.part, done.ended)
        .join(schema.order_line, (line.plan == done.plan) & (line.line == done.line))
        .where((done.kind == TaskKind.PACK.value) & done.ended.is_not(None))
        .order_by(done.number)
    )
    return {(row.order_number, row.line, row.part): row.ended for row in link.execute(query)}


def _check_plan(link: Connection, plan: int) -> None:
    if link.scalar(select(schema.plan.c.version).where(schema.plan.c.version == plan)) is None:
        raise InputError(f"there is no plan version {plan}", remedy="choose one of the stored versions", where="plan")


def _check_task(link: Connection, plan: int, kind: TaskKind, build: str, line: int | None) -> None:
    task, of = schema.task.c, schema.task_line.c
    query = select(task.position).where((task.plan == plan) & (task.kind == kind.value))
    if build:
        query = query.where(task.build == build)
    if line is not None:
        query = query.join(schema.task_line, (of.plan == task.plan) & (of.task == task.position)).where(of.line == line)
    if (not build and line is None) or link.scalar(query.limit(1)) is None:
        what = " ".join([f"build {build}" if build else "", f"line {line}" if line is not None else ""]).strip()
        raise InputError(
            f"plan {plan} has no task '{kind}' for {what or 'nothing named'}", remedy="name a build or a line of it"
        )


def _who(at: datetime, by: str, note: str) -> dict[str, Any]:
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who you are", where="by")
    if len(note) > LONGEST_NOTE:
        raise InputError(f"the note has {len(note)} characters", remedy=f"keep it below {LONGEST_NOTE}", where="note")
    return {"at": at, "by": by.strip(), "note": note}


def _add(link: Connection, table: Table, **row: Any) -> int:
    number = link.scalar(insert(table).returning(table.c.number), row)
    if number is None:
        raise StoreError("the record was not kept", remedy="do it again")
    return int(number)
