"""Settling with turns about the vertical: what only a turn can lower, and what turns never do."""

import numpy as np
import pytest

from cakewright.model.mesh import Mesh
from cakewright.nesting.pile import Hold
from cakewright.nesting.settle import settle
from cakewright.nesting.spin import lever
from cakewright.nesting.task import NestSpace
from cakewright.nesting.verify import verify_nest
from cakewright.parts.orient import turn_z
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import place

ROUNDS = MaxSteps(20)
SPACE = NestSpace(80, 60, 80)


def slope_mesh():
    """A post 10 long in x and 30 high; from above its back leans away: 12 deep on the floor, nothing at the top."""
    low, high = [(0, 0, 0), (10, 0, 0), (10, 12, 0), (0, 12, 0)], [(0, 0, 30), (10, 0, 30)]
    faces = [(0, 2, 1), (0, 3, 2), (0, 1, 5), (0, 5, 4), (1, 2, 5), (0, 4, 3), (3, 4, 5), (3, 5, 2)]
    return Mesh(np.array(low + high, float), np.array(faces))


@pytest.fixture
def bar_across_two_slopes():
    """A bar lies on one slope in front at its right end and one behind at its left: no shift lowers it, a turn does."""
    meshes = {"bar": box_mesh(60, 6, 31), "post": slope_mesh()}
    half = turn_z(np.pi)
    posts = [
        place("front", "post", meshes["post"], (60, 20, 0)),
        place("back", "post", meshes["post"], (20, 40, 0), half),
    ]
    bar = place("bar", "bar", meshes["bar"], (10, 27, 20))
    return meshes, (*posts, bar)


def settled(world, turning, clearance=1.0):
    meshes, placements = world
    hold = Hold(still=frozenset({"front", "back"}), turning=frozenset(turning))
    return settle(meshes, placements, SPACE, clearance, stop=ROUNDS, hold=hold)


def test_only_a_turn_lets_a_bar_between_two_slopes(bar_across_two_slopes):
    """Without turns it comes to lie on both slopes; with turns it goes lower, by the vertical only, and stays clear."""
    meshes, before = bar_across_two_slopes
    shifted = settled(bar_across_two_slopes, ())[2]
    turned = settled(bar_across_two_slopes, {"bar"})
    assert shifted.z_min_mm < before[2].z_min_mm
    assert turned[2].z_min_mm < shifted.z_min_mm - 10
    assert (shifted.rotation == before[2].rotation).all()
    turn = turned[2].rotation @ before[2].rotation.T
    assert turn[2, 2] == pytest.approx(1)
    assert abs(turn[1, 0]) > 0.02
    assert verify_nest(meshes, turned, SPACE, 1.0, clock=lambda: 0.0).is_clear
    assert [p.translation.tolist() for p in turned[:2]] == [p.translation.tolist() for p in before[:2]]


def test_a_part_that_may_not_turn_does_not(bar_across_two_slopes):
    """The posts may turn, the bar may not: its rotation is what it was, to the last bit."""
    meshes, before = bar_across_two_slopes
    after = settle(meshes, before, SPACE, 1.0, stop=ROUNDS, hold=Hold(turning=frozenset({"post"})))
    assert (after[2].rotation == before[2].rotation).all()
    assert verify_nest(meshes, after, SPACE, 1.0, clock=lambda: 0.0).is_clear


def test_turned_corners_stay_inside_the_walls(bar_across_two_slopes):
    """In a chamber as deep as the slopes the bar turns until its corners touch the walls, and no further."""
    meshes, before = bar_across_two_slopes
    moved = tuple(
        place(p.piece, p.part_key, meshes[p.part_key], p.translation - [0, 20, 0], p.rotation) for p in before
    )
    space = NestSpace(80, 20, 80)
    hold = Hold(still=frozenset({"front", "back"}), turning=frozenset({"bar"}))
    bar = settle(meshes, moved, space, 1.0, stop=ROUNDS, hold=hold)[2]
    assert bar.z_min_mm < before[2].z_min_mm - 8
    deep = (meshes["bar"].vertices @ bar.rotation.T + bar.translation)[:, 1]
    assert deep.min() == pytest.approx(0, abs=0.1)
    assert deep.max() == pytest.approx(20, abs=0.1)
    assert deep.min() > -1e-6
    assert deep.max() < 20 + 1e-6


def test_the_lever_of_a_turn_is_never_too_small():
    """Random corners, directions and turns: the highest corner rises by no more than the lever says."""
    rng = np.random.default_rng(4)
    for _ in range(300):
        points = rng.uniform(-20, 20, (6, 3))
        along = rng.normal(size=3)
        along /= np.linalg.norm(along)
        radius = float(np.linalg.norm(points[:, :2], axis=1).max())
        left, right = lever(points, along, np.zeros(2), radius, 1.0)
        mm = float(rng.uniform(-1, 1))
        rise = (points @ turn_z(mm / radius).T @ along).max() - (points @ along).max()
        assert rise <= (left * mm if mm > 0 else -right * mm) + 1e-9
