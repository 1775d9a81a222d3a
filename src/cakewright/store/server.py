"""PostgreSQL by address: how a server is asked to keep what it acknowledged, and its errors in our words.

One promise is the same as on a file: whoever writes is alone with what he reads. A file has one writer; a server has
one writer for each `Desk` (powder, floor, plans and so on), held by an advisory lock from before the first look until
the commit. Nothing read inside can change meanwhile, so there is no lost update and nothing to repeat but the wait.
"""

from __future__ import annotations

import os
from enum import IntEnum
from math import isnan
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL

from cakewright.errors import BusyError, StoreError

WAIT_FOR_WRITER_S = 15.0  # chosen by us: as long as for a file; a plan of a day is written in a few seconds
DRIVER = "postgresql+psycopg"
NAMES = ("postgres", "postgresql", DRIVER)
LOCKS = 0x63616B65  # 'cake': the first half of the number of our advisory locks
FILES_VARIABLE = "CAKEWRIGHT_FILES"

_BUSY = ("55P03", "40001", "40P01")
_SAID = {
    "53100": ("the disk of the server is full; nothing of this was saved", "make room there, then do it again"),
    "25006": ("the database is read-only", "ask who keeps the server; a standby cannot be written"),
    "3D000": ("there is no such database on the server", "make it with `createdb`, or mend the address"),
    "42501": ("the user of the address may not do this", "make that user the owner of the database"),
    "28P01": ("the server refused the name or the password", "mend the address"),
    "28000": ("the server refused the user of the address", "mend the address, or let the user in on the server"),
    "53300": ("the server has no connection left", "wait a moment, or allow it more connections"),
    "57P01": ("the server was shut down; nothing of this was saved", "wait until it is back, then do it again"),
    "22021": ("the text holds a character that cannot be kept", "write it without control characters"),
}
_UNREACHED = ("the server cannot be reached, or it broke off; nothing of this was saved",
              "check the address, and that the server runs; then do it again")  # fmt: skip


class Desk(IntEnum):
    """What one writer holds while others write elsewhere. EVERYTHING waits for all desks and shuts them."""

    EVERYTHING = 0
    PLANS = 1
    FLOOR = 2
    POWDER = 3
    WEEK = 4
    JOBS = 5
    OFFERS = 6
    ACCOUNTS = 7
    AUDIT = 8
    PARTS = 9
    PHYSICS = 10


def server_engine(url: URL) -> Engine:
    """An engine over PostgreSQL. StoreError without the driver."""
    try:
        import psycopg
    except ModuleNotFoundError as wrong:
        raise StoreError(
            "the driver for PostgreSQL is not installed", remedy="pip install 'cakewright[postgres]'"
        ) from wrong
    options = f"-c timezone=UTC -c lock_timeout={int(WAIT_FOR_WRITER_S * 1000)} -c synchronous_commit=on"
    engine = create_engine(
        url,
        pool_pre_ping=True,  # a server that was restarted is noticed before a deed, not in the midst of it
        connect_args={"options": options, "connect_timeout": 10, "application_name": "cakewright"},
    )
    refuse = _refusing_dumper(psycopg)
    event.listen(engine, "connect", lambda raw, _record: raw.adapters.register_dumper(float, refuse))
    event.listen(engine, "begin", _begin)
    return engine


def _refusing_dumper(psycopg: Any) -> Any:
    """A float as a number, NaN not at all: a file refuses it too, and nothing good can be computed from it."""

    class NumberDumper(psycopg.types.numeric.FloatDumper):  # type: ignore[misc]
        def dump(self, obj: float) -> Any:
            if isnan(obj):
                raise psycopg.IntegrityError("NaN is no number that can be kept")
            return super().dump(obj)

    return NumberDumper


def _begin(link: Connection) -> None:
    how = link.get_execution_options()
    if how.get("cakewright_reading"):
        link.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
    if "cakewright_desk" in how:
        take_desk(link, how["cakewright_desk"])


def take_desk(link: Connection, desk: Desk) -> None:
    """Become the only writer of a desk until the transaction ends; BusyError after 15 s.

    The transaction must not have looked at anything yet: what it sees is then what the writer before it left.
    """
    if desk is Desk.EVERYTHING:
        link.execute(text("SELECT pg_advisory_xact_lock(:ours, 0)"), {"ours": LOCKS})
        return
    link.execute(text("SELECT pg_advisory_xact_lock_shared(:ours, 0)"), {"ours": LOCKS})
    link.execute(text("SELECT pg_advisory_xact_lock(:ours, :desk)"), {"ours": LOCKS, "desk": int(desk)})


def server_trouble(wrong: BaseException, url: URL) -> StoreError:
    """What a server said, with a remedy."""
    said = getattr(wrong, "orig", None) or wrong
    state = getattr(said, "sqlstate", None)
    where = name_of(url)
    if state in _BUSY:
        return BusyError("another program is writing to the database", remedy="wait a moment and do it again",
                         where=where)  # fmt: skip
    if state in _SAID:
        found, remedy = _SAID[state]
        return StoreError(found, remedy=remedy, where=where)
    words = str(said).strip().splitlines()[0] if str(said).strip() else type(said).__name__
    if "NUL" in words:
        found, remedy = _SAID["22021"]
        return StoreError(found, remedy=remedy, where=where)
    for code, mark in (("3D000", "does not exist"), ("28P01", "password authentication")):
        if state is None and mark in str(said):
            return StoreError(_SAID[code][0], remedy=_SAID[code][1], where=where)
    if state is None or state.startswith("08") or state.startswith("57P"):
        return StoreError(f"{_UNREACHED[0]} ({words})", remedy=_UNREACHED[1], where=where)
    return StoreError(f"the database refused ({words})", remedy="restore a backup", where=where)


def name_of(url: URL) -> str:
    """The address as it may be shown: without the password."""
    return url.render_as_string(hide_password=True) if url.host or url.drivername == DRIVER else str(url.database)


def files_beside(url: URL) -> str:
    """The folder for what is kept as files beside a database on a server: from CAKEWRIGHT_FILES, else `plans`."""
    return os.environ.get(FILES_VARIABLE) or "plans"
