"""Writing 3MF (core specification 1.4): each mesh once, each placement a named build item."""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from cakewright.errors import GeometryError, MeshFileError
from cakewright.model.mesh import FloatArray, Mesh

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
OWN_METADATA = "urn:cakewright:metadata:1"
MODEL_PART = "3D/3dmodel.model"
WELL_KNOWN_METADATA = frozenset(
    ("Title", "Designer", "Description", "Copyright", "LicenseTerms", "Rating",
     "CreationDate", "ModificationDate", "Application")
)  # fmt: skip
_CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_RELATIONSHIPS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Target="/{MODEL_PART}" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


@dataclass(frozen=True, eq=False)
class ThreeMfItem:
    """One piece on the platform: `name` is kept on its own object, `matrix` (4, 4) acts on column vectors in mm."""

    name: str
    mesh_key: str
    matrix: FloatArray
    part_number: str = ""


def write_3mf(
    path: Path, meshes: Mapping[str, Mesh], items: Sequence[ThreeMfItem], metadata: Mapping[str, str]
) -> None:
    """Write placed pieces as 3MF in millimetres.

    Each mesh becomes one object; each item one component object that carries the item's name, and one
    build item. Metadata names outside the specification's list are put in our own namespace. The same
    input gives the same bytes: no clock is read.
    """
    _check(meshes, items)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as package:
        for name, text in (("[Content_Types].xml", _CONTENT_TYPES), ("_rels/.rels", _RELATIONSHIPS)):
            package.writestr(_entry(name), text)
        with package.open(_entry(MODEL_PART), "w") as out:
            for piece in _model(meshes, items, metadata):
                out.write(piece.encode("utf-8"))


def _check(meshes: Mapping[str, Mesh], items: Sequence[ThreeMfItem]) -> None:
    if not items:
        raise MeshFileError("nothing to write: there are no items", remedy="place at least one piece")
    for item in items:
        if item.mesh_key not in meshes:
            raise MeshFileError(f"item {item.name!r} names mesh {item.mesh_key!r}, which is not given")
        matrix = np.asarray(item.matrix, dtype=np.float64)
        if matrix.shape != (4, 4) or not np.isfinite(matrix).all():
            raise GeometryError(f"item {item.name!r}: the matrix must be (4, 4) and finite")
        if abs(np.linalg.det(matrix[:3, :3])) < 1e-12:
            raise GeometryError(f"item {item.name!r}: the matrix squashes the part flat")


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
    entry.compress_type = zipfile.ZIP_DEFLATED
    return entry


def _model(meshes: Mapping[str, Mesh], items: Sequence[ThreeMfItem], metadata: Mapping[str, str]) -> Iterator[str]:
    used = [key for key in meshes if any(item.mesh_key == key for item in items)]
    mesh_id = {key: number for number, key in enumerate(used, start=1)}
    yield '<?xml version="1.0" encoding="UTF-8"?>\n'
    yield f'<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}" xmlns:cw="{OWN_METADATA}">\n'
    for name, text in metadata.items():
        known = name if name in WELL_KNOWN_METADATA else f"cw:{_token(name)}"
        yield f"<metadata name={_quoted(known)}>{escape(_printable(text))}</metadata>\n"
    yield "<resources>\n"
    for key in used:
        yield f'<object id="{mesh_id[key]}" type="model" name={_quoted(key)}>'
        yield from _mesh(meshes[key])
        yield "</object>\n"
    for number, item in enumerate(items, start=len(used) + 1):
        yield f'<object id="{number}" type="model" name={_quoted(item.name)}{_part_number(item)}>'
        yield f'<components><component objectid="{mesh_id[item.mesh_key]}"/></components></object>\n'
    yield "</resources>\n<build>\n"
    for number, item in enumerate(items, start=len(used) + 1):
        yield f'<item objectid="{number}" transform="{_transform(item.matrix)}"{_part_number(item)}/>\n'
    yield "</build>\n</model>\n"


def _mesh(mesh: Mesh) -> Iterator[str]:
    yield "<mesh><vertices>"
    yield from _lines('<vertex x="%s" y="%s" z="%s"/>', ([_short(v) for v in row] for row in mesh.vertices.tolist()))
    yield "</vertices><triangles>"
    yield from _lines('<triangle v1="%d" v2="%d" v3="%d"/>', mesh.faces.tolist())
    yield "</triangles></mesh>"


def _lines(pattern: str, rows: Iterable[Sequence[object]]) -> Iterator[str]:
    for row in rows:
        yield pattern % tuple(row)


def _short(value: float) -> str:
    """A coordinate to the nanometre without idle zeros."""
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _transform(matrix: FloatArray) -> str:
    """3MF multiplies row vectors from the left: the rotation is written transposed, the move last."""
    m = np.asarray(matrix, dtype=np.float64)
    return " ".join(f"{value:.12g}" for value in (*m[:3, :3].T.ravel(), *m[:3, 3]))


def _part_number(item: ThreeMfItem) -> str:
    return f" partnumber={_quoted(item.part_number)}" if item.part_number else ""


def _quoted(text: str) -> str:
    return quoteattr(_printable(text))


def _printable(text: str) -> str:
    """Text without the control characters that XML 1.0 cannot hold."""
    return "".join(
        c for c in text if c in "\t\n\r" or " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff"
    )


def _token(name: str) -> str:
    return "".join(c if c.isalnum() or c in "._-" else "_" for c in name) or "_"
