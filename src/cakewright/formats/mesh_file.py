"""Any mesh file to a mesh: strict (`read_mesh`) or with every liberty named (`recover_mesh`)."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from cakewright.errors import MeshFileError
from cakewright.findings import Finding
from cakewright.formats.joining import joined
from cakewright.formats.judge import Judge
from cakewright.formats.obj import parse_obj
from cakewright.formats.ply import parse_ply
from cakewright.formats.raw import Body, RawMesh
from cakewright.formats.step import parse_step
from cakewright.formats.stl import parse_stl
from cakewright.formats.text import looks_like
from cakewright.formats.threemf import parse_3mf
from cakewright.model.mesh import Mesh
from cakewright.units import LengthUnit

LARGEST_FILE_BYTES = 1_000_000_000
LARGEST_TRIANGLES = 20_000_000
LARGEST_COORDINATE = 1e15  # in any unit no place on earth; squares and cubes of it are still numbers
COARSE_STEP = 1e-4  # of the part's largest length: rounding above it eats detail

Result = tuple["MeshFile", tuple[Finding, ...]]


@dataclass(frozen=True, eq=False)
class MeshFile:
    """A mesh as its file has it, in the file's own numbers; `unit` None: the file does not say.

    `format` is 'stl-binary', 'stl-ascii', 'obj', 'ply', '3mf' or 'step'; `bodies` the solids or objects the file
    names; `copies` how many equal pieces a 3MF puts on its platform (the mesh is one of them).
    """

    name: str
    sha256: str
    format: str
    unit: LengthUnit | None
    mesh: Mesh
    bodies: tuple[Body, ...] = ()
    copies: int = 1

    def in_mm(self, unit: LengthUnit) -> Mesh:
        """The mesh in mm when the file's numbers are `unit`."""
        return self.mesh if unit is LengthUnit.MILLIMETER else self.mesh.scaled(unit.mm)


def read_mesh(path: Path) -> Result:
    """Read a mesh file strictly: MeshFileError, with the rule it breaks, for whatever the format forbids.

    Findings tell what is allowed but worth knowing.
    """
    return read_mesh_bytes(_bytes_of(path), path.name)


def recover_mesh(path: Path) -> Result:
    """Read a mesh file with every liberty that leaves a mesh; each liberty is a finding.

    Files without any triangle, packages that could harm and other kinds of files are still refused.
    """
    return recover_mesh_bytes(_bytes_of(path), path.name)


def read_mesh_bytes(data: bytes, name: str) -> Result:
    """As `read_mesh`, from bytes; the ending of `name` tells the format."""
    return _read(data, Judge(name, strict=True))


def recover_mesh_bytes(data: bytes, name: str) -> Result:
    """As `recover_mesh`, from bytes."""
    return _read(data, Judge(name, strict=False))


def _bytes_of(path: Path) -> bytes:
    try:
        seen = path.stat()
        if not stat.S_ISREG(seen.st_mode):  # reading a pipe or a device would wait for ever
            raise MeshFileError("this is no file with content", remedy="give a mesh file", where=path.name)
        size = seen.st_size
        if size > LARGEST_FILE_BYTES:
            raise MeshFileError(
                f"the file has {size / 1e9:.1f} GB, at most {LARGEST_FILE_BYTES / 1e9:.0f} GB are read",
                remedy="export it with a coarser tolerance",
                where=path.name,
            )
        return path.read_bytes()
    except OSError as wrong:
        reason = os.strerror(wrong.errno) if wrong.errno else str(wrong)
        raise MeshFileError(
            f"the file cannot be opened: {reason}", remedy="check the path and the permissions", where=path.name
        ) from wrong


_PARSERS: dict[str, Callable[[bytes, Judge], RawMesh]] = {
    ".stl": parse_stl,
    ".obj": parse_obj,
    ".ply": parse_ply,
    ".3mf": parse_3mf,
    ".step": parse_step,
    ".stp": parse_step,
}


def _read(data: bytes, judge: Judge) -> Result:
    ending = Path(judge.name).suffix.lower()
    parser = _PARSERS.get(ending)
    if parser is None:
        other = looks_like(data)
        judge.refuse(
            f"files ending in {ending or 'nothing'} are not read" + (f"; this looks like {other[0]}" if other else ""),
            f"give one of {', '.join(_PARSERS)}",
        )
    raw = parser(data, judge)
    if len(raw.faces) > LARGEST_TRIANGLES:
        judge.refuse(f"{len(raw.faces)} triangles, at most {LARGEST_TRIANGLES} are read", "export it more coarsely")
    largest = float(np.abs(raw.vertices).max(initial=0.0))
    if largest > LARGEST_COORDINATE:
        judge.refuse(f"a coordinate is {largest:.3g}: no part lies there", "export the mesh again, near the origin")
    raw = joined(raw, judge)
    mesh = Mesh(raw.vertices, raw.faces)
    _tell_rounding(mesh, raw, judge)
    digest = hashlib.sha256(data).hexdigest()
    found = MeshFile(judge.name, digest, raw.kind, raw.unit, mesh, raw.bodies, raw.copies)
    return found, judge.findings


def _tell_rounding(mesh: Mesh, raw: RawMesh, judge: Judge) -> None:
    """Single precision far from the origin has coarse steps: detail is lost before we see the file."""
    if not raw.single_precision:
        return
    step = float(np.spacing(np.float32(np.abs(mesh.box_mm).max())))
    if step > COARSE_STEP * float(mesh.size_mm.max()):
        judge.warn(
            "mesh.rounded-away",
            f"coordinates lie so far from the origin that they are rounded to steps of {step:.3g}: detail collapsed",
            "move the part to the origin in the design program and export it again",
        )
