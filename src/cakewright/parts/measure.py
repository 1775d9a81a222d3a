"""Volume, area, box and closedness of a mesh."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.part import Measures
from cakewright.parts.topology import Topology, topology_of


def measure(mesh: Mesh, topology: Topology | None = None) -> Measures:
    """Measure a mesh in mm.

    Volume by the divergence theorem, as the sum of signed tetrahedra from the middle of the box (far
    coordinates then cost no digits). It is negative when the mesh is inside out, and has a meaning
    only when the mesh is closed and oriented: both are said beside it. Voids count negative.
    """
    topology = topology or topology_of(mesh)
    x, y, z = (float(length) for length in mesh.size_mm)
    return Measures(
        volume_mm3=signed_volume(mesh),
        area_mm2=float(triangle_areas(mesh).sum()),
        size_mm=(x, y, z),
        triangles=len(mesh.faces),
        shells=topology.shells,
        is_watertight=topology.is_closed,
        is_oriented=topology.is_oriented,
    )


def signed_volume(mesh: Mesh) -> float:
    """Enclosed volume in mm³: sum of a . (b x c) / 6 over the triangles."""
    a, b, c = _corners_from_middle(mesh)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def triangle_areas(mesh: Mesh) -> FloatArray:
    """Area of each triangle, (m,) mm². Read-only."""
    return _areas_and_normals(mesh)[0]


def triangle_normals(mesh: Mesh) -> FloatArray:
    """Outward unit normals, (m, 3); zero rows for triangles without area. Read-only."""
    return _areas_and_normals(mesh)[1]


@lru_cache(maxsize=2)  # a part is asked for them a dozen times in a row; a mesh never changes
def _areas_and_normals(mesh: Mesh) -> tuple[FloatArray, FloatArray]:
    a, b, c = _corners_from_middle(mesh)
    normal = np.cross(b - a, c - a)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    unit = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    area = length[:, 0] / 2.0
    for array in (area, unit):
        array.setflags(write=False)
    return area, unit


def _corners_from_middle(mesh: Mesh) -> tuple[FloatArray, FloatArray, FloatArray]:
    moved = mesh.vertices - mesh.box_mm.mean(axis=0)
    return moved[mesh.faces[:, 0]], moved[mesh.faces[:, 1]], moved[mesh.faces[:, 2]]
