"""Cells of the cake know how much plastic they hold and whose it is."""

import numpy as np
import pytest

from cakewright.errors import GeometryError
from cakewright.model.mesh import Mesh
from cakewright.physics.grid import CakeGrid, solid_grid
from tests.conftest import box_mesh
from tests.physics.test_layers import turned
from tests.physics.worlds import placed


@pytest.fixture
def grid():
    """A cake of 40 x 48 x 60 mm with 12 mm of base powder in 4 mm cells."""
    return CakeGrid.over((40.0, 48.0), 60.0, 12.0, 4.0)


def test_cells_cover_the_cake_exactly(grid):
    """15 x 12 x 10 cells, volume of the cake."""
    assert grid.cells == (15, 12, 10)
    assert np.prod(grid.cells) * grid.cell_mm3 == pytest.approx(40 * 48 * 60)
    assert grid.cell_of(grid.centre_mm((3, 2, 1))) == (3, 2, 1)
    with pytest.raises(GeometryError, match="outside the cake"):
        grid.cell_of((5, 5, -13))


def test_a_block_on_cell_borders_fills_whole_cells(grid):
    """An 8 mm cube standing 4 mm up fills 2 x 2 x 2 cells and no other."""
    s = solid_grid({"cube": box_mesh(8, 8, 8)}, [placed("A", (4, 8, 4))], grid)
    assert s.share.sum() == pytest.approx(8)
    np.testing.assert_allclose(s.share[4:6, 2:4, 1:3], 1)
    assert sorted(s.cells[0]) == sorted(np.flatnonzero(s.share))


@pytest.mark.parametrize("angles", [(0, 0), (30, 0), (45, 45), (17, 71), (90, 13)])
def test_volume_is_kept_however_a_piece_is_turned(grid, angles):
    """Solid volume in the cells is the volume of the mesh, inside the piece's own box."""
    p = placed("A", (20, 24, 20), turned(*angles))
    mesh = box_mesh(10, 14, 12, at=(-5, -7, -6))
    s = solid_grid({"cube": mesh}, [p], grid)
    assert s.volume_mm3[0].sum() == pytest.approx(1680)
    z, y, x = np.unravel_index(s.cells[0], grid.cells)
    centres = np.array([grid.centre_mm(c) for c in zip(z, y, x, strict=True)])
    spread = np.average(centres, axis=0, weights=s.volume_mm3[0])
    np.testing.assert_allclose(spread, [20, 24, 20], atol=0.4)


def test_a_wall_thinner_than_the_columns_is_not_lost(grid):
    """A 0.2 mm wall between two columns keeps its volume."""
    s = solid_grid({"cube": box_mesh(0.2, 20, 20)}, [placed("A", (9.0, 4, 0))], grid)
    assert s.volume_mm3[0].sum() == pytest.approx(80)


def test_a_hollow_piece_is_hollow(grid):
    """A closed shell of two bodies, the inner one inside out, leaves powder in the middle."""
    outer, inner = box_mesh(24, 24, 24), box_mesh(16, 16, 16, at=(4, 4, 4))
    shell = Mesh(np.vstack([outer.vertices, inner.vertices]), np.vstack([outer.faces, inner.faces[:, ::-1] + 8]))
    s = solid_grid({"cube": shell}, [placed("A", (4, 4, 0))], grid)
    assert s.volume_mm3[0].sum() == pytest.approx(24**3 - 16**3)
    assert s.share[5, 4, 3] == pytest.approx(0, abs=1e-12)


def test_a_piece_outside_the_cake_is_named(grid):
    """It cannot be heated where there is no cake."""
    with pytest.raises(GeometryError, match="L01-02"):
        solid_grid({"cube": box_mesh(8, 8, 8)}, [placed("L01-02", (36, 0, 0))], grid)
