"""What a parser hands on: triangles in the file's own numbers, before anything is decided about them."""

from __future__ import annotations

from dataclasses import dataclass

from cakewright.model.mesh import FloatArray, IntArray
from cakewright.units import LengthUnit


@dataclass(frozen=True, slots=True)
class Body:
    """A named piece of a file (a solid, an object): `faces` triangles from number `first` on."""

    name: str
    first: int
    faces: int


@dataclass(frozen=True, eq=False)
class RawMesh:
    """Vertices (n, 3) and faces (m, 3) as read. `unit` None: the file does not say.

    `single_precision`: the numbers were rounded to 24 bits on their way. `copies`: how many equal
    pieces the file puts on its platform, of which the mesh is one.
    """

    kind: str
    unit: LengthUnit | None
    vertices: FloatArray
    faces: IntArray
    bodies: tuple[Body, ...] = ()
    single_precision: bool = False
    copies: int = 1
