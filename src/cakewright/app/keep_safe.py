"""Backups: made while others work, checked, restored to another name, and old ones thinned out."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cakewright.errors import StoreError
from cakewright.store import Backup, open_store
from cakewright.store.backup import check_file
from cakewright.store.dump import SUFFIX, put_back
from cakewright.store.engine import is_address, is_missing
from cakewright.store.lasting import flush_file, flush_folder
from cakewright.store.move import copy_all

PREFIX = "cakewright-"


@dataclass(frozen=True, slots=True)
class Health:
    """What a database says about itself: plans in it, bytes on its disk, free bytes beside it (None: on a server)."""

    name: str
    plans: int
    size_bytes: int
    free_bytes: int | None


def back_up_to(db: str | Path, folder: Path, *, at: datetime) -> Backup:
    """A checked copy named by the moment in `folder`, which is made when it is not there; of a server, by `pg_dump`."""
    _must_be_there(db)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        raise StoreError(
            f"{folder} cannot be made: {wrong.strerror}", remedy="name a folder on a disk that may be written"
        ) from wrong
    name = f"{PREFIX}{at.astimezone(UTC):%Y%m%dT%H%M%SZ}{_suffix(db)}"
    with open_store(db) as store:
        return store.backup(folder / name)


def _suffix(db: str | Path) -> str:
    return SUFFIX if is_address(db) else ".sqlite"


def backups_in(folder: Path, suffix: str = "") -> tuple[tuple[datetime, Path], ...]:
    """The backups in a folder with their moments, newest first; of one kind with `suffix`."""
    found = []
    for path in folder.glob(f"{PREFIX}*"):
        if path.suffix not in ((suffix,) if suffix else (".sqlite", SUFFIX)):
            continue
        try:
            when = datetime.strptime(path.stem.removeprefix(PREFIX), "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
        except ValueError:
            continue
        found.append((when, path))
    return tuple(sorted(found, reverse=True))


def restore(folder: Path, to: str | Path, *, until: datetime | None = None) -> tuple[Path, int]:
    """Put the newest backup not made after `until` to a file, or into an empty database on a server, and check it.

    Which one it was, and its plans. Nothing is overwritten: StoreError when the file is there or the database is not
    empty, no backup is early enough, or the copy is damaged.
    """
    if is_address(to):
        backup = _newest(folder, until, SUFFIX)
        return backup, put_back(backup, str(to))
    target = Path(to)
    if target.exists():
        raise StoreError(
            "there is a file already", remedy="move it away first: it may still be needed", where=str(target)
        )
    backup = _newest(folder, until, ".sqlite")
    part = target.with_name(f".{target.name}.part")
    try:
        shutil.copyfile(backup, part)
        plans = check_file(part)
        flush_file(part)
        part.rename(target)
        flush_folder(target.parent)
    except OSError as wrong:
        raise StoreError(f"{target} cannot be written: {wrong.strerror}", remedy="free space, mend rights") from wrong
    finally:
        part.unlink(missing_ok=True)
    return backup, plans


def _newest(folder: Path, until: datetime | None, suffix: str) -> Path:
    known = backups_in(folder, suffix)
    fit = [path for when, path in known if until is None or when <= until]
    if not fit:
        first = f"the oldest is of {known[-1][0]:%Y-%m-%d %H:%M} UTC" if known else f"there are none ({suffix})"
        raise StoreError(f"no backup of {folder} is early enough: {first}", remedy="name another folder or moment")
    return fit[0]


def thin_out(folder: Path, *, now: datetime, days: int = 14, weeks: int = 12) -> tuple[Path, ...]:
    """Remove backups that are neither of the last `days`, nor the newest of one of the last `weeks`; those removed.

    The newest backup always stays.
    """
    known = backups_in(folder)
    keep = {path for when, path in known if now - when <= timedelta(days=days)} | {path for _, path in known[:1]}
    seen: set[tuple[int, int]] = set()
    for when, path in known:
        week = when.isocalendar()[:2]
        if now - when <= timedelta(weeks=weeks) and week not in seen:
            seen.add(week)
            keep.add(path)
    gone = tuple(path for _, path in known if path not in keep)
    for path in gone:
        path.unlink()
    return gone


def look_after(db: str | Path) -> Health:
    """Read every page and every reference of the database. StoreError when something is damaged."""
    _must_be_there(db)
    with open_store(db) as store:
        free = None if store.is_on_server else shutil.disk_usage(store.folder).free
        return Health(store.name, store.check(), store.size_bytes, free)


def move_to_server(db: Path, address: str) -> int:
    """Copy every record of a file into a database on a server that holds nothing yet; the number of its plans.

    The file stays as it is. StoreError when the other database has plans already, or a record does not arrive.
    """
    _must_be_there(db)
    with open_store(db) as old, open_store(address) as new:
        return copy_all(old, new)


def _must_be_there(db: str | Path) -> None:
    if is_missing(db):
        raise StoreError("there is no database", remedy="name the file with --db", where=str(db))
