"""Which nest is taken for which task, and what the settled one keeps."""

import numpy as np
import pytest
import trimesh

from cakewright.model.mesh import Mesh
from cakewright.nesting.few import is_few
from cakewright.nesting.search import nest
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.tight import nest_tight, settled
from cakewright.nesting.verify import verify_nest
from cakewright.nesting.wishes import NestWishes
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations, ring_mesh


@pytest.fixture(scope="module")
def shells():
    """Hollow balls and rings: a ball is no union of few convex pieces."""
    outer, inner = (trimesh.creation.icosphere(subdivisions=2, radius=r) for r in (6.7, 5))
    hollow = trimesh.boolean.difference([outer, inner], engine="manifold")
    meshes = {"shell": Mesh(hollow.vertices, hollow.faces), "ring": ring_mesh(19.3, 13, 3.7)}
    pieces = [NestPiece(f"{k}{i}", k, 1) for k in meshes for i in range(4)]
    return NestTask(meshes, pieces, dict.fromkeys(meshes, cube_rotations()), NestSpace(32, 30, 200), 2.0, 2.0)


def test_few_blocks_are_nested_exactly():
    """Eight cubes of 3.3 on a base of 6.6: cells of 1 would waste a fifth, the exact nest wastes nothing."""
    meshes = {"cube": box_mesh(3.3, 3.3, 3.3)}
    pieces = [NestPiece(str(i), "cube", 1) for i in range(8)]
    task = NestTask(meshes, pieces, {"cube": np.eye(3)[None]}, NestSpace(6.6, 6.6, 60), 0.0, 1.0)
    assert is_few(task)
    assert nest_tight(task, stop=MaxSteps(30), seed=1).height_mm == pytest.approx(6.6, abs=1e-6)


def test_other_pieces_are_nested_by_cells_and_settled(shells):
    """Lower than by cells alone, clear, removable, and density follows the height."""
    assert not is_few(shells)
    by_cells = nest(shells, stop=MaxSteps(2), seed=1)
    tight = nest_tight(shells, stop=MaxSteps(2), seed=1)
    assert tight.height_mm < by_cells.height_mm
    assert tight.density == pytest.approx(by_cells.density * by_cells.height_mm / tight.height_mm)
    assert verify_nest(shells.meshes, tight.placements, shells.space, 2.0, clock=lambda: 0.0).is_clear
    assert removal(shells.meshes, tight.placements, shells.space, voxel_mm=1.0).is_free


def test_told_to_stop_the_nest_is_as_it_was(shells):
    """No round allowed, nothing moved."""
    by_cells = nest(shells, stop=MaxSteps(2), seed=1)
    assert settled(shells, by_cells, stop=MaxSteps(0)).placements == by_cells.placements


def test_a_task_with_wishes_is_left_to_the_search_that_knows_them(shells):
    """Settling would undo distances and reserved places that only the search knows."""
    task = NestTask(shells.meshes, shells.pieces, shells.rotations, shells.space, 2.0, 2.0, NestWishes())
    plain = nest(task, stop=MaxSteps(2), seed=1)
    tight = nest_tight(task, stop=MaxSteps(2), seed=1)
    assert [p.translation.tolist() for p in tight.placements] == [p.translation.tolist() for p in plain.placements]
    assert settled(task, plain) is plain
