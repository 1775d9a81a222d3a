"""Open the web application: on this machine only, as long as nobody has to log in."""

from __future__ import annotations

import ipaddress
import logging
import signal
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path

from cakewright import __version__
from cakewright.app.keep_safe import back_up_to, thin_out
from cakewright.app.logs import tell
from cakewright.errors import CakewrightError, InputError, StoreError
from cakewright.store import Store
from cakewright.store.accounts import Role
from cakewright.store.backup import back_up
from cakewright.store.engine import is_address
from cakewright.store.migrations import schemas
from cakewright.store.open import open_store

LOCAL_NAMES = ("localhost",)
GOODBYE_S = 5  # answers under way, and pages that listen, after the order to stop


def is_this_machine(host: str) -> bool:
    """True for an address that nobody outside this machine can reach."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host in LOCAL_NAMES


@dataclass(frozen=True, slots=True)
class Door:
    """How others get in: TLS files, or a proxy in front that speaks TLS, and the names this machine is called by."""

    certificate: Path | None = None
    key: Path | None = None
    is_behind_tls: bool = False
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Care:
    """What is done besides answering: seconds for work under way after the order to stop, backups every so often,
    and how many requests one account may make."""

    stop_seconds: float = 0.0
    backups: Path | None = None
    backup_hours: float = 24.0
    requests_per_minute: int = 0


def check_address(host: str, port: int, door: Door | None = None, store: Store | None = None) -> bool:
    """True when people must log in. InputError says why an address cannot be served and what to do.

    This machine's own address needs no login. Any other demands an open planner account and TLS.
    """
    if not 0 <= port <= 65535:
        raise InputError(f"port {port}", remedy="use a number from 1024 to 65535", where="--port")
    if is_this_machine(host):
        return False
    planners = [] if store is None else [a for a in store.accounts.all() if a.is_open and a.role is Role.PLANNER]
    if not planners:
        raise InputError(
            f"{host} can be reached by others, and there are no accounts to keep strangers out",
            remedy="add a planner with `cakewright people add`, or use --host 127.0.0.1",
            where="--host",
        )
    if door is None or not (door.is_behind_tls or (door.certificate and door.key)):
        raise InputError(
            f"{host} can be reached by others, and passwords would travel in the clear",
            remedy="give --certificate and --key, or --behind-tls when a proxy in front speaks TLS",
            where="--host",
        )
    for file in (door.certificate, door.key):
        if file is not None and not file.is_file():
            raise InputError(f"there is no file {file}", remedy="name the PEM file", where="--certificate, --key")
    return True


def serve(
    db: str | Path, host: str = "127.0.0.1", port: int = 8765, *, is_new: bool = False, door: Door | None = None,
    care: Care | None = None,
) -> None:  # fmt: skip
    """Serve the pages over the plans in `db` until Ctrl+C or SIGTERM; `is_new` makes an empty database first.

    An older database in a file is copied before it is brought up to date.

    InputError for an address others can reach without accounts and TLS; StoreError when there is no database (or
    already one, when a new one was asked for) or it cannot be used.
    """
    import uvicorn

    if not is_this_machine(host) and is_new:
        raise InputError("a new database has no accounts", remedy="begin it with --host 127.0.0.1", where="--host")
    if is_this_machine(host) or not 0 <= port <= 65535:
        check_address(host, port)
    check_database(db, is_new=is_new)
    door, care = door or Door(), care or Care()
    was = keep_before_upgrade(db)
    with open_store(db) as store:
        tell("start", version=__version__, database=store.name, schema=schemas()[-1], schema_before=was)
        asks = check_address(host, port, door, store)
        # The pages stand on this floor, so they are named by text instead of imported.
        make = import_module("cakewright.web.application").create_app
        application = make(store, asks=asks, hosts=(*door.names, host.strip("[]")) if asks else ())
        scheme = "https" if door.certificate or door.is_behind_tls else "http"
        application.state.desk.patience_s = care.stop_seconds
        application.state.pace.per_minute = care.requests_per_minute if asks else 0
        signal.signal(signal.SIGTERM, _end_in_order)
        print(f"cakewright: {scheme}://{host}:{port}  (Ctrl+C ends it)", flush=True)
        try:
            with backups_made(db, care):
                uvicorn.run(
                    application, host=host.strip("[]"), port=port, log_config=None, access_log=False,
                    server_header=False, ssl_certfile=door.certificate, ssl_keyfile=door.key,
                    timeout_graceful_shutdown=GOODBYE_S,
                )  # fmt: skip
        finally:
            tell("stop", database=store.name)


def _end_in_order(_number: int, _frame: object) -> None:
    """SIGTERM: the web server has ended by then; leave the store closed and the exit code 0."""
    raise SystemExit(0)


def keep_before_upgrade(db: str | Path) -> str:
    """Copy a file with an older schema beside it before anything changes it; its schema, empty for a new one."""
    path = Path(db)
    if is_address(db) or not path.exists() or not path.stat().st_size:
        return ""
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as link:
            was = str(link.execute("SELECT version_num FROM alembic_version").fetchone()[0])
    except (sqlite3.Error, TypeError):  # no database of ours: opening it says so in words
        return ""
    *older, newest = schemas()
    copy = path.with_name(f"{path.stem}-before-{newest}.sqlite")
    if was in older and not copy.exists():
        back_up(path, copy)
        tell("kept before the upgrade", level=logging.WARNING, file=copy, schema=was)
    return was


@contextmanager
def backups_made(db: str | Path, care: Care) -> Iterator[None]:
    """While inside, a backup every so many hours, thinned out; a backup that fails is said in the log."""
    ended = threading.Event()

    def go_on() -> None:
        assert care.backups is not None
        while not ended.wait(care.backup_hours * 3600.0):
            now = datetime.now(UTC)
            try:
                made = back_up_to(db, care.backups, at=now)
                thin_out(care.backups, now=now)
                tell("backup", file=made.path, plans=made.plans, bytes=made.size_bytes)
            except CakewrightError as wrong:
                tell("backup failed", level=logging.ERROR, found=wrong.text)

    if care.backups is not None:
        threading.Thread(target=go_on, name="backups", daemon=True).start()
    try:
        yield
    finally:
        ended.set()


def check_database(db: str | Path, *, is_new: bool = False) -> None:
    """StoreError when there is no file at `db`, or, for a new one, when there is one already.

    A database on a server is made by whoever keeps the server; opening it says whether it is there.
    """
    if is_address(db):
        return
    db = Path(db)
    if is_new and db.exists():
        raise StoreError("there is a database already", remedy="leave --new out to open it", where=str(db))
    if is_new:
        try:
            db.parent.mkdir(parents=True, exist_ok=True)
        except OSError as wrong:
            raise StoreError(f"its folder cannot be made: {wrong.strerror}", where=str(db)) from wrong
    elif not db.exists():
        raise StoreError(
            "there is no database",
            remedy="plan a week first, see `cakewright demo`, or begin an empty one with --new",
            where=str(db),
        )
