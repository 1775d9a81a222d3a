"""Settling: lower, still clear, never worse, the same every time, and given up when something would be lost."""

import numpy as np
import pytest
import trimesh

from cakewright.model.mesh import Mesh
from cakewright.nesting.nearest import separating
from cakewright.nesting.search import nest
from cakewright.nesting.settle import settle
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.trees import triangles_gap2
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations, place, ring_mesh

ROUNDS = MaxSteps(20)


def top(placements):
    return max(p.z_max_mm for p in placements)


def is_clear(meshes, placements, space, clearance):
    return verify_nest(meshes, placements, space, clearance, clock=lambda: 0.0).is_clear


@pytest.fixture(scope="module")
def round_cake():
    """Balls, rings and blocks nested by coarse cells: much air at every contact."""
    ball = trimesh.creation.icosphere(subdivisions=2, radius=6)
    meshes = {"ball": Mesh(ball.vertices, ball.faces), "ring": ring_mesh(20, 13, 4), "block": box_mesh(7, 9, 11)}
    pieces = [NestPiece(f"{k}{i}", k, 1) for k in meshes for i in range(5)]
    space = NestSpace(32, 30, 200, wall_margin_mm=1.0)
    task = NestTask(meshes, pieces, dict.fromkeys(meshes, cube_rotations()), space, 2.0, 2.5)
    return task, nest(task, stop=MaxSteps(3), seed=1).placements


def test_a_direction_separates_any_two_triangles_that_do_not_cross():
    """The width along it is their exact distance, so a row along it gives nothing away."""
    rng = np.random.default_rng(5)
    for n in range(3000):
        a, b = rng.normal(size=(2, 3, 3))
        b[:, n % 3] += 1.5
        gap = np.sqrt(triangles_gap2(a, b))
        found = separating(a, b)
        assert np.linalg.norm(found[:3]) == pytest.approx(1)
        if gap > 1e-9:
            assert found[3] == pytest.approx(gap, abs=1e-7)


def test_triangles_that_touch_have_a_direction_too():
    """Face on face, edge on face, corner on corner: width zero, not less."""
    flat = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]])
    for other in (
        [[1, 1, 0], [2, 1, 0], [1, 1, 3]],
        [[0, 0, 0], [3, 0, 0], [0, 3, 0]],
        [[0, 0, 0], [-1, -1, 2], [-2, 0, 1]],
    ):
        assert separating(flat, np.array(other, float))[3] == pytest.approx(0, abs=1e-12)


def test_a_coarse_nest_becomes_lower_and_stays_clear(round_cake):
    """Air left by 2.5 mm cells is won back; clearance 2 mm and the walls hold exactly."""
    task, before = round_cake
    after = settle(task.meshes, before, task.space, 2.0, stop=ROUNDS)
    assert top(after) < top(before) - 1
    assert is_clear(task.meshes, after, task.space, 2.0)
    assert [p.piece for p in after] == [p.piece for p in before]
    assert all((a.rotation == b.rotation).all() for a, b in zip(after, before, strict=True))


def test_settling_twice_gives_the_same(round_cake):
    """Equal input, equal output, to the last bit."""
    task, before = round_cake
    one, two = (settle(task.meshes, before, task.space, 2.0, stop=MaxSteps(2)) for _ in range(2))
    assert all((a.translation == b.translation).all() for a, b in zip(one, two, strict=True))


def test_the_nest_comes_back_untouched_when_something_would_be_lost(round_cake):
    """When the caller cannot keep any of the settled nests, it gets its own back; so too when told to stop at once."""
    task, before = round_cake
    assert settle(task.meshes, before, task.space, 2.0, stop=ROUNDS, keep=lambda _: False) == before
    assert settle(task.meshes, before, task.space, 2.0, stop=MaxSteps(0)) == before
    assert settle(task.meshes, (), task.space, 2.0, stop=ROUNDS) == ()


def test_a_nest_that_breaks_the_clearance_is_not_made_worse():
    """Two blocks 1 mm apart where 2 are wanted: no proof is possible, the input comes back as it was."""
    block = box_mesh(5, 5, 5)
    stand = (place("a", "b", block, (0, 0, 0)), place("c", "b", block, (0, 0, 6)))
    assert settle({"b": block}, stand, NestSpace(6, 6, 50), 2.0, stop=ROUNDS) == stand


def test_blocks_come_down_until_they_touch():
    """At zero clearance three floating blocks end as a stack without gaps."""
    block = box_mesh(5, 5, 5)
    stand = tuple(place(str(i), "b", block, (0.2 * i, 0, 0.7 + 6.1 * i)) for i in range(3))
    after = settle({"b": block}, stand, NestSpace(6, 6, 50), 0.0, stop=ROUNDS)
    assert top(after) == pytest.approx(15, abs=1e-6)
    assert is_clear({"b": block}, after, NestSpace(6, 6, 50), 0.0)


def test_round_things_settle_at_zero_clearance():
    """Balls are no union of few pieces: they come down on their triangles and do not sink into each other."""
    ball = trimesh.creation.icosphere(subdivisions=2, radius=5)
    ball = trimesh.boolean.difference([ball, trimesh.creation.icosphere(subdivisions=2, radius=3)], engine="manifold")
    meshes = {"ball": Mesh(ball.vertices, ball.faces)}
    stand = tuple(place(str(i), "ball", meshes["ball"], (5.5 + (i % 2), 5.5, 5.6 + 10.8 * i)) for i in range(3))
    space = NestSpace(12, 12, 50)
    after = settle(meshes, stand, space, 0.0, stop=ROUNDS)
    assert top(after) < top(stand) - 1.5
    assert is_clear(meshes, after, space, 0.0)
