"""Databases as older releases left them, kept as text: one file for each older version of the schema, with rows in it.

    PYTHONPATH=. python -m tests.store.old_databases      # writes those that are missing, never changes one

A file is written once, when a newer version has come, and stays: it shows what was really on the disks of people.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from cakewright.store import open_store
from cakewright.store.engine import connect, store_url, writing
from cakewright.store.migrations import _run_one, scripts
from tests.store.filled import fill

FOLDER = Path(__file__).parent / "fixtures"
REVISIONS = tuple(reversed([script.revision for script in scripts().walk_revisions()]))  # oldest first
OLDER = REVISIONS[:-1]


def kept(revision: str) -> Path:
    """Where the text of a version lies."""
    return FOLDER / f"{revision}.sql"


def revive(revision: str, path: Path) -> None:
    """A database of that version at `path`, as it was."""
    with closing(sqlite3.connect(path, isolation_level=None)) as link:
        link.execute("PRAGMA foreign_keys=OFF")
        link.executescript(kept(revision).read_text(encoding="utf-8"))


def database_as_of(revision: str, path: Path, source: Path) -> None:
    """A database with the schema of an older release and what of `source` it could hold."""
    engine = connect(store_url(path))
    for step in reversed(list(scripts().walk_revisions("base", revision))):
        with writing(engine) as link:
            _run_one(link, scripts(), step.revision)
    engine.dispose()
    with closing(sqlite3.connect(path)) as old:
        old.execute("ATTACH ? AS new", (str(source),))
        names = [row[0] for row in old.execute("SELECT name FROM main.sqlite_master WHERE type = 'table'")]
        triggers = old.execute("SELECT name, sql FROM main.sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:  # what they would add is copied with the rest
            old.execute(f"DROP TRIGGER main.{name}")
        for table in set(names) - {"alembic_version", "sqlite_sequence"}:
            columns = ", ".join(f'"{row[1]}"' for row in old.execute(f"PRAGMA main.table_info({table})"))
            old.execute(f"INSERT INTO main.{table} ({columns}) SELECT {columns} FROM new.{table}")
        for _, sql in triggers:
            old.execute(sql)
        old.commit()


def write_missing(revisions: Sequence[str] = OLDER) -> list[Path]:
    """Write the text of every version that has none yet."""
    made = []
    with tempfile.TemporaryDirectory() as work:
        whole = Path(work) / "whole.sqlite"
        with open_store(whole) as store:
            fill(store)
        for revision in revisions:
            if kept(revision).exists():
                continue
            path = Path(work) / f"{revision}.sqlite"
            if revision == REVISIONS[-1]:
                shutil.copy(whole, path)
            else:
                database_as_of(revision, path, whole)
            with closing(sqlite3.connect(path)) as link:
                kept(revision).write_text("\n".join(link.iterdump()) + "\n", encoding="utf-8")
            made.append(kept(revision))
    return made


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for written in write_missing():
        print(f"{written}: {written.stat().st_size / 1000:.0f} kB")
