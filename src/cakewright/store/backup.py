"""A copy of the database while it is in use, checked before it is called a backup."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from cakewright.errors import StoreError
from cakewright.store.lasting import flush_file, flush_folder


@dataclass(frozen=True, slots=True)
class Backup:
    """A finished copy: where, how large, which plans are in it."""

    path: Path
    size_bytes: int
    plans: int


def check_file(path: Path) -> int:
    """Read every page and every reference of a database file; the number of plans in it. StoreError when damaged."""
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as link:
            said = [row[0] for row in link.execute("PRAGMA integrity_check")]
            loose = link.execute("PRAGMA foreign_key_check").fetchall()
            plans = int(link.execute("SELECT count(*) FROM plan").fetchone()[0])
    except sqlite3.Error as wrong:
        raise StoreError(f"cannot be read ({wrong})", remedy="restore a backup", where=str(path)) from wrong
    if said != ["ok"] or loose:
        first = said[0] if said != ["ok"] else f"{len(loose)} rows point to nothing"
        raise StoreError(f"the database is damaged: {first}", remedy="restore an earlier backup", where=str(path))
    return plans


def back_up(source: Path, target: Path) -> Backup:
    """Copy `source` to `target` while others work, check the copy, then give it its name.

    Nothing is overwritten: StoreError when `target` is there already, cannot be written, or when the copy
    does not pass its check (it is removed then).
    """
    if target.exists():
        raise StoreError("there is a file already", remedy="give the backup another name", where=str(target))
    if not target.parent.is_dir():
        raise StoreError(f"there is no folder {target.parent}", remedy="make the folder first", where=str(target))
    part = target.with_name(f".{target.name}.part-{os.getpid()}")
    try:
        _copy(source, part)
        plans = check_file(part)
        flush_file(part)
        part.rename(target)
        flush_folder(target.parent)
    except (sqlite3.Error, OSError) as wrong:
        raise StoreError(
            f"the backup failed ({wrong})",
            remedy="check that the folder may be written and has room",
            where=str(target),
        ) from wrong
    finally:
        part.unlink(missing_ok=True)
    return Backup(target, target.stat().st_size, plans)


def _copy(source: Path, part: Path) -> None:
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(part)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
