"""Powder comes out of an opening wide enough, and stays behind one that is not."""

import manifold3d
import numpy as np
import pytest

from cakewright.model.mesh import Mesh
from cakewright.parts.free_space import trapped_pockets
from tests.conftest import box_mesh

HOLLOW_MM3 = 4 / 3 * np.pi * 15**3


def hollow_block(opening_mm: float) -> Mesh:
    """A 40 mm block with a ball of 30 mm hollowed out, open through a channel from two sides."""
    body = manifold3d.Manifold.cube([40, 40, 40], True) - manifold3d.Manifold.sphere(15, 64)
    if opening_mm:
        body -= manifold3d.Manifold.cylinder(60, opening_mm / 2, opening_mm / 2, 48, True)
    out = body.to_mesh()
    return Mesh(out.vert_properties[:, :3], out.tri_verts)


@pytest.mark.parametrize("opening", [0, 2, 2.6])
def test_powder_stays_behind_a_small_opening(opening):
    """The volume of the ball is found to 2 %, the place lies inside it."""
    (pocket,) = trapped_pockets(hollow_block(opening), 3.5, smallest_mm3=200)
    assert pocket.volume_mm3 == pytest.approx(HOLLOW_MM3, rel=0.02)
    assert np.linalg.norm(pocket.at_mm) < 15


@pytest.mark.parametrize("opening", [4.4, 6, 10])
def test_powder_leaves_through_a_wide_opening(opening):
    """One voxel wider than asked for is enough."""
    assert trapped_pockets(hollow_block(opening), 3.5, smallest_mm3=200) == ()


def test_a_plain_block_and_a_cup_hold_nothing():
    """Open spaces are no pockets."""
    cup = manifold3d.Manifold.cube([30, 30, 30]) - manifold3d.Manifold.cube([20, 20, 40]).translate([5, 5, 5])
    out = cup.to_mesh()
    assert trapped_pockets(Mesh(out.vert_properties[:, :3], out.tri_verts), 3.5, smallest_mm3=200) == ()
    assert trapped_pockets(box_mesh(50, 40, 30), 3.5, smallest_mm3=200) == ()


def test_a_huge_part_is_unknown_not_clean():
    """Voxels that cannot show the opening prove nothing."""
    assert trapped_pockets(box_mesh(900, 900, 900), 3.5, smallest_mm3=200) is None


def test_a_part_smaller_than_a_voxel_holds_nothing():
    """A speck in the wrong unit."""
    assert trapped_pockets(box_mesh(0.2, 0.2, 0.02), 3.5, smallest_mm3=200) == ()
