"""The inbox beside the database: order lists and mesh files that somebody dropped on the page, kept until planned."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import shutil
import threading
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from cakewright.app.check_part import judge, worst_of
from cakewright.app.find_files import MESH_SUFFIXES
from cakewright.app.progress import Progress
from cakewright.app.worker import Ended, Limits, Worker
from cakewright.errors import InputError, StoreError
from cakewright.findings import Finding
from cakewright.formats.cell_toml import read_cell
from cakewright.formats.orders_csv import read_orders
from cakewright.model.cell import Cell
from cakewright.store.lasting import flush_folder
from cakewright.store.plain import from_json, to_json

ORDERS = "orders.csv"
CELL = "cell.toml"
PARTS = "parts"
LOOKED = "looked"
LISTS = {".csv": ORDERS, ".toml": CELL}
LARGEST_FILE_BYTES = 512 * 1024**2
MOST_FILES = 2000
CHECK_LIMITS = Limits(memory_bytes=8 * 1024**3, cpu_seconds=300)
_ONE_LOOK = threading.Semaphore(2)  # files looked at side by side; more would only share the same cores
_NAME = re.compile(r"[\w][\w .()+,=@#&-]{0,150}")
_TRAY = re.compile(r"[0-9a-f]{12}")


@dataclass(frozen=True, slots=True)
class Looked:
    """What the tool says about one mesh file that was dropped; `remedy` when it cannot be used."""

    name: str
    size_bytes: int
    verdict: str
    size_mm: tuple[float, float, float] | None
    volume_cm3: float | None
    unit: str
    unit_reason: str
    unit_confidence: float
    findings: tuple[Finding, ...]
    remedy: str = ""


class Inbox:
    """Trays of files below `folder`; each tray becomes one plan."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def open_tray(self, like: str | None = None) -> str:
        """A new tray and its name; with `like`, it begins with the mesh files of that one (not copied, linked)."""
        name = secrets.token_hex(6)
        parts = self.folder / name / PARTS
        try:
            parts.mkdir(parents=True)
        except OSError as wrong:
            raise StoreError(
                f"{self.folder} cannot be written: {wrong.strerror}", remedy="free space, or mend the rights"
            ) from wrong
        if like is not None:
            for place in (PARTS, LOOKED):
                self._take_over(self.tray(like) / place, self.folder / name / place)
        return name

    def _take_over(self, old: Path, new: Path) -> None:
        new.mkdir(exist_ok=True)
        for file in sorted(old.iterdir()) if old.is_dir() else ():
            if not file.name.startswith("."):
                _link(file, new / file.name)

    def tray(self, name: str) -> Path:
        """The folder of a tray; InputError when there is none."""
        folder = self.folder / name
        if not _TRAY.fullmatch(name) or not folder.is_dir():
            raise InputError(f"there is no tray {name[:20]!r} in the inbox", remedy="open a new one")
        return folder

    def newest(self) -> str | None:
        """The tray that was opened last."""
        trays = [f for f in self.folder.glob("*") if _TRAY.fullmatch(f.name)] if self.folder.is_dir() else []
        return max(trays, key=lambda f: f.stat().st_mtime).name if trays else None

    def files(self, name: str) -> tuple[Path, ...]:
        """The mesh files of a tray, by name."""
        return tuple(sorted(f for f in (self.tray(name) / PARTS).iterdir() if not f.name.startswith(".")))

    def cell(self, name: str, otherwise: Cell | None) -> Cell:
        """The cell of a tray: its own file, or `otherwise`. CellError for a bad file, InputError when there is none."""
        path = self.tray(name) / CELL
        if path.is_file():
            return read_cell(path)
        if otherwise is None:
            raise InputError("no cell is described yet", remedy="drop a cell file; `cakewright init` writes one")
        return otherwise

    def orders(self, name: str) -> Path | None:
        """The order list of a tray, None when it has none yet."""
        path = self.tray(name) / ORDERS
        return path if path.is_file() else None

    def begin(self, name: str, file: str) -> Incoming:
        """Where to write a file of that name; it counts only once it is `keep`ed.

        InputError for a name that is no plain file name, or neither a mesh nor a CSV list.
        """
        tray = self.tray(name)
        file = plain_name(file)
        suffix = Path(file).suffix.lower()
        if suffix in LISTS:
            return Incoming(tray / LISTS[suffix], file)
        if suffix not in MESH_SUFFIXES:
            known = ", ".join(sorted(MESH_SUFFIXES))
            raise InputError(
                f"{file} is neither a mesh ({known}) nor an order list (.csv) nor a cell file (.toml)",
                remedy="export a mesh",
            )
        if len(self.files(name)) >= MOST_FILES:
            raise InputError(f"the tray already holds {MOST_FILES} files", remedy="plan these first")
        return Incoming(tray / PARTS / file, file)

    def remove(self, name: str, file: str) -> None:
        """Take a file out of a tray."""
        (self.tray(name) / PARTS / plain_name(file)).unlink(missing_ok=True)

    def throw_away(self, name: str) -> None:
        """Remove a tray with everything in it."""
        shutil.rmtree(self.tray(name))

    def look(self, name: str, file: str, cell: Cell) -> Looked:
        """Judge one mesh file in a process of its own, so that a bad file harms nobody."""
        path = self.tray(name) / PARTS / file
        if not _NAME.fullmatch(file) or not path.is_file():
            raise InputError(f"there is no file {file[:60]!r} in this tray")
        with _ONE_LOOK:
            ended = Worker(look_at, path, cell, limits=CHECK_LIMITS).result()
        looked = ended.value if ended.is_good else _refused(path, ended)
        assert isinstance(looked, Looked)
        kept = self.tray(name) / LOOKED
        kept.mkdir(exist_ok=True)
        (kept / f"{file}.json").write_text(to_json(looked), encoding="utf-8")
        return looked

    def seen(self, name: str) -> tuple[tuple[Path, Looked | None], ...]:
        """The mesh files of a tray, each with what was said about it (None when nobody has looked yet)."""
        kept = self.tray(name) / LOOKED
        found = []
        for file in self.files(name):
            said = kept / f"{file.name}.json"
            found.append((file, from_json(Looked, said.read_text(encoding="utf-8")) if said.is_file() else None))
        return tuple(found)

    def list_problems(self, name: str, cell: Cell) -> tuple[int, tuple[str, ...]]:
        """Lines of the order list, and names in its file column that no mesh file has. OrderListError for a bad one."""
        path = self.orders(name)
        if path is None:
            raise InputError("there is no order list in this tray yet", remedy="drop a CSV file")
        listed = read_orders(path, cell)
        have = {f.name for f in self.files(name)}
        return len(listed.lines), tuple(sorted({str(x.file) for x in listed.lines if x.file and x.file not in have}))


def plain_name(name: str) -> str:
    """The name, when it is a plain file name that leads nowhere else; InputError otherwise."""
    if not _NAME.fullmatch(name):
        raise InputError(f"the name {name[:60]!r} is no plain file name", remedy="use letters, digits, - and _")
    return name


class Incoming:
    """A file on its way in: written beside its place, moved there whole or not at all."""

    def __init__(self, place: Path, shown: str) -> None:
        self.place = place
        self.shown = shown
        self._part = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
        self._size = 0
        self._out = self._part.open("wb")

    def write(self, chunk: bytes) -> None:
        """Add bytes; InputError beyond the limit."""
        self._size += len(chunk)
        if self._size > LARGEST_FILE_BYTES:
            self.drop()
            raise InputError(
                f"{self.shown} is larger than {LARGEST_FILE_BYTES // 1024**2} MB", remedy="export fewer triangles"
            )
        try:
            self._out.write(chunk)
        except OSError as wrong:
            self.drop()
            raise StoreError(f"{self.shown} cannot be kept: {wrong.strerror}", remedy="free some space") from wrong

    def all(self, chunks: Iterable[bytes]) -> Path:
        """Take the whole file and keep it; nothing is left behind when it does not come whole."""
        try:
            for chunk in chunks:
                self.write(chunk)
        except BaseException:
            self.drop()
            raise
        return self.keep()

    def keep(self) -> Path:
        """Everything has come: put it in its place, on the disk."""
        if not self._size:
            self.drop()
            raise InputError(f"{self.shown} is empty", remedy="export it again")
        try:
            self._out.flush()
            os.fsync(self._out.fileno())
            self._out.close()
            self._part.replace(self.place)
            flush_folder(self.place.parent)
        except OSError as wrong:
            self.drop()
            raise StoreError(f"{self.shown} cannot be kept: {wrong.strerror}", remedy="free some space") from wrong
        return self.place

    def drop(self) -> None:
        """Forget it."""
        with contextlib.suppress(OSError):  # what is still to be written may not fit either
            self._out.close()
        self._part.unlink(missing_ok=True)


def look_at(_report: Progress, path: Path, cell: Cell) -> Looked:
    """What `cakewright check` says about one file, small enough to travel between processes."""
    judged = judge(path, cell, cell.materials[0].name)
    part = judged.part
    if part is None:
        return _refused(path, Ended(code="refused", found=judged.refused, remedy=judged.remedy))
    return Looked(
        path.name,
        path.stat().st_size,
        worst_of(judged),
        part.measures.size_mm,
        part.measures.volume_cm3,
        part.origin.unit.value,
        part.origin.unit_reason,
        part.origin.unit_confidence,
        part.findings,
    )


def _refused(path: Path, ended: Ended) -> Looked:
    return Looked(path.name, path.stat().st_size, "refused", None, None, "", ended.found, 0.0, (), ended.remedy)


def _link(source: Path, target: Path) -> None:
    try:
        os.link(source, target)
    except OSError:  # another file system: copy
        shutil.copy2(source, target)
