"""The ZIP package around a 3MF model: parts, content types, relationships, and limits against harm."""

from __future__ import annotations

import io
import lzma
import posixpath
import re
import struct
import zipfile
import zlib
from dataclasses import dataclass, field
from urllib.parse import unquote

from cakewright.formats.judge import Judge
from cakewright.formats.threemf_xml import small_document

LARGEST_PART_BYTES = 2_000_000_000
LARGEST_RATIO = 200  # triangles as text shrink 10 to 50 times; beyond this a part is padding or a trap
RATIO_MATTERS_BYTES = 4_000_000
MOST_ENTRIES = 10_000

START = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
THUMBNAIL = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
PRINT_TICKET = "http://schemas.microsoft.com/3dmanufacturing/2013/01/printticket"
MODEL_TYPE = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
_ELSEWHERE = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:")
_AGAIN = "export it again, or send an STL"


@dataclass(frozen=True, slots=True)
class Relationship:
    """One arrow from a part to another: `target` is a part name without the leading slash."""

    kind: str
    target: str


@dataclass(slots=True)
class Package:
    """An opened package: part names (lower case, as the packaging rules compare them) to ZIP entries."""

    judge: Judge
    archive: zipfile.ZipFile
    entries: dict[str, zipfile.ZipInfo]
    defaults: dict[str, str] = field(default_factory=dict)
    overrides: dict[str, str] = field(default_factory=dict)

    def has(self, name: str) -> bool:
        """True when there is a part of that name."""
        return name.lower() in self.entries

    def title(self, name: str) -> str:
        """The name of a part as the package spells it."""
        return unquote(self.entries[name.lower()].filename)

    def read(self, name: str) -> bytes:
        """The bytes of a part, checked for size, ratio and checksum."""
        entry = self.entries[name.lower()]
        judge = self.judge
        if entry.flag_bits & 1:
            judge.refuse("the package is protected by a password", "send it without a password")
        if entry.file_size > LARGEST_PART_BYTES:
            judge.refuse(f"part {name} has {entry.file_size} bytes, at most {LARGEST_PART_BYTES} are read", _AGAIN)
        if entry.file_size > RATIO_MATTERS_BYTES and entry.file_size > LARGEST_RATIO * max(entry.compress_size, 1):
            ratio = entry.file_size // max(entry.compress_size, 1)
            judge.refuse(f"part {name} is compressed {ratio}:1, at most {LARGEST_RATIO}:1 is read", _AGAIN)
        try:
            return self.archive.read(entry)
        except (zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, EOFError, ValueError) as wrong:
            judge.refuse(f"the package is damaged: checksum or compression error in part {name} ({wrong})", _AGAIN)
        except (NotImplementedError, RuntimeError, OSError) as wrong:
            judge.refuse(f"part {name} cannot be unpacked: {wrong}", _AGAIN)

    def type_of(self, name: str) -> str:
        """Content type of a part, '' when none is declared."""
        ending = posixpath.splitext(name)[1].lstrip(".").lower()
        return self.overrides.get(name.lower()) or self.defaults.get(ending, "")

    def relationships(self, source: str) -> list[Relationship]:
        """Arrows from a part ('' for the package itself). Arrows to the outside or to nowhere are breaches."""
        folder, base = posixpath.split(source)
        name = posixpath.join(folder, "_rels", base + ".rels")
        if not self.has(name):
            return []
        found, ids = [], set()
        for tag, attributes in small_document(self.read(name), self.judge, name):
            if not tag.endswith(" Relationship"):
                continue
            target = self._target(folder, attributes, name)
            if target is not None:
                found.append(Relationship(attributes.get("Type", ""), target))
            if attributes.get("Id") in ids:
                self.judge.warn(
                    "threemf.relationships",
                    f"{name}: two relationships have the id {attributes.get('Id')!r}; both were followed",
                    _AGAIN,
                )
            ids.add(attributes.get("Id"))
        return found

    def _target(self, folder: str, attributes: dict[str, str], where: str) -> str | None:
        raw = attributes.get("Target", "")
        if attributes.get("TargetMode") == "External" or _ELSEWHERE.match(raw):
            self.judge.breach(
                "threemf.external",
                f"{where}: a relationship leads out of the package, to {raw!r} (core 2.1.1)",
                _AGAIN,
                liberty="it was not followed",
            )
            return None
        target = posixpath.normpath(posixpath.join("/" + folder, unquote(raw))).lstrip("/")
        if not self.has(target):
            self.judge.breach(
                "threemf.missing-part",
                f"{where}: a relationship leads to {target!r}, which is not in the package (core 2.1.1)",
                _AGAIN,
                liberty="it was not followed",
            )
            return None
        return target


def open_package(data: bytes, judge: Judge) -> Package:
    """Open a ZIP package without unpacking anything: entries, limits, content types."""
    if not data:
        judge.refuse("the file is empty (0 bytes)", _AGAIN)
    if not data.startswith(b"PK"):
        judge.refuse("not a 3MF file: it is not a ZIP package", _AGAIN)
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        entries = archive.infolist()
    except (zipfile.BadZipFile, struct.error, NotImplementedError, ValueError, OSError, EOFError) as wrong:
        judge.refuse(f"the package is damaged or cut: {wrong}", "send or export the file again")
    if len(entries) > MOST_ENTRIES:
        judge.refuse(f"the package has {len(entries)} entries, at most {MOST_ENTRIES} are read", _AGAIN)
    package = Package(judge, archive, _part_names(entries, judge))
    _content_types(package)
    return package


def _part_names(entries: list[zipfile.ZipInfo], judge: Judge) -> dict[str, zipfile.ZipInfo]:
    parts: dict[str, zipfile.ZipInfo] = {}
    for entry in entries:
        if not entry.filename:
            judge.note("threemf.odd-entry", "an entry has no name; it was not touched")
            continue
        if entry.is_dir():
            continue
        name = unquote(entry.filename)
        if name.startswith("/") or "\\" in name or ".." in name.split("/"):
            judge.note("threemf.odd-entry", f"an entry leads outside the package ({name!r}); it was not touched")
            continue
        if name.lower() in parts:
            judge.refuse(f"duplicate part name {name!r}: it is not clear which one is meant", _AGAIN)
        parts[name.lower()] = entry
    return parts


def _content_types(package: Package) -> None:
    name = "[Content_Types].xml"
    if not package.has(name):
        package.judge.breach(
            "threemf.content-types",
            "the package has no [Content_Types].xml (Open Packaging Conventions)",
            _AGAIN,
            liberty="the model part was found by its relationship",
        )
        return
    for tag, attributes in small_document(package.read(name), package.judge, name):
        kind = attributes.get("ContentType", "")
        if tag.endswith(" Default"):
            package.defaults[attributes.get("Extension", "").lower()] = kind
        elif tag.endswith(" Override"):
            package.overrides[unquote(attributes.get("PartName", "")).lstrip("/").lower()] = kind


def find_model_part(package: Package) -> str:
    """Name of the part where reading starts, by relationship, never by a fixed path."""
    judge = package.judge
    arrows = package.relationships("")
    starts = [arrow.target for arrow in arrows if arrow.kind == START]
    if not package.has("_rels/.rels"):
        judge.breach(
            "threemf.relationships",
            "the package has no _rels/.rels: nothing says where the model is (core 2.1.1)",
            _AGAIN,
            liberty="the only model part was taken",
        )
        starts = [name for name in package.entries if name.endswith(".model")][:1]
    if not starts:
        judge.refuse("the package has no 3D model part (core 2.1.1)", _AGAIN)
    if len(starts) > 1:
        judge.breach(
            "threemf.relationships",
            f"{len(starts)} relationships name a 3D model part, exactly one may (core 2.1.1)",
            _AGAIN,
            liberty=f"{starts[0]!r} was taken",
        )
    _check_arrows(package, starts[0])
    if package.has("[Content_Types].xml") and package.type_of(starts[0]) != MODEL_TYPE:
        judge.breach(
            "threemf.content-types",
            f"the model part has content type {package.type_of(starts[0])!r} (core 2.1.2)",
            _AGAIN,
            liberty="it was read as a model",
        )
    return starts[0]


def _check_arrows(package: Package, model: str) -> None:
    tickets = [arrow for arrow in package.relationships(model) if arrow.kind == PRINT_TICKET]
    if len(tickets) > 1:
        package.judge.breach(
            "threemf.relationships",
            f"the model part has {len(tickets)} print tickets, at most one is allowed (core 2.1.4)",
            _AGAIN,
            liberty="print tickets are not used",
        )
