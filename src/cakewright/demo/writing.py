"""Demo parts as the mixture of files that a week brings: mostly binary STL, some of everything else."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from manifold3d import Manifold

from cakewright.demo.shapes import kit
from cakewright.formats.stl import write_stl
from cakewright.formats.threemf_write import ThreeMfItem, write_3mf
from cakewright.model.mesh import Mesh
from cakewright.units import MM_PER_INCH

Make = Callable[[], Manifold]


@dataclass(frozen=True, slots=True)
class PartFile:
    """One file of the demo: its name and the body in it."""

    name: str
    make: Make
    kind: str


def file_name(part: str, revision: str, kind: str) -> str:
    """Part and revision as a file name: ('snap arm short', 'E', 'stl') -> 'snap-arm-short_E.stl'."""
    plain = re.sub(r"[^a-z0-9]+", "-", part.lower()).strip("-")
    suffix = {"stl-ascii": "stl", "stl-inch": "stl"}.get(kind, kind)
    return f"{plain}_{revision}.{suffix}"


def write_part(path: Path, mesh: Mesh, kind: str) -> None:
    """Write a mesh as 'stl', 'stl-ascii', 'stl-inch', '3mf', 'obj' or 'ply'."""
    _WRITERS[kind](path, mesh)


def write_parts(folder: Path, files: Mapping[int, PartFile]) -> dict[int, str]:
    """Write each file once into `folder`; returns the file name of each line."""
    folder.mkdir(parents=True, exist_ok=True)
    written: set[str] = set()
    for file in files.values():
        if file.name not in written:
            write_part(folder / file.name, kit.to_mesh(file.make()), file.kind)
            written.add(file.name)
    return {line: file.name for line, file in files.items()}


def _stl(path: Path, mesh: Mesh) -> None:
    write_stl(path, mesh, path.stem)


def _stl_inch(path: Path, mesh: Mesh) -> None:
    write_stl(path, mesh.scaled(1 / MM_PER_INCH), path.stem)


def _stl_ascii(path: Path, mesh: Mesh) -> None:
    corners = mesh.triangles
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-30)[:, None]
    lines = [f"solid {path.stem}"]
    for normal, triangle in zip(normals, corners, strict=True):
        lines += [f"  facet normal {_row(normal)}", "    outer loop"]
        lines += [f"      vertex {_row(corner)}" for corner in triangle]
        lines += ["    endloop", "  endfacet"]
    path.write_text("\n".join([*lines, f"endsolid {path.stem}", ""]), encoding="ascii")


def _obj(path: Path, mesh: Mesh) -> None:
    lines = ["# millimetres", f"o {path.stem}"]
    lines += [f"v {_row(vertex)}" for vertex in mesh.vertices]
    lines += [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in mesh.faces.tolist()]
    path.write_text("\n".join([*lines, ""]), encoding="ascii")


def _ply(path: Path, mesh: Mesh) -> None:
    head = ["ply", "format ascii 1.0", "comment millimetres", f"element vertex {len(mesh.vertices)}",
            "property float x", "property float y", "property float z", f"element face {len(mesh.faces)}",
            "property list uchar int vertex_indices", "end_header"]  # fmt: skip
    rows = [_row(vertex) for vertex in mesh.vertices] + [f"3 {a} {b} {c}" for a, b, c in mesh.faces.tolist()]
    path.write_text("\n".join([*head, *rows, ""]), encoding="ascii")


def _threemf(path: Path, mesh: Mesh) -> None:
    write_3mf(path, {path.stem: mesh}, [ThreeMfItem(path.stem, path.stem, np.eye(4))], {"Title": path.stem})


def _row(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> str:
    return " ".join(f"{value:.9g}" for value in values.tolist())


_WRITERS: dict[str, Callable[[Path, Mesh], None]] = {
    "stl": _stl,
    "stl-ascii": _stl_ascii,
    "stl-inch": _stl_inch,
    "3mf": _threemf,
    "obj": _obj,
    "ply": _ply,
}
