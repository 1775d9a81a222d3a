"""PLY: a header that lists its elements, then ASCII or binary rows. A file says no unit."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.formats.judge import Judge
from cakewright.formats.raw import Body, RawMesh
from cakewright.formats.text import looks_like
from cakewright.model.mesh import FloatArray, IntArray
from cakewright.parts.polygons import triangulate

_TYPES = {"char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2",
          "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4",
          "double": "f8", "float64": "f8"}  # fmt: skip
_END = re.compile(rb"^end_header[ \t]*(\r\n|\n|\r)", re.MULTILINE)
_AGAIN = "export the mesh again"


@dataclass(frozen=True, slots=True)
class _Property:
    name: str
    kind: str
    count_kind: str = ""  # set for lists


@dataclass(slots=True)
class _Element:
    name: str
    count: int
    properties: list[_Property]

    @property
    def has_list(self) -> bool:
        return any(p.count_kind for p in self.properties)

    @property
    def least_bytes(self) -> int:
        return sum(np.dtype(p.count_kind or p.kind).itemsize for p in self.properties)


def parse_ply(data: bytes, judge: Judge) -> RawMesh:
    """Vertices and faces of a PLY file; other elements and properties are passed over."""
    form, elements, start = _header(data, judge)
    rows = _ascii_rows if form == "ascii" else _binary_rows
    read = rows(data, start, form, elements, judge)
    if "vertex" not in read or not isinstance(read["vertex"], dict):
        judge.refuse("the file has no vertices", _AGAIN)
    columns = read["vertex"]
    if not all(axis in columns for axis in "xyz"):
        judge.refuse("the vertices have no x, y, z", _AGAIN)
    vertices = np.column_stack([columns[axis] for axis in "xyz"]).astype(np.float64)
    polygons = read.get("face")
    if not isinstance(polygons, tuple) or len(polygons[0]) == 0:
        judge.refuse("the file is a point cloud: vertices, but no faces", "export the surfaces, not the points")
    faces = _faces(vertices, polygons[0], polygons[1], judge)
    kinds = {p.kind for e in elements if e.name == "vertex" for p in e.properties if p.name in "xyz"}
    return RawMesh(
        "ply",
        None,
        np.nan_to_num(vertices, posinf=0, neginf=0),
        faces,
        (Body("", 0, len(faces)),),
        single_precision=form != "ascii" and kinds == {"f4"},
    )


def _header(data: bytes, judge: Judge) -> tuple[str, list[_Element], int]:
    if not data:
        judge.refuse("the file is empty (0 bytes)", _AGAIN)
    if not re.match(rb"ply[ \t]*[\r\n]", data):
        other = looks_like(data)
        if other is not None:
            judge.refuse(f"not a PLY file: it looks like {other[0]}", other[1])
        judge.refuse("not a PLY file: the first line is not 'ply'", _AGAIN)
    end = _END.search(data.replace(b"\r", b"\n") if b"\n" not in data[:200] else data)
    if end is None:
        judge.refuse("bad header: there is no line 'end_header'", _AGAIN)
    lines = re.split(r"\r\n|\n|\r", data[: end.start()].decode("latin-1"))
    form, elements = "", []
    for number, line in enumerate(lines[1:], start=2):
        words = line.split()
        match words:
            case [] | ["comment" | "obj_info", *_]:
                continue
            case ["format", ("ascii" | "binary_little_endian" | "binary_big_endian") as form, "1.0"]:
                continue
            case ["element", name, count] if count.isdecimal() and len(count) < 16:
                elements.append(_Element(name, int(count), []))
            case ["property", "list", count_kind, kind, name] if elements and {count_kind, kind} <= _TYPES.keys():
                elements[-1].properties.append(_Property(name, _TYPES[kind], _TYPES[count_kind]))
            case ["property", kind, name] if elements and kind in _TYPES:
                elements[-1].properties.append(_Property(name, _TYPES[kind]))
            case _:
                judge.refuse(f"bad header: line {number} is not understood: {line[:60]!r}", _AGAIN)
    if not form or not elements:
        judge.refuse("bad header: format or elements are missing", _AGAIN)
    return form, elements, end.end()


Columns = dict[str, NDArray[np.float64]]
Polygons = tuple[NDArray[np.int64], NDArray[np.int64]]  # (start of each polygon and the end, all corners)
Read = dict[str, Columns | Polygons]


def _is_corners(prop: _Property) -> bool:
    return bool(prop.count_kind) and prop.name in ("vertex_indices", "vertex_index")


def _short_of(judge: Judge, element: _Element) -> None:
    judge.refuse(
        f"the file is truncated: {element.count} rows of {element.name!r} promised, fewer are present",
        "send or export the file again",
    )


def _binary_rows(data: bytes, start: int, form: str, elements: list[_Element], judge: Judge) -> Read:
    order = "<" if form == "binary_little_endian" else ">"
    read: Read = {}
    at = start
    for element in elements:
        if element.count * element.least_bytes > len(data) - at:
            _short_of(judge, element)
        if not element.has_list:
            dtype = np.dtype([(f"{k}", order + p.kind) for k, p in enumerate(element.properties)])
            rows = np.frombuffer(data, dtype=dtype, count=element.count, offset=at) if element.count else None
            if rows is not None:
                with np.errstate(invalid="ignore"):  # a signalling NaN in the file is refused later, in words
                    read[element.name] = {
                        p.name: rows[f"{k}"].astype(np.float64) for k, p in enumerate(element.properties)
                    }
            at += element.count * dtype.itemsize
            continue
        polygons, at = _binary_lists(data, at, order, element, judge)
        if element.name == "face" and polygons is not None:
            read["face"] = polygons
    if at < len(data):
        judge.note("ply.trailing-bytes", f"{len(data) - at} bytes after the last element were left unread")
    return read


def _binary_lists(data: bytes, at: int, order: str, element: _Element, judge: Judge) -> tuple[Polygons | None, int]:
    """Rows with lists: walk over the bytes once to find the corners, then convert them in one go."""
    sizes = np.array([np.dtype(p.kind).itemsize for p in element.properties], dtype=np.int64)
    counts = np.array([np.dtype(p.count_kind).itemsize if p.count_kind else 0 for p in element.properties], np.int64)
    which = next((k for k, p in enumerate(element.properties) if _is_corners(p)), -1)
    raw = np.frombuffer(data, dtype=np.uint8, offset=at)
    begins, lengths, used = _walk(raw, element.count, sizes, counts, which, order == "<")
    if used < 0:
        _short_of(judge, element)
    if which < 0:
        return None, at + int(used)
    bounds = np.concatenate([[0], np.cumsum(lengths)])
    kind = np.dtype(order + element.properties[which].kind)
    item = int(kind.itemsize)
    places = np.repeat(begins - bounds[:-1] * item, lengths) + np.arange(bounds[-1]) * item
    loose = raw[places[:, None] + np.arange(item)] if len(places) else np.empty((0, item), np.uint8)
    corners = np.ascontiguousarray(loose).view(kind).ravel().astype(np.int64)
    return (bounds, corners), at + int(used)


@kernel
def _walk(
    raw: NDArray[np.uint8], rows: int, sizes: NDArray[np.int64], counts: NDArray[np.int64], which: int, little: bool
) -> tuple[NDArray[np.int64], NDArray[np.int64], int]:
    begins, lengths = np.zeros(rows, np.int64), np.zeros(rows, np.int64)
    at, end = 0, raw.shape[0]
    for row in range(rows):
        for k in range(sizes.shape[0]):
            items = 1
            width = counts[k]
            if width > 0:
                if at + width > end:
                    return begins, lengths, -1
                items = 0
                for b in range(width):
                    byte = int(raw[at + b])
                    items += byte << (8 * (b if little else width - 1 - b))
                at += width
            if k == which:
                begins[row], lengths[row] = at, items
            at += items * sizes[k]
            if at > end:
                return begins, lengths, -1
    return begins, lengths, at


def _ascii_rows(data: bytes, start: int, form: str, elements: list[_Element], judge: Judge) -> Read:
    lines = iter(data[start:].decode("latin-1").splitlines())
    read: Read = {}
    for element in elements:
        if element.count * 2 > len(data) - start:  # a row is at least one digit and a line end
            _short_of(judge, element)
        rows: list[list[str]] = []
        for line in lines:
            if len(rows) == element.count:
                break
            if line.strip():
                rows.append(line.split())
            if len(rows) == element.count:
                break
        if len(rows) < element.count:
            _short_of(judge, element)
        try:
            if element.has_list:
                if element.name == "face":
                    read["face"] = _ascii_polygons(rows, element)
            elif rows:
                table = np.array(rows, dtype=np.float64)
                read[element.name] = {p.name: table[:, k] for k, p in enumerate(element.properties)}
        except (ValueError, IndexError, OverflowError):
            judge.refuse(f"a row of {element.name!r} has a wrong number of columns or is no number", _AGAIN)
    return read


def _ascii_polygons(rows: list[list[str]], element: _Element) -> Polygons:
    corners: list[int] = []
    bounds = [0]
    for row in rows:
        at = 0
        for prop in element.properties:
            count = int(row[at]) if prop.count_kind else 1
            at += 1 if prop.count_kind else 0
            if at + count > len(row) or count < 0:
                raise ValueError(row)
            if _is_corners(prop):
                corners.extend(map(int, row[at : at + count]))
            at += count
        bounds.append(len(corners))
    return np.array(bounds, dtype=np.int64), np.array(corners, dtype=np.int64)


def _faces(vertices: FloatArray, bounds: NDArray[np.int64], corners: NDArray[np.int64], judge: Judge) -> IntArray:
    """Triangles of all polygons; wrong indices and non-finite corners are breaches."""
    lengths = np.diff(bounds)
    wrong = (corners < 0) | (corners >= len(vertices))
    usable = ~wrong
    usable[usable] = np.isfinite(vertices[corners[usable]]).all(axis=1)
    owner = np.repeat(np.arange(len(lengths)), lengths)
    if wrong.any():
        k = int(np.flatnonzero(wrong)[0])
        judge.breach("mesh.index-out-of-range", f"face {owner[k] + 1} refers to vertex {corners[k]} of {len(vertices)}",
                     _AGAIN, liberty="the face was left out")  # fmt: skip
    if (~usable & ~wrong).any():
        k = int(np.flatnonzero(~usable & ~wrong)[0])
        judge.breach("mesh.not-finite", f"a non-finite coordinate at vertex {corners[k]}, used by face {owner[k] + 1}",
                     _AGAIN, liberty="faces there were left out")  # fmt: skip
    if (lengths < 3).any():
        short = int(np.flatnonzero(lengths < 3)[0])
        judge.breach("ply.short-face", f"face {short + 1} has {lengths[short]} corners, at least 3 are needed", _AGAIN,
                     liberty="it was left out")  # fmt: skip
    good = np.ones(len(lengths), dtype=bool)
    good[owner[~usable]] = False
    three = np.flatnonzero(good & (lengths == 3))
    out = [corners[bounds[three, None] + np.arange(3)]]
    for wide in np.flatnonzero(good & (lengths > 3)):
        polygon = corners[bounds[wide] : bounds[wide + 1]]
        out.append(polygon[triangulate(vertices[polygon])[0]])
    faces = np.concatenate(out).astype(np.int32)
    if len(faces) == 0:
        judge.refuse("the file contains no readable faces", _AGAIN)
    return faces
