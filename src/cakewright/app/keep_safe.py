"""Backups: made while others work, checked, restored to another name, and old ones thinned out."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cakewright.errors import StoreError
from cakewright.store import Backup, open_store
from cakewright.store.backup import check_file
from cakewright.store.lasting import flush_file, flush_folder

PREFIX = "cakewright-"


@dataclass(frozen=True, slots=True)
class Health:
    """What a database says about itself: plans in it, bytes on the disk, free bytes beside it."""

    path: Path
    plans: int
    size_bytes: int
    free_bytes: int


def back_up_to(db: Path, folder: Path, *, at: datetime) -> Backup:
    """A checked copy named by the moment in `folder`, which is made when it is not there."""
    _must_be_there(db)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        raise StoreError(
            f"{folder} cannot be made: {wrong.strerror}", remedy="name a folder on a disk that may be written"
        ) from wrong
    name = f"{PREFIX}{at.astimezone(UTC):%Y%m%dT%H%M%SZ}.sqlite"
    with open_store(db) as store:
        return store.backup(folder / name)


def backups_in(folder: Path) -> tuple[tuple[datetime, Path], ...]:
    """The backups in a folder with their moments, newest first."""
    found = []
    for path in folder.glob(f"{PREFIX}*.sqlite"):
        try:
            when = datetime.strptime(path.stem.removeprefix(PREFIX), "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
        except ValueError:
            continue
        found.append((when, path))
    return tuple(sorted(found, reverse=True))


def restore(folder: Path, target: Path, *, until: datetime | None = None) -> tuple[Path, int]:
    """Put the newest backup not made after `until` to `target` and check it there; which one, and its plans.

    Nothing is overwritten: StoreError when `target` is there, no backup is early enough, or the copy is damaged.
    """
    if target.exists():
        raise StoreError(
            "there is a file already", remedy="move it away first: it may still be needed", where=str(target)
        )
    known = backups_in(folder)
    fit = [path for when, path in known if until is None or when <= until]
    if not fit:
        first = f"the oldest is of {known[-1][0]:%Y-%m-%d %H:%M} UTC" if known else "there are none"
        raise StoreError(f"no backup of {folder} is early enough: {first}", remedy="name another folder or moment")
    part = target.with_name(f".{target.name}.part")
    try:
        shutil.copyfile(fit[0], part)
        plans = check_file(part)
        flush_file(part)
        part.rename(target)
        flush_folder(target.parent)
    except OSError as wrong:
        raise StoreError(f"{target} cannot be written: {wrong.strerror}", remedy="free space, mend rights") from wrong
    finally:
        part.unlink(missing_ok=True)
    return fit[0], plans


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


def look_after(db: Path) -> Health:
    """Read every page and every reference of the database. StoreError when something is damaged."""
    _must_be_there(db)
    with open_store(db) as store:
        plans = store.check()
    return Health(db, plans, db.stat().st_size, shutil.disk_usage(db.parent).free)


def _must_be_there(db: Path) -> None:
    if not db.exists():
        raise StoreError("there is no database", remedy="name the file with --db", where=str(db))
