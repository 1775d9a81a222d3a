"""A triangle mesh in millimetres."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cakewright.errors import GeometryError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles over shared vertices.

    `vertices` (n, 3) float64 in mm, `faces` (m, 3) int32 indices into them, counter-clockwise seen
    from outside. Arrays are made read-only. A Mesh need not be closed; it must be finite, not empty
    and within its indices, otherwise GeometryError.
    """

    vertices: FloatArray
    faces: IntArray

    def __post_init__(self) -> None:
        """Check shapes, numbers and indices; freeze the arrays."""
        vertices = np.array(self.vertices, dtype=np.float64, order="C", copy=True)
        faces = np.array(self.faces, dtype=np.int32, order="C", copy=True)
        if vertices.ndim != 2 or vertices.shape[1] != 3:
            raise GeometryError(f"vertices have shape {vertices.shape}, expected (n, 3)")
        if faces.ndim != 2 or faces.shape[1] != 3:
            raise GeometryError(f"faces have shape {faces.shape}, expected (m, 3)")
        if len(faces) == 0:
            raise GeometryError("the mesh has no triangles", remedy="export it again from the design program")
        if not np.isfinite(vertices).all():
            raise GeometryError("a coordinate is not a finite number", remedy="export the mesh again")
        if faces.min() < 0 or faces.max() >= len(vertices):
            raise GeometryError(
                f"a triangle names vertex {int(faces.max())}, but there are {len(vertices)} (counted from 0)"
            )
        vertices.setflags(write=False)
        faces.setflags(write=False)
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "faces", faces)

    @cached_property
    def box_mm(self) -> FloatArray:
        """Axis-aligned box of the used vertices, (2, 3): lowest and highest corner."""
        used = self.vertices[self.faces.reshape(-1)]
        return np.array([used.min(axis=0), used.max(axis=0)])

    @property
    def size_mm(self) -> FloatArray:
        """Edge lengths of the box, (3,)."""
        return np.asarray(self.box_mm[1] - self.box_mm[0])

    @property
    def triangles(self) -> FloatArray:
        """Corner coordinates, (m, 3, 3)."""
        return np.asarray(self.vertices[self.faces])

    @cached_property
    def sha256(self) -> str:
        """Hash of the geometry (not of the file)."""
        digest = hashlib.sha256(self.vertices.tobytes())
        digest.update(self.faces.tobytes())
        return digest.hexdigest()

    def scaled(self, factor: float) -> Mesh:
        """The mesh with every length times `factor` (> 0)."""
        if not factor > 0:
            raise GeometryError(f"scale factor {factor}", remedy="use a factor above zero")
        return Mesh(self.vertices * factor, self.faces)

    def placed(self, rotation: FloatArray, translation: FloatArray) -> Mesh:
        """The mesh turned by `rotation` (3, 3) about the origin, then moved by `translation` (3,) mm."""
        return Mesh(self.vertices @ np.asarray(rotation).T + np.asarray(translation), self.faces)
