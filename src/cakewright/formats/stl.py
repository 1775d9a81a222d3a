"""STL: the triangle lists of 1989, binary and ASCII. A file says no unit."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from cakewright.errors import MeshFileError
from cakewright.model.mesh import Mesh
from cakewright.parts.measure import triangle_normals

HEADER_BYTES = 80
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
