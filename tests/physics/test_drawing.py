"""Pieces drawn for the machine: lengths of the worked example, sharp edges, and the way back at the gauge."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from cakewright.errors import InputError
from cakewright.model.mesh import Mesh
from cakewright.physics.drawing import Drawing, drawing_of, offset_mesh
from cakewright.quality.calibrate import fit_axis
from tests.conftest import box_mesh
from tests.physics.worlds import chamber, machine

LADDER = ([10.0, 50.0, 100.0, 150.0], [9.83, 48.55, 96.95, 145.35])


def from_ladder():
    """Scale and offset of the ladder, along every axis."""
    fit = fit_axis(*LADDER)
    return Drawing((fit.factor,) * 3, (-fit.offset_mm / 2,) * 3)


def test_the_worked_ladder():
    """s = 0.968, 2d = 0.15: a 10 mm block is drawn 10.175620 mm, a 10 mm hole 10.485537 mm."""
    d = from_ladder()
    assert d.scale[0] == pytest.approx(1.033058, abs=1e-6)
    assert d.drawn(10.0, 0) == pytest.approx(10.175620, abs=1e-6)
    assert d.drawn(10.0, 1, is_hole=True) == pytest.approx(10.485537, abs=1e-6)


def test_a_block_and_its_hole_are_drawn_so():
    """The mesh does what the formula says: faces move, edges stay sharp, holes shrink."""
    block = trimesh.creation.box((40, 30, 20)).difference(trimesh.creation.cylinder(5, 40, sections=256))
    mesh = Mesh(np.asarray(block.vertices), np.asarray(block.faces))
    d = Drawing((1.033058,) * 3, (-0.075,) * 3)
    drawn = d.placed(mesh)
    np.testing.assert_allclose(drawn.size_mm, [1.033058 * (side - 0.15) for side in (40, 30, 20)], atol=1e-5)
    radius = np.hypot(*drawn.vertices[:, :2].T)
    assert 2 * radius.min() == pytest.approx(d.drawn(10.0, 0, is_hole=True), abs=2e-3)
    assert trimesh.Trimesh(drawn.vertices, drawn.faces, process=False).is_watertight


def test_each_axis_has_its_own_offset():
    """A block turned along the axes grows by the offset of each axis alone."""
    grown = offset_mesh(box_mesh(20, 20, 20), (0.1, 0.2, -0.05))
    np.testing.assert_allclose(grown.size_mm, [20.2, 20.4, 19.9], atol=1e-9)


def test_a_ball_grows_evenly():
    """On a round body every corner moves outwards by the offset."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=15)
    grown = offset_mesh(Mesh(np.asarray(ball.vertices), np.asarray(ball.faces)), (0.1, 0.1, 0.1))
    np.testing.assert_allclose(np.linalg.norm(grown.vertices, axis=1), 15.1, atol=2e-3)


def test_nothing_asked_nothing_changed():
    """Without scale and offset the very same numbers go into the file."""
    mesh = box_mesh(10, 20, 30)
    assert offset_mesh(mesh, (0.0, 0.0, 0.0)) is mesh
    assert not Drawing().changes_something
    np.testing.assert_array_equal(Drawing().placed(mesh).vertices, mesh.vertices)


def test_scaling_starts_at_the_corner_of_the_free_space():
    """The corner at the wall margin stays where it is: what fits the shrunk space fits the chamber drawn larger."""
    d = drawing_of(machine(export_scale=(1.04, 1.03, 1.02)), chamber())
    corner = box_mesh(10, 10, 10)
    moved = d.placed(Mesh(corner.vertices + np.array([5.0, 5.0, 0.0]), corner.faces))
    np.testing.assert_allclose(moved.box_mm[0], [5.0, 5.0, 0.0])
    np.testing.assert_allclose(moved.size_mm, [10.4, 10.3, 10.2])


@given(
    length=st.floats(0.5, 300), scale=st.floats(0.9, 1.1), offset=st.floats(-0.2, 0.2), hole=st.booleans(),
    axis=st.integers(0, 2),
)  # fmt: skip
def test_measuring_undoes_drawing(length, scale, offset, hole, axis):
    """Whatever is drawn stands for the length that was wanted."""
    d = Drawing((scale,) * 3, (offset,) * 3)
    assert d.wanted(d.drawn(length, axis, is_hole=hole), axis, is_hole=hole) == pytest.approx(length)


def test_impossible_scales_are_refused():
    """Nothing can be drawn at no size."""
    with pytest.raises(InputError, match="scale"):
        Drawing(scale=(1.0, 0.0, 1.0))
