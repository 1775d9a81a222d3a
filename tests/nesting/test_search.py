"""Whole nests of tiny worlds, each judged by the independent check."""

import numpy as np
import pytest

from cakewright.errors import InputError
from cakewright.model.mesh import Mesh
from cakewright.nesting.search import FULL, TOO_LARGE, nest
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations, ring_mesh

STAND = np.eye(3)[None]


def pieces_of(counts):
    return [NestPiece(f"{k}-{i}", k, n) for n, (k, q) in enumerate(counts.items(), 1) for i in range(q)]


def task_of(meshes, counts, space, clearance=3.0, voxel=1.5, rotations=None):
    turns = {k: cube_rotations() if rotations is None else rotations for k in meshes}
    return NestTask(meshes, pieces_of(counts), turns, space, clearance, voxel)


def judged(task, steps=0, seed=1):
    """The nest, after checking distance, walls and removal."""
    result = nest(task, stop=MaxSteps(steps), seed=seed)
    seen = verify_nest(task.meshes, result.placements, task.space, task.clearance_mm, clock=lambda: 0.0)
    assert seen.is_clear, (seen.violations, seen.outside)
    way = removal(task.meshes, result.placements, task.space, voxel_mm=task.voxel_mm)
    assert way.is_free
    assert len(result.placements) + len(result.left_out) == len(task.pieces)
    return result


def mixed_task():
    meshes = {
        "plate": box_mesh(40, 30, 4),
        "ring": ring_mesh(),
        "cube": box_mesh(10, 10, 10),
        "rod": box_mesh(6, 6, 50),
    }
    return task_of(meshes, {"plate": 4, "ring": 6, "cube": 12, "rod": 6}, NestSpace(70, 70, 200, wall_margin_mm=5))


def test_a_mixed_build_is_clear_inside_and_removable():
    """Plates, rings, cubes and rods: everything placed, nothing threaded through a ring."""
    result = judged(mixed_task())
    assert not result.left_out
    assert result.density > 0.15


def test_improving_never_makes_it_worse_and_repeats():
    """The same seed and rule give the same build; more steps are not worse than none."""
    first = judged(mixed_task())
    better = judged(mixed_task(), steps=60)
    again = judged(mixed_task(), steps=60)
    assert better.height_mm <= first.height_mm
    assert [(p.piece, p.translation.tolist()) for p in better.placements] == [
        (p.piece, p.translation.tolist()) for p in again.placements
    ]


def test_cubes_at_zero_clearance_stand_face_to_face():
    """Eight 10 mm cubes fill a 20 mm cube: no half voxel is lost."""
    result = judged(task_of({"c": box_mesh(10, 10, 10)}, {"c": 8}, NestSpace(20, 20, 20), clearance=0.0, voxel=1.0))
    assert result.height_mm == pytest.approx(20.0)
    assert result.density == pytest.approx(1.0)


def test_a_part_as_wide_as_the_chamber_fits_whatever_the_voxel():
    """59.9 mm in 60 mm at 1.5 mm voxels is 40 cells: the lattice must not make it too large."""
    result = judged(task_of({"p": box_mesh(59.9, 59.9, 8)}, {"p": 2}, NestSpace(60, 60, 40), rotations=STAND))
    assert not result.left_out


def test_what_is_larger_than_the_chamber_is_left_out_with_that_reason(one_cube):
    """The long rod fits in no orientation; the cube is placed all the same."""
    result = judged(task_of({"rod": box_mesh(5, 5, 90), "c": one_cube}, {"rod": 1, "c": 1}, NestSpace(50, 50, 60)))
    assert [(out.piece, out.reason) for out in result.left_out] == [("rod-0", TOO_LARGE)]
    assert [p.piece for p in result.placements] == ["c-0"]


def test_a_full_chamber_says_so(one_cube):
    """Eight cubes with 3 mm between them fill 23 mm; the ninth has no place."""
    result = judged(task_of({"c": one_cube}, {"c": 9}, NestSpace(23, 23, 23), voxel=1.0))
    assert len(result.placements) == 8
    assert [out.reason for out in result.left_out] == [FULL]


def test_one_part_500_times(one_cube):
    """Identical pieces in a plain pattern: 500 small blocks, no surprise in time or count."""
    result = judged(task_of({"b": box_mesh(8, 5, 3)}, {"b": 500}, NestSpace(100, 100, 120)))
    assert len(result.placements) == 500


def test_a_mesh_that_is_not_closed_is_nested_as_shell_and_said_so(one_cube):
    """A block without lid is placed and the nest carries a note."""
    lidless = Mesh(one_cube.vertices, one_cube.faces[[i for i in range(12) if i not in (2, 3)]])
    result = judged(task_of({"open": lidless}, {"open": 2}, NestSpace(40, 40, 40)))
    assert len(result.placements) == 2
    assert "open: the mesh is not closed" in result.notes[0]


def test_allowed_orientations_are_kept():
    """A plate that may only stand stands."""
    upright = np.array([[[0, 0, 1.0], [0, 1, 0], [-1, 0, 0]]])
    result = judged(task_of({"p": box_mesh(30, 20, 3)}, {"p": 3}, NestSpace(60, 60, 60), rotations=upright))
    assert all(np.allclose(p.rotation, upright[0]) for p in result.placements)
    assert result.height_mm == pytest.approx(30.0, abs=1.5)


def test_priority_pieces_stand_lower():
    """Of equal pieces the urgent ones come first from the bottom."""
    meshes = {"p": box_mesh(40, 40, 10)}
    pieces = [NestPiece(f"p{i}", "p", 1, priority=1.0 if i == 4 else 0.0) for i in range(5)]
    result = nest(NestTask(meshes, pieces, {"p": STAND}, NestSpace(50, 50, 100), 3.0, 1.5), stop=MaxSteps(0), seed=1)
    assert min(result.placements, key=lambda p: p.z_min_mm).piece == "p4"


def test_no_pieces_give_an_empty_nest():
    """Nothing to do is not an error."""
    result = nest(NestTask({}, [], {}, NestSpace(50, 50, 50), 3.0, 1.5), stop=MaxSteps(0), seed=1)
    assert (result.placements, result.height_mm, result.density) == ((), 0.0, 0.0)


@pytest.mark.parametrize("change, words", [
    ({"clearance_mm": -1.0}, "clearance"), ({"clearance_mm": float("nan")}, "clearance"),
    ({"voxel_mm": 0.0}, "voxel"), ({"voxel_mm": float("inf")}, "voxel"), ({"rotations": {}}, "no allowed orientation"),
    ({"meshes": {}}, "no mesh"), ({"pieces": [NestPiece("a", "c", 1), NestPiece("a", "c", 1)]}, "twice")])  # fmt: skip
def test_impossible_tasks_are_refused_before_any_work(one_cube, change, words):
    """Each refusal names what is wrong."""
    good = {"meshes": {"c": one_cube}, "pieces": [NestPiece("a", "c", 1)], "rotations": {"c": STAND},
            "space": NestSpace(50, 50, 50), "clearance_mm": 3.0, "voxel_mm": 1.5}  # fmt: skip
    with pytest.raises(InputError, match=words):
        NestTask(**{**good, **change})


def test_a_chamber_without_room_is_refused():
    """The wall margin may not eat the platform."""
    with pytest.raises(InputError, match="no room"):
        NestSpace(20, 20, 100, wall_margin_mm=10)
    with pytest.raises(InputError, match="no room"):
        NestSpace(20, float("nan"), 100)
