"""Voxelised shapes kept beside their mesh: the nests of one plan ask for the same ones again and again."""

from __future__ import annotations

from threading import Lock
from weakref import WeakKeyDictionary

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.voxels import Shape, shape_of

MOST_BYTES = 400e6  # chosen by us: more than the parts of a week take; what is over it is made anew each time

_Asked = tuple[bytes, float, float, bool]
_known: WeakKeyDictionary[Mesh, dict[_Asked, Shape]] = WeakKeyDictionary()  # a shape goes when its mesh goes
_lock = Lock()


def known_shape(mesh: Mesh, rotation: FloatArray, voxel_mm: float, clearance_mm: float, *, low: bool = False) -> Shape:
    """What `shape_of` gives, from memory when it was asked before."""
    asked = (rotation.tobytes(), voxel_mm, clearance_mm, low)
    with _lock:
        found = _known.get(mesh, {}).get(asked)
    if found is not None:
        return found
    made = shape_of(mesh, rotation, voxel_mm, clearance_mm, low=low)
    with _lock:
        if kept_bytes() + _bytes(made) <= MOST_BYTES:
            _known.setdefault(mesh, {})[asked] = made
    return made


def kept_bytes() -> int:
    """Memory taken by the shapes kept."""
    return sum(_bytes(shape) for shapes in _known.values() for shape in shapes.values())


def _bytes(shape: Shape) -> int:
    return shape.bare.nbytes + (0 if shape.fat is shape.bare else shape.fat.nbytes)
