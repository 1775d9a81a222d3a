"""Turns of the smallest box for parts drawn askew, and only what the rule allows for all others."""

import numpy as np
import pytest

from cakewright.model.mesh import Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.nesting.orientations import orientations_for, smallest_box
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
