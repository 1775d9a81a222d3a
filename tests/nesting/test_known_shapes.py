"""Voxelised shapes are made once for a mesh, are what a fresh one would be, and go with it."""

import gc

import numpy as np

from cakewright.nesting import known_shapes
from cakewright.nesting.known_shapes import kept_bytes, known_shape
from cakewright.nesting.voxels import shape_of
from tests.conftest import box_mesh

TURN = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])


def test_a_shape_is_made_once_and_goes_with_its_mesh():
    """The second time it is the same one; another turn, cell or gap is another; memory is given back."""
    mesh = box_mesh(12, 7, 5)
    before = kept_bytes()
    first = known_shape(mesh, TURN, 2.0, 1.5)
    assert known_shape(mesh, TURN.copy(), 2.0, 1.5) is first
    others = [known_shape(mesh, np.eye(3), 2.0, 1.5), known_shape(mesh, TURN, 1.0, 1.5),
              known_shape(mesh, TURN, 2.0, 1.0), known_shape(mesh, TURN, 2.0, 1.5, low=True)]  # fmt: skip
    assert len({id(shape) for shape in (first, *others)}) == 5
    fresh = shape_of(mesh, TURN, 2.0, 1.5)
    assert np.array_equal(first.bare, fresh.bare) and np.array_equal(first.fat, fresh.fat)
    assert kept_bytes() > before
    del mesh
    gc.collect()
    assert kept_bytes() == before


def test_no_more_is_kept_than_allowed(monkeypatch):
    """Over the limit a shape is made anew each time, and still right."""
    monkeypatch.setattr(known_shapes, "MOST_BYTES", 0)
    mesh = box_mesh(12, 7, 5)
    first, second = (known_shape(mesh, TURN, 2.0, 1.5) for _ in range(2))
    assert first is not second
    assert np.array_equal(first.bare, second.bare)
