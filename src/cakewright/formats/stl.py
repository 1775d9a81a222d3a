"""STL: the triangle lists of 1989, binary here and ASCII in stl_ascii. A file says no unit."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from cakewright.errors import MeshFileError
from cakewright.formats.judge import Judge
from cakewright.formats.raw import Body, RawMesh
from cakewright.formats.stl_ascii import parse_ascii
from cakewright.formats.text import looks_like
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.measure import triangle_normals

HEADER_BYTES = 80
PREFIX_BYTES = HEADER_BYTES + 4
RECORD_BYTES = 50
PLAUSIBLE_MAGNITUDE = (1e-12, 1e9)  # coordinates outside are read from bytes that never were numbers
_ASCII_START = re.compile(rb"\A(\xef\xbb\xbf)?\s*solid\b", re.IGNORECASE)
_ASCII_BODY = re.compile(rb"\b(facet|endsolid)\b", re.IGNORECASE)
_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def write_stl(path: Path, mesh: Mesh, name: str) -> None:
    """Write a mesh in mm as binary STL; `name` goes into the header as ASCII.

    Coordinates are single precision as the format demands: 0.03 µm steps at 300 mm.
    """
    path.write_bytes(stl_bytes(mesh, name))


def stl_bytes(mesh: Mesh, name: str) -> bytes:
    """The binary STL of a mesh, as bytes. Numbers beyond single precision are refused."""
    if np.abs(mesh.vertices).max() > np.finfo(np.float32).max:
        raise MeshFileError("a coordinate is too large for STL", remedy="check the unit of the part", where=name)
    records = np.zeros(len(mesh.faces), dtype=_RECORD)
    records["normal"] = triangle_normals(mesh)
    records["corners"] = mesh.triangles
    # the header must not begin with 'solid': readers take such files for ASCII
    header = f"binary STL mm {name}".encode("ascii", "replace")[:HEADER_BYTES].ljust(HEADER_BYTES)
    return header + len(records).to_bytes(4, "little") + records.tobytes()


def parse_stl(data: bytes, judge: Judge) -> RawMesh:
    """Triangles of an STL file. Binary or ASCII is decided by size and content, never by the word 'solid' alone."""
    if not data:
        judge.refuse("the file is empty (0 bytes)", "export the mesh again")
    if _promised(data) is not None and PREFIX_BYTES + RECORD_BYTES * (_promised(data) or 0) == len(data):
        return _parse_binary(data, judge)
    if _ASCII_START.match(data) and (b"\x00" not in data[:4096]) and (_ASCII_BODY.search(data)):
        corners, bodies = parse_ascii(data, judge)
        return _loose(corners, bodies, "stl-ascii", judge)
    other = looks_like(data)
    if other is not None:
        judge.refuse(f"not an STL file: it looks like {other[0]}", other[1])
    if not _is_plausible_binary(data):
        judge.refuse("not an STL file: neither ASCII STL nor plausible binary triangles", "export the mesh again")
    return _parse_binary(data, judge)


def _promised(data: bytes) -> int | None:
    return int.from_bytes(data[HEADER_BYTES:PREFIX_BYTES], "little") if len(data) >= PREFIX_BYTES else None


def _whole_records(data: bytes) -> int:
    return max(0, (len(data) - PREFIX_BYTES) // RECORD_BYTES)


def _is_plausible_binary(data: bytes) -> bool:
    """True when most of the first triangles have coordinates that a part could have."""
    if _whole_records(data) == 0:
        return _promised(data) == 0
    records = _records(data, min(_whole_records(data), 1000))
    with np.errstate(invalid="ignore"):
        size = np.abs(records["corners"].reshape(len(records), -1))
        sane = (size == 0) | ((size > PLAUSIBLE_MAGNITUDE[0]) & (size < PLAUSIBLE_MAGNITUDE[1]))
    return bool(sane.all(axis=1).mean() > 0.8)


def _records(data: bytes, count: int) -> np.ndarray[tuple[int], np.dtype[np.void]]:
    return np.frombuffer(data, dtype=_RECORD, count=count, offset=PREFIX_BYTES)


def _parse_binary(data: bytes, judge: Judge) -> RawMesh:
    promised, present = _promised(data) or 0, _whole_records(data)
    rest = len(data) - PREFIX_BYTES - RECORD_BYTES * promised
    count = min(promised, present)
    if rest < 0:
        judge.breach(
            "stl.truncated",
            f"the file is truncated: {promised} triangles promised, {present} whole ones present",
            "send or export the file again",
            liberty="the triangles present were read",
        )
    elif rest >= RECORD_BYTES and rest % RECORD_BYTES == 0:
        judge.breach(
            "stl.count-mismatch",
            f"the header promises {promised} triangles, the file holds {present}",
            "export the mesh again",
            liberty=f"all {present} were read",
        )
        count = present
    elif rest > 0:
        judge.note("stl.trailing-bytes", f"{rest} bytes after the last triangle were left unread")
    if count == 0:
        judge.refuse("the file contains no triangles", "export the mesh again")
    with np.errstate(invalid="ignore"):  # a signalling NaN in the file is refused later, in words
        corners = _records(data, count)["corners"].astype(np.float64)
    return _loose(corners, (Body(_header_name(data), 0, count),), "stl-binary", judge)


def _header_name(data: bytes) -> str:
    return data[:HEADER_BYTES].split(b"\x00")[0].decode("utf-8", "replace").strip()


def _loose(corners: FloatArray, bodies: tuple[Body, ...], kind: str, judge: Judge) -> RawMesh:
    """Triangles that share nothing yet, from corners (m, 3, 3); non-finite ones are a breach."""
    bad = np.flatnonzero(~np.isfinite(corners).all(axis=(1, 2)))
    if len(bad):
        judge.breach(
            "mesh.not-finite",
            f"a coordinate is not a finite number in facet {int(bad[0]) + 1}"
            + (f" and {len(bad) - 1} more" if len(bad) > 1 else ""),
            "export the mesh again",
            liberty="these facets were left out",
        )
        corners, bodies = _without(corners, bodies, bad)
    if len(corners) == 0:
        judge.refuse("the file contains no triangles", "export the mesh again")
    loose = np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3)
    return RawMesh(kind, None, corners.reshape(-1, 3), loose, bodies, single_precision=True)


def _without(
    corners: FloatArray, bodies: tuple[Body, ...], bad: np.ndarray[tuple[int], np.dtype[np.intp]]
) -> tuple[FloatArray, tuple[Body, ...]]:
    keep = np.ones(len(corners), dtype=bool)
    keep[bad] = False
    kept, start = [], 0
    for body in bodies:
        n = int(keep[body.first : body.first + body.faces].sum())
        kept.append(Body(body.name, start, n))
        start += n
    return corners[keep], tuple(kept)
