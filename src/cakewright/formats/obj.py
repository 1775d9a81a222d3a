"""OBJ: vertices and polygons as text. Colours, textures and normals are ignored; a file says no unit."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from cakewright.formats.judge import Judge
from cakewright.formats.raw import Body, RawMesh
from cakewright.formats.text import decode, looks_like
from cakewright.model.mesh import FloatArray, IntArray
from cakewright.parts.polygons import triangulate

_IGNORED = frozenset(
    ("vt", "vn", "vp", "usemtl", "mtllib", "s", "usemap", "maplib", "mg", "lod", "shadow_obj", "trace_obj", "bevel",
     "c_interp", "d_interp", "ctech", "stech")
)  # fmt: skip
_CURVED = frozenset(("curv", "curv2", "surf", "cstype", "deg", "bmat", "step", "parm", "trim", "hole", "scrv", "sp", "end", "con"))  # fmt: skip  # noqa: E501
_INDEX = re.compile(r"[+-]?\d{1,15}", re.ASCII)


@dataclass(slots=True)
class _Reading:
    judge: Judge
    vertices: list[tuple[float, float, float]] = field(default_factory=list)
    polygons: list[list[int]] = field(default_factory=list)
    lines_of: list[int] = field(default_factory=list)
    bodies: list[tuple[str, int]] = field(default_factory=list)
    wires: int = 0
    points: int = 0
    unknown: list[int] = field(default_factory=list)
    curved: int = 0
    promised: int = 0  # vertices in the whole file: faces may name later ones

    def bad_line(self, line: int, message: str, remedy: str = "export the mesh again") -> None:
        self.judge.breach("obj.bad-line", f"line {line}: {message}", remedy, liberty="the line was skipped")

    def vertex(self, line: int, words: list[str]) -> None:
        try:
            x, y, z = (float(word) for word in words[1:4])
        except ValueError:
            self.bad_line(line, f"vertex {len(self.vertices) + 1} has no three readable numbers: {' '.join(words)!r}")
            x = y = z = math.nan
        else:
            if not (math.isfinite(x) and math.isfinite(y) and math.isfinite(z)):
                self.bad_line(line, f"non-finite coordinate at vertex {len(self.vertices) + 1}: {' '.join(words)!r}")
        self.vertices.append((x, y, z))

    def face(self, line: int, words: list[str]) -> None:
        corners = []
        for word in words[1:]:
            index = word.partition("/")[0]
            if not _INDEX.fullmatch(index):
                return self.bad_line(line, f"face corner {word[:40]!r} is no number of a vertex")
            corner = int(index)
            if corner == 0:
                return self.bad_line(line, "a face names vertex 0, but OBJ counts from 1")
            if corner < 0 and -corner > len(self.vertices):
                return self.bad_line(
                    line, f"a face refers to missing vertices: {corner} of {len(self.vertices)} so far"
                )
            if corner > self.promised:
                return self.bad_line(line, f"a face refers to vertex {corner} of {self.promised}")
            corners.append(corner - 1 if corner > 0 else len(self.vertices) + corner)
        corners = [c for k, c in enumerate(corners) if c != corners[k - 1]] if len(corners) > 1 else corners
        if len(corners) < 3:
            return self.bad_line(line, f"a face has {len(words) - 1} corners, at least 3 different ones are needed")
        self.polygons.append(corners)
        self.lines_of.append(line)
        return None


def parse_obj(data: bytes, judge: Judge) -> RawMesh:
    """Polygons of an OBJ file, cut into triangles inside their outlines."""
    if not data.strip():
        judge.refuse(f"the file is empty ({len(data)} bytes)", "export the mesh again")
    other = looks_like(data)
    if other is not None:
        judge.refuse(f"not an OBJ file: it looks like {other[0]}", other[1])
    reading = _Reading(judge)
    statements = list(_statements(decode(data, judge, "obj")))
    reading.promised = sum(words[0] == "v" for _, words in statements)
    for line, words in statements:
        _take(reading, line, words)
    _tell(reading)
    vertices = np.array(reading.vertices, dtype=np.float64).reshape(-1, 3)
    faces, first = _triangles(reading, vertices)
    bodies = _bodies(reading.bodies, first, len(faces))
    return RawMesh("obj", None, np.nan_to_num(vertices, posinf=0, neginf=0), faces, bodies)


def _statements(text: str) -> Iterator[tuple[int, list[str]]]:
    """(line number, words) with comments removed and continued lines joined."""
    held, held_line = "", 0
    for number, raw in enumerate(text.split("\n"), start=1):
        line = raw.partition("#")[0] if "#" in raw else raw
        stripped = line.rstrip()
        if stripped.endswith("\\"):
            held, held_line = held + stripped[:-1] + " ", held_line or number
            continue
        words = (held + line).split()
        if words:
            yield held_line or number, words
        held, held_line = "", 0
    if held.split():
        yield held_line, held.split()


def _take(reading: _Reading, line: int, words: list[str]) -> None:
    match words[0]:
        case "v":
            reading.vertex(line, words)
        case "f" | "fo":
            reading.face(line, words)
        case "o" | "g":
            reading.bodies.append((" ".join(words[1:]), len(reading.polygons)))
        case "l":
            reading.wires += 1
        case "p":
            reading.points += 1
        case word if word in _CURVED:
            reading.curved += 1
        case word if word not in _IGNORED:
            reading.unknown.append(line)


def _tell(reading: _Reading) -> None:
    """Refuse what holds no faces, note what was left unread."""
    judge = reading.judge
    if not reading.polygons:
        if reading.wires:
            judge.refuse("the file is a wireframe: lines, but no faces", "export the surfaces, not the edges")
        if reading.vertices and not reading.unknown:
            judge.refuse("the file is a point cloud: vertices, but no faces", "export the surfaces, not the points")
        if not reading.vertices:
            judge.refuse("not an OBJ file: it holds no vertices and no faces", "export the mesh again")
        judge.refuse("the file holds no faces", "export the surfaces again")
    if reading.unknown:
        judge.note("obj.unknown-lines", f"{len(reading.unknown)} lines are not OBJ, the first is {reading.unknown[0]}")
    if reading.curved:
        judge.warn(
            "obj.curved-surfaces",
            f"{reading.curved} statements describe curved surfaces, which are not read",
            "export the part as triangles",
        )


def _triangles(reading: _Reading, vertices: FloatArray) -> tuple[IntArray, list[int]]:
    """Triangles of all polygons, and the number of the first triangle of each polygon (and the end)."""
    out: list[IntArray | list[int]] = []
    first, total = [], 0
    usable = np.asarray(np.isfinite(vertices).all(axis=1))
    for line, polygon in zip(reading.lines_of, reading.polygons, strict=True):
        first.append(total)
        if not all(usable[corner] for corner in polygon):
            continue
        if len(polygon) == 3:
            out.append(polygon)
            total += 1
            continue
        cut, is_clean = triangulate(vertices[polygon])
        if not is_clean:
            reading.judge.warn(
                "obj.crossed-face", f"line {line}: the outline of a face crosses itself", "look at the part there"
            )
        out.extend(np.array(polygon, dtype=np.int32)[cut])
        total += len(cut)
    if not out:
        reading.judge.refuse("the file contains no readable faces", "export the mesh again")
    return np.array(out, dtype=np.int32), [*first, total]


def _bodies(marks: list[tuple[str, int]], first: list[int], total: int) -> tuple[Body, ...]:
    starts = [(name, first[polygon]) for name, polygon in marks]
    if not starts or starts[0][1] > 0:
        starts.insert(0, ("", 0))
    stops = [start for _, start in starts[1:]] + [total]
    return tuple(
        Body(name, start, stop - start) for (name, start), stop in zip(starts, stops, strict=True) if stop > start
    )
