"""Backups of a database on a server: written by `pg_dump` from one state, read back whole, put back by `pg_restore`."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, func, inspect, select, text
from sqlalchemy.engine import URL

from cakewright.errors import StoreError
from cakewright.store.backup import Backup
from cakewright.store.engine import connect, reading, store_url
from cakewright.store.schema import metadata, plan
from cakewright.store.server import name_of

SUFFIX = ".dump"


def dump(engine: Engine, target: Path) -> Backup:
    """Write the whole database, as it is at one moment, to `target` while others work, and read the copy through.

    Nothing is overwritten: StoreError when `target` is there, `pg_dump` is not installed or fails, or the copy cannot
    be read back (it is removed then).
    """
    if target.exists():
        raise StoreError("there is a file already", remedy="give the backup another name", where=str(target))
    if not target.parent.is_dir():
        raise StoreError(f"there is no folder {target.parent}", remedy="make the folder first", where=str(target))
    part = target.with_name(f".{target.name}.part-{os.getpid()}")
    try:
        with reading(engine) as link:
            state = str(link.scalar(text("SELECT pg_export_snapshot()")))
            plans = int(link.scalar(select(func.count()).select_from(plan)) or 0)
            _run("pg_dump", engine.url, "--format=custom", "--no-owner", f"--snapshot={state}", f"--file={part}")
        _run("pg_restore", None, f"--file={os.devnull}", str(part))
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.rename(target)
    except OSError as wrong:
        raise StoreError(
            f"the backup failed ({wrong})", remedy="check that the folder may be written and has room",
            where=str(target),
        ) from wrong  # fmt: skip
    finally:
        part.unlink(missing_ok=True)
    return Backup(target, target.stat().st_size, plans)


def put_back(source: Path, address: str) -> int:
    """Fill an empty database on a server from a backup, all of it or nothing; the number of plans in it."""
    engine = connect(store_url(address))
    try:
        with reading(engine) as link:
            if inspect(link).get_table_names():
                raise StoreError(
                    "the database is not empty", remedy="make a new one with `createdb` and restore into that",
                    where=name_of(engine.url),
                )  # fmt: skip
        _run("pg_restore", engine.url, "--no-owner", "--exit-on-error", "--single-transaction", str(source))
        return check_server(engine)
    finally:
        engine.dispose()


def check_server(engine: Engine) -> int:
    """Read every row of every table, long values too; the number of plans. StoreError when something is damaged."""
    with reading(engine) as link:
        raw: Any = link.connection.driver_connection
        for name in [*metadata.tables, "alembic_version"]:
            with raw.cursor() as cursor, cursor.copy(f'COPY "{name}" TO STDOUT') as rows:
                for _ in rows:
                    pass
        return int(link.scalar(select(func.count()).select_from(plan)) or 0)


def _run(tool: str, url: URL | None, *arguments: str) -> None:
    """A tool of the server; the password travels in the environment, where other users cannot read it."""
    path = shutil.which(tool)
    if path is None:
        raise StoreError(
            f"{tool} is not installed on this machine",
            remedy="install the tools of the server (Debian: postgresql-client), or let the server keep backups",
        )
    environment = dict(os.environ)
    where: list[str] = []
    if url is not None:
        if url.password:
            environment["PGPASSWORD"] = str(url.password)
        plain = URL.create("postgresql", url.username, None, url.host, url.port, url.database, url.query)
        where = [f"--dbname={plain.render_as_string(hide_password=False)}"]
    done = subprocess.run([path, *where, *arguments], env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        said = (done.stderr.strip().splitlines() or [f"it ended with {done.returncode}"])[0]
        raise StoreError(
            f"{tool} failed: {said}", remedy="its version must not be older than that of the server",
            where="" if url is None else name_of(url),
        )  # fmt: skip
