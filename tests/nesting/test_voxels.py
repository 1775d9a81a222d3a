"""Cells that never miss a touch and never spill over the lattice."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cakewright.model.mesh import Mesh
from cakewright.nesting.voxels import is_closed, shape_of
from tests.conftest import box_mesh
from tests.nesting.conftest import cells_mesh, joined, ring_mesh, turned_inside_out


def test_a_cube_on_the_lattice_fills_its_cells_and_no_other(one_cube):
    """Faces on the lattice touch neither neighbour: 10 mm at 1 mm are 10 cells, all of them full."""
    bare = shape_of(one_cube, np.eye(3), 1.0, 0.0).bare
    assert bare.shape == (10, 10, 10)
    assert bare.all()


def test_a_piece_of_cells_comes_back_as_those_cells():
    """Voxelising a union of unit cubes gives exactly these cubes."""
    cells = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (1, 1, 1), (1, 1, 2)]
    bare = shape_of(cells_mesh(cells), np.eye(3), 1.0, 0.0).bare
    assert sorted(map(tuple, np.argwhere(bare).tolist())) == sorted(cells)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.7, 3.0))
def test_points_of_the_solid_lie_in_set_cells(seed, voxel):
    """Conservative: any point of a turned box, skin included, is in a set cell."""
    rng = np.random.default_rng(seed)
    q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn = q * np.sign(np.linalg.det(q))
    shape = shape_of(box_mesh(9, 5, 3), turn, voxel, 0.0)
    points = rng.uniform(0, 1, (400, 3))
    points[:200, rng.integers(3)] = rng.integers(0, 2, 200)
    inside = ((points * [9, 5, 3]) @ turn.T - shape.corner_mm) / voxel
    i, j, k = np.clip(np.floor(inside).astype(int), 0, np.array(shape.bare.shape) - 1).T
    on_lattice = (np.abs(inside - np.round(inside)) < 1e-5).any(axis=1)
    assert (shape.bare[i, j, k].astype(bool) | on_lattice).all()


def test_the_skin_holds_every_point_nearer_than_the_clearance():
    """Cells outside the skin are at least the clearance away from the solid; cells well outside are not taken."""
    voxel, clearance = 1.5, 3.0
    shape = shape_of(box_mesh(10, 10, 10), np.eye(3), voxel, clearance)
    cells = np.argwhere(shape.fat == 0)
    low = shape.corner_mm + (cells - shape.pad) * voxel
    gap = np.maximum(np.maximum(low - 10, 0 - (low + voxel)), 0)
    assert np.sqrt((gap**2).sum(axis=1)).min() >= clearance - 1e-5
    taken = np.argwhere(shape.fat)
    low = shape.corner_mm + (taken - shape.pad) * voxel
    gap = np.maximum(np.maximum(low - 10, 0 - (low + voxel)), 0)
    assert np.sqrt((gap**2).sum(axis=1)).max() < clearance + 0.5 * np.sqrt(3)


def test_hollows_that_nothing_can_enter_count_as_solid():
    """The cavity of a sealed box is not offered as a place."""
    box = joined(box_mesh(12, 12, 12), turned_inside_out(box_mesh(8, 8, 8, at=(2, 2, 2))))
    assert shape_of(box, np.eye(3), 1.0, 0.0).bare.all()


def test_the_hole_of_a_ring_stays_open():
    """A hole through a part is free space."""
    bare = shape_of(ring_mesh(30, 20, 4), np.eye(3), 1.0, 0.0).bare
    assert bare.shape == (30, 30, 4)
    assert bare.sum() == (900 - 400) * 4


def test_an_open_mesh_is_a_solid_shell():
    """A box without lid is not closed; its walls are kept, wider than for a closed mesh."""
    full = box_mesh(8, 8, 8)
    lidless = Mesh(full.vertices, full.faces[[i for i in range(12) if i not in (2, 3)]])
    assert is_closed(full)
    assert not is_closed(lidless)
    bare = shape_of(lidless, np.eye(3), 1.0, 0.0).bare
    assert bare[0].all()
    assert bare[:, :, 0].all()


@pytest.mark.parametrize("voxel", [0.3, 1.0, 7.0])
def test_vertices_split_by_a_file_reader_do_not_open_a_mesh(one_cube, voxel):
    """Closedness is judged by position, so a triangle soup of a cube is a cube."""
    soup = Mesh(one_cube.triangles.reshape(-1, 3), np.arange(36).reshape(12, 3))
    assert is_closed(soup)
    assert (shape_of(soup, np.eye(3), voxel, 0.0).bare == shape_of(one_cube, np.eye(3), voxel, 0.0).bare).all()
