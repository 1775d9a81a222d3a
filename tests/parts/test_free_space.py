"""Powder comes out of an opening wide enough, and stays behind one that is not."""

import manifold3d
import numpy as np
import pytest
from manifold3d import Manifold

from cakewright.model.mesh import Mesh
from cakewright.parts.free_space import trapped_pockets
from cakewright.parts.orient import random_rotations
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


@pytest.mark.parametrize(("hole", "is_closed"), [(2.9, True), (3.3, True), (3.6, False), (3.9, False)])
@pytest.mark.parametrize("seed", [3, 8])
def test_an_opening_is_known_far_better_than_a_voxel(hole, is_closed, seed):
    """Openings of 3.5 mm asked, voxels of 0.9 mm, the box turned: 3.3 mm holds the powder, 3.6 mm lets it out."""
    body = Manifold.cube([24, 24, 24]) - Manifold.cube([18, 18, 18]).translate((3, 3, 3))
    raw = (body - Manifold.cylinder(9, hole / 2, hole / 2, 48).translate((12, 12, 18))).to_mesh64()
    mesh = Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts))
    turned = mesh.placed(random_rotations(1, seed)[0], np.zeros(3))
    found = trapped_pockets(turned, 3.5, smallest_mm3=50.0)
    assert bool(found) is is_closed
    if is_closed:
        assert found[0].volume_mm3 == pytest.approx(18**3, rel=0.1)
