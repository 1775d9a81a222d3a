"""Who must be lifted before whom, and places that lock nothing in."""

import numpy as np
import pytest

from cakewright.nesting.bank import make_bank
from cakewright.nesting.construct import Layout, Workspace
from cakewright.nesting.lifts import Lifts
from cakewright.nesting.release import is_removable, to_release
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from tests.conftest import box_mesh
from tests.nesting.conftest import cells_mesh, cube_rotations, ring_mesh

STAND = np.eye(3)[None]


def workspace(meshes, rotations, space, clearance=0.0, voxel=1.0):
    keys = sorted(meshes)
    turns = {k: rotations.get(k, STAND) for k in keys}
    task = NestTask(meshes, [NestPiece(k, k, 1) for k in keys], turns, space, clearance, voxel)
    return Workspace(make_bank(task, keys))


@pytest.fixture
def shelf_and_cube():
    """A C standing on its lower arm: between the arms there is room for a cube of one cell."""
    shelf = cells_mesh([(x, 0, z) for x in range(3) for z in (0, 2)] + [(0, 0, 1)])
    return workspace({"cube": box_mesh(1, 1, 1), "shelf": shelf}, {}, NestSpace(3, 1, 9))


def test_what_lies_above_must_leave_first(shelf_and_cube):
    """A cube on the shelf leaves before it; a cube between the arms is held from above and holds the arm below."""
    lifts = Lifts(shelf_and_cube.bank, 2)
    at = np.array([[1, 0, 3], [0, 0, 0]])
    lifts.update(np.array([0, 1]), at)
    assert lifts.above.tolist() == [[0, 0], [1, 0]]
    at = np.array([[1, 0, 1], [0, 0, 0]])
    lifts.update(np.array([0, 1]), at)
    assert lifts.above.tolist() == [[0, 1], [1, 0]]


def test_relations_are_passed_on(shelf_and_cube):
    """Three cubes on one another: the lowest waits for both others."""
    lifts = Lifts(shelf_and_cube.bank, 3)
    lifts.update(np.zeros(3, np.int64), np.array([[0, 0, 0], [0, 0, 4], [0, 0, 2]]))
    assert [int(word) for word in lifts.reach[:, 0]] == [0b110, 0, 0b010]


def test_no_piece_goes_where_the_arm_above_and_the_arm_below_hold_it(shelf_and_cube):
    """The lowest free place is between the arms; the cube is put on top, from where both can be lifted."""
    layout = Layout.empty(np.array([0, 1]))
    shelf_and_cube.reload(layout)
    assert shelf_and_cube.insert(layout, np.array([1, 0])) == 0
    assert layout.at[0, 2] == 3
    assert is_removable(layout, shelf_and_cube.bank)


def test_rings_and_rods_come_apart_without_being_put_in_again():
    """Rods would stand in the rings and plates in the gaps: nothing built this way has to be released afterwards."""
    meshes = {"rod": box_mesh(5, 5, 40), "ring": ring_mesh(), "plate": box_mesh(28, 12, 3)}
    turns = dict.fromkeys(meshes, cube_rotations())
    pieces = [NestPiece(f"{k}{i}", k, 1) for k in meshes for i in range(8)]
    keys = sorted(meshes)
    bank = make_bank(NestTask(meshes, pieces, turns, NestSpace(60, 60, 300), 2.0, 1.0), keys)
    part = np.array([keys.index(p.part_key) for p in pieces], np.int64)
    work = Workspace(bank)
    for seed in range(3):
        layout = Layout.empty(part)
        work.reload(layout)
        assert work.insert(layout, np.random.default_rng(seed).permutation(len(part))) == 0
        assert len(to_release(layout, bank)) == 0
