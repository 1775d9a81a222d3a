"""Turns of the smallest box for parts drawn askew, and only what the rule allows for all others."""

import numpy as np
import pytest

from cakewright.model.mesh import Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.nesting.orientations import orientations_for, smallest_box, spread_rotations, stable_poses
from cakewright.nesting.search import nest
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.parts.orient import is_allowed, random_rotations
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh

FREE = OrientationRule()


def askew(seed=3):
    """A rod drawn along no axis."""
    rod = box_mesh(40, 10, 5)
    return Mesh(rod.vertices @ random_rotations(1, seed)[0].T, rod.faces)


@pytest.mark.parametrize("seed", range(5))
def test_the_box_of_a_turned_block_is_the_block(seed):
    """However it is turned, the smallest box has its edges: 40 x 10 x 5 mm."""
    mesh = askew(seed)
    assert sorted(np.ptp(mesh.vertices @ smallest_box(mesh).T, axis=0)) == pytest.approx([5, 10, 40])
    assert np.linalg.det(smallest_box(mesh)) == pytest.approx(1.0)


def test_a_part_along_the_axes_gets_the_axis_turns_only(one_cube):
    """Nothing is gained by more, and every further turn costs memory and time."""
    assert len(orientations_for(one_cube, FREE, 1)) == 24


def test_a_part_drawn_askew_gets_the_turns_of_its_box_as_well():
    """All of them rotations, the position in the file first."""
    turns = orientations_for(askew(), FREE, 1)
    assert len(turns) == 48
    assert np.allclose(turns @ turns.transpose(0, 2, 1), np.eye(3))
    assert np.linalg.det(turns) == pytest.approx(1.0)
    assert (turns[0] == np.eye(3)).all()


@pytest.mark.parametrize("freedom", [Freedom.FIXED, Freedom.ABOUT_Z, Freedom.UPRIGHT_CONE])
def test_a_restricted_part_is_never_turned_beyond_its_rule(freedom):
    """Askew or not: the smallest box is no reason to break a rule."""
    rule = OrientationRule(freedom, "because", cone_deg=15.0)
    assert all(is_allowed(turn, rule) for turn in orientations_for(askew(), rule, 1))


def test_a_sheet_without_thickness_keeps_its_position():
    """No hull, no box, no failure."""
    sheet = Mesh(np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]]), np.array([[0, 1, 2]]))
    assert (smallest_box(sheet) == np.eye(3)).all()


def test_rods_drawn_askew_lie_flat():
    """Two rods of 5 mm beside each other: 5 mm of cake instead of the height of a slanted rod."""
    mesh = askew()
    pieces = [NestPiece(str(i), "rod", 1) for i in range(2)]
    task = NestTask({"rod": mesh}, pieces, {"rod": orientations_for(mesh, FREE, 1)}, NestSpace(50, 50, 60), 3.0, 1.0)
    assert nest(task, stop=MaxSteps(0), seed=1).height_mm == pytest.approx(5.0, abs=1.0)


def roof(length=40.0):
    """A triangular prism that lies on its widest side; the other two lean 60 and 30 degrees off the vertical."""
    corners = np.array([[0.0, 0, 0], [40, 0, 0], [30, 0, 17.32]])
    far = corners + np.array([0.0, length, 0])
    faces = [[0, 1, 2], [3, 5, 4], [0, 3, 4], [0, 4, 1], [1, 4, 5], [1, 5, 2], [2, 5, 3], [2, 3, 0]]
    return Mesh(np.concatenate([corners, far]), np.array(faces))


def test_a_part_comes_to_rest_on_the_sides_below_its_centre_of_mass():
    """A prism rests on two of its large sides first; each pose is a rotation with that side down."""
    poses = stable_poses(roof())
    assert np.allclose(poses @ poses.transpose(0, 2, 1), np.eye(3))
    assert np.linalg.det(poses) == pytest.approx(np.ones(len(poses)))
    for pose in poses:
        z = roof().vertices @ pose[2]
        assert (z < z.min() + 1e-6).sum() == 4  # lies on four corners: a side, not an edge


def test_a_leaning_block_does_not_rest_on_its_short_end():
    """The centre of mass is beside the end face: that side is no position at rest."""
    lean = np.array([[1, 0, 2.0], [0, 1, 0], [0, 0, 1]])
    block = box_mesh(10, 10, 20)
    skew = Mesh(block.vertices @ lean.T, block.faces)
    assert all(abs(pose[2, 2]) < 0.999 for pose in stable_poses(skew))


def test_stable_poses_are_tried_where_no_other_turn_has_them():
    """The sloping side of the roof lies down as well, four ways round."""
    turns = orientations_for(roof(), FREE, 1)
    slope = np.array([-0.5, 0, np.sqrt(0.75)])
    assert ((turns[:, 2] @ -slope) > 0.999).sum() >= 4


def test_sampled_turns_are_spread_evenly():
    """24 more: rotations, none near another, and the same at every call."""
    turns = spread_rotations(24)
    assert np.linalg.det(turns) == pytest.approx(np.ones(24))
    assert np.allclose(turns @ turns.transpose(0, 2, 1), np.eye(3))
    angles = np.degrees(np.arccos(np.clip((np.einsum("aij,bij->ab", turns, turns) - 1) / 2, -1, 1)))
    assert angles[~np.eye(24, dtype=bool)].min() > 20
    assert (spread_rotations(12) == turns[:12]).all()
    assert len(orientations_for(box_mesh(9, 9, 9), FREE, 1, sampled=24)) == 48
