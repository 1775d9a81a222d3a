"""3MF, core specification 1.4: reading a package into placed pieces, and writing one (threemf_write)."""

from __future__ import annotations

from dataclasses import dataclass
from math import isclose
from pathlib import Path
from urllib.parse import unquote

import numpy as np

from cakewright.formats.judge import Judge
from cakewright.formats.raw import Body, RawMesh
from cakewright.formats.threemf_model import ModelObject, ModelPart, Use, read_model_part
from cakewright.formats.threemf_package import THUMBNAIL, Package, find_model_part, open_package
from cakewright.formats.threemf_properties import Properties
from cakewright.formats.threemf_write import ThreeMfItem, write_3mf
from cakewright.model.mesh import FloatArray, IntArray
from cakewright.units import LengthUnit

__all__ = ["Piece", "ThreeMf", "ThreeMfItem", "load_3mf", "parse_3mf", "read_3mf", "write_3mf"]

MOST_TRIANGLES = 20_000_000
MOST_PIECES = 1_000_000
_AGAIN = "export it again, or send an STL"
SUPPORTS = ("support", "solidsupport")


@dataclass(frozen=True, eq=False)
class Piece:
    """One mesh object standing on the platform: which object, under what name, and where (4, 4)."""

    item: int
    name: str
    kind: str
    object: ModelObject
    matrix: FloatArray


@dataclass(frozen=True, eq=False)
class ThreeMf:
    """A package as read: `unit` of all numbers, `items` of the build, objects by (part, id), metadata."""

    unit: LengthUnit
    items: tuple[Use, ...]
    objects: dict[tuple[str, str], ModelObject]
    metadata: dict[str, str]
    start: str
    has_beams: bool = False

    def object_of(self, use: Use, part: str) -> tuple[str, ModelObject]:
        """The part and object a component or item refers to, seen from `part`."""
        home = (use.path or part).lower()
        return home, self.objects[home, use.object_id]

    def pieces(self) -> list[Piece]:
        """All mesh objects of the build, components resolved, transforms multiplied."""
        out: list[Piece] = []
        for number, item in enumerate(self.items):
            home, made = self.object_of(item, self.start)
            self._place(number, made.name, home, made, item.matrix, "", out)
        return out

    def _place(
        self, item: int, name: str, home: str, made: ModelObject, matrix: FloatArray, kind: str, out: list[Piece]
    ) -> None:
        kind = kind or (made.kind if made.kind in SUPPORTS else "")
        if not made.components:
            out.append(Piece(item, name or made.name, kind or made.kind, made, matrix))
            return
        for use in made.components:
            inner_home, inner = self.object_of(use, home)
            self._place(item, name or inner.name, inner_home, inner, matrix @ use.matrix, kind, out)


def read_3mf(path: Path) -> ThreeMf:
    """Read a package strictly: MeshFileError with the rule it breaks."""
    return load_3mf(path.read_bytes(), Judge(path.name, strict=True))


def load_3mf(data: bytes, judge: Judge) -> ThreeMf:
    """Read a package: the start part, and the parts that its components name (production extension)."""
    package = open_package(data, judge)
    start = find_model_part(package).lower()
    root = _part(package, start)
    parts: dict[str, ModelPart] = {start: root}
    for use in [*root.items, *(u for made in root.objects.values() for u in made.components)]:
        home = use.path.lower()
        if home and home not in parts:
            if not package.has(home):
                judge.refuse(f"{start} refers to part {use.path!r}, which is not in the package (production 4)", _AGAIN)
            parts[home] = _part(package, home)
            if parts[home].unit is not root.unit:
                judge.refuse(f"{home} is in {parts[home].unit}, {start} in {root.unit}", _AGAIN)
    objects = {(name, number): made for name, part in parts.items() for number, made in part.objects.items()}
    has_beams = any(part.has_beams for part in parts.values())
    found = ThreeMf(root.unit, tuple(root.items), objects, root.metadata, start, has_beams)
    if has_beams:
        judge.warn("threemf.beam-lattice", "a beam lattice is not turned into solid: its beams are missing",
                   "export the lattice as triangles")  # fmt: skip
    if any(part.has_slices for part in parts.values()):
        judge.warn("threemf.slices", "the package holds ready slices, which are not used: the mesh is",
                   "check that mesh and slices show the same part")  # fmt: skip
    _check_uses(found, judge)
    _check_thumbnails(package, start, root, judge)
    return found


def _part(package: Package, name: str) -> ModelPart:
    title = package.title(name)
    return read_model_part(package.read(name), package.judge, title, Properties(package.judge, title, package.has))


def _check_uses(model: ThreeMf, judge: Judge) -> None:
    """Every use must exist; what it amounts to is counted before anything is built."""
    triangles: dict[tuple[str, str], int] = {}
    pieces: dict[tuple[str, str], int] = {}
    open_now: set[tuple[str, str]] = set()

    def count(use: Use, part: str) -> tuple[int, int]:
        key = ((use.path or part).lower(), use.object_id)
        made = model.objects.get(key)
        if made is None:
            judge.refuse(f"object {key[1]} is used but missing in {key[0]} (core 4.2)", _AGAIN)
        if key in open_now:
            judge.refuse(f"object {key[1]} contains itself: a circular reference (core 4.2)", _AGAIN)
        if key not in triangles:
            open_now.add(key)
            inner = [count(component, key[0]) for component in made.components]
            open_now.discard(key)
            own = len(made.faces) if made.faces is not None else 0
            triangles[key] = own + sum(t for t, _ in inner)
            pieces[key] = max(1, sum(p for _, p in inner))
        return triangles[key], pieces[key]

    total = [count(item, model.start) for item in model.items]
    if sum(t for t, _ in total) > MOST_TRIANGLES or sum(p for _, p in total) > MOST_PIECES:
        judge.refuse(
            f"the build amounts to {sum(t for t, _ in total)} triangles in {sum(p for _, p in total)} pieces, "
            f"at most {MOST_TRIANGLES} in {MOST_PIECES} are read",
            "send the parts as separate files",
        )


def _check_thumbnails(package: Package, start: str, root: ModelPart, judge: Judge) -> None:
    if not root.thumbnails:
        return
    shown = {a.target.lower() for a in package.relationships(start) if a.kind == THUMBNAIL}
    for path in root.thumbnails:
        if package.has(unquote(path).lstrip("/")) and unquote(path).lstrip("/").lower() not in shown:
            judge.warn("threemf.thumbnail", f"the picture {path!r} has no thumbnail relationship (core 4)", "nothing")
            return


def parse_3mf(data: bytes, judge: Judge) -> RawMesh:
    """The build of a package as one mesh in the file's unit; supports and beam lattices are left out and said.

    When the platform holds several equal pieces of one object, the mesh is one of them and `copies` tells how
    many: the quantity of an order is on its line, not in the file.
    """
    model = load_3mf(data, judge)
    if not model.items:
        judge.refuse("the build is empty: nothing to print (core 3.4.3)", "export it again with the parts placed")
    pieces = model.pieces()
    solid = [p for p in pieces if p.kind not in SUPPORTS]
    if len(solid) < len(pieces):
        judge.note(
            "threemf.supports", f"{len(pieces) - len(solid)} support objects were left out: sintering needs none"
        )
    if not solid:
        judge.refuse("the package holds only support objects: no part to build", "export the part itself")
    solid = [p for p in solid if p.object.faces is not None and len(p.object.faces)]
    if not solid:
        lattice = ": a beam lattice is not turned into solid" if model.has_beams else ""
        judge.refuse(f"the build contains no triangles{lattice}", "export the part as triangles")
    copies = _copies(model, solid)
    if copies > 1:
        judge.note("threemf.copies", f"the platform holds {copies} equal pieces of one object; one was taken",
                   "the quantity is that of the order line")  # fmt: skip
        solid = [p for p in solid if p.item == solid[0].item]
    vertices, faces, bodies = merged(solid)
    return RawMesh("3mf", model.unit, vertices, faces, bodies, copies=copies)


def _copies(model: ThreeMf, solid: list[Piece]) -> int:
    """How many items place the same object with the same shape (turned and moved only); 1 when they differ."""
    used = [model.items[number] for number in sorted({piece.item for piece in solid})]
    first = used[0]
    gram = first.matrix[:3, :3].T @ first.matrix[:3, :3]
    for other in used[1:]:
        turn = other.matrix[:3, :3]
        is_same = (other.object_id, other.path) == (first.object_id, first.path)
        same_hand = isclose(np.linalg.det(turn), np.linalg.det(first.matrix[:3, :3]), rel_tol=1e-6)
        if not (is_same and same_hand and np.allclose(turn.T @ turn, gram, rtol=1e-6, atol=1e-9)):
            return 1
    return len(used)


def merged(pieces: list[Piece]) -> tuple[FloatArray, IntArray, tuple[Body, ...]]:
    """Vertices, faces and bodies of placed pieces; a mirroring transform turns the faces over (core 3.3)."""
    points, faces, bodies, base, total = [], [], [], 0, 0
    for piece in pieces:
        vertices, own = piece.object.vertices, piece.object.faces
        if vertices is None or own is None or len(own) == 0:
            continue
        turn = piece.matrix[:3, :3]
        points.append(vertices @ turn.T + piece.matrix[:3, 3])
        faces.append((own[:, ::-1] if np.linalg.det(turn) < 0 else own) + np.int32(base))
        bodies.append(Body(piece.name, total, len(own)))
        base += len(vertices)
        total += len(own)
    return np.concatenate(points), np.concatenate(faces), tuple(bodies)
