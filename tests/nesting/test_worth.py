"""The wishes valued where pieces really stand: on the lattice as before, between its cells in between."""

from dataclasses import replace

import numpy as np
import pytest

from cakewright.model.mesh import Mesh
from cakewright.nesting.fulfil import judge
from cakewright.nesting.search import nest, volume_mm3
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.wishes import NestWishes
from cakewright.nesting.worth import Worth
from cakewright.parts.orient import turn_z
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh


@pytest.fixture(scope="module")
def shelf():
    """Plates and rods of three lines, one wanted early, two alike, one fragile; made by cells."""
    meshes = {"plate": box_mesh(17, 17, 3), "rod": box_mesh(4, 4, 21), "brick": box_mesh(9, 6, 5)}
    pieces = [NestPiece(f"{k}{i}", k, n, float(k == "rod")) for n, k in enumerate(meshes, 1) for i in range(4)]
    wishes = NestWishes(fragile=frozenset({"plate"}), apart=(frozenset({1, 3}),), area_jump=0.02)
    task = NestTask(meshes, pieces, dict.fromkeys(meshes, np.eye(3)[None]), NestSpace(40, 40, 100), 2.0, 1.0, wishes)
    made = nest(task, stop=MaxSteps(1), seed=1, arrange_stop=MaxSteps(10))
    return task, made, Worth(task, made.placements, made.voxel_mm, {k: volume_mm3(m) for k, m in meshes.items()})


def moved(placements, piece, by):
    """The placements with one piece moved."""
    return [
        p
        if p.piece != piece
        else replace(p, translation=p.translation + by, z_min_mm=p.z_min_mm + by[2], z_max_mm=p.z_max_mm + by[2])
        for p in placements
    ]


def test_on_the_lattice_it_is_what_the_search_saw(shelf):
    task, made, worth = shelf
    seen = {t.name: t.value for t in judge(task, made)}
    for term in worth.terms(made.placements):
        assert term.value == pytest.approx(seen[term.name], abs=1e-9)


def test_between_cells_every_wish_changes_without_a_step(shelf):
    """A piece that goes up by 2 mm in steps of 0.1: the price never jumps, and ends where the lattice says."""
    _, made, worth = shelf
    points = [worth.points(moved(made.placements, "brick2", np.array([0, 0, 0.1 * k]))) for k in range(21)]
    jumps = np.abs(np.diff(points))
    assert jumps.max() < 0.2
    assert abs(points[20] - points[0]) > 1e-6


def test_pulls_are_the_slopes_of_the_wishes_they_know(shelf):
    """Finite differences of early and together, piece by piece and axis by axis."""
    _, made, worth = shelf

    def known(placements):
        return sum(t.price for t in worth.terms(placements) if t.name in {"early", "together"})

    pulls = worth.pulls(made.placements)
    for n, p in enumerate(made.placements):
        for axis in range(3):
            d = 1e-4 * np.eye(3)[axis]
            slope = (known(moved(made.placements, p.piece, d)) - known(moved(made.placements, p.piece, -d))) / 2e-4
            assert pulls[n, axis] == pytest.approx(slope, abs=1e-6)


def test_a_small_turn_about_its_middle_costs_a_piece_nothing(shelf):
    """The cells go with the middle of the part, wherever its origin is."""
    task, made, worth = shelf
    turn = turn_z(0.02)
    turned = []
    for p in made.placements:
        middle = task.meshes[p.part_key].box_mm.mean(axis=0)
        at = p.translation + p.rotation @ middle - turn @ p.rotation @ middle
        turned.append(replace(p, rotation=turn @ p.rotation, translation=at))
    assert worth.points(turned) == pytest.approx(worth.points(made.placements), abs=1e-9)


def test_a_wish_that_was_fulfilled_and_is_lost_is_not_kept(shelf):
    """Lower and cheaper in sum, but look-alikes that stood apart do not any more: that is no gain."""
    task, made, _ = shelf
    far = NestWishes(apart=(frozenset({1, 3}),), apart_mm=1.0)
    worth = Worth(replace(task, wishes=far), made.placements, 1.0, {k: volume_mm3(m) for k, m in task.meshes.items()})
    before = made.placements
    assert next(t for t in worth.terms(before) if t.name == "apart").value == 0
    plate = next(p for p in before if p.piece == "plate0")
    brick = next(p for p in before if p.piece == "brick0")
    onto = moved(before, "brick0", plate.translation - brick.translation + np.array([0, 0, 3.5]))
    assert not worth.is_kept(before, onto)
    assert worth.is_kept(before, before)


def test_a_flat_mesh_has_a_place_too():
    """A single triangle encloses nothing; it is valued all the same."""
    flat = Mesh(np.array([[0, 0, 0], [9, 0, 0], [0, 9, 1.0]]), np.array([[0, 1, 2]]))
    task = NestTask(
        {"f": flat}, [NestPiece("f0", "f", 1)], {"f": np.eye(3)[None]}, NestSpace(30, 30, 30), 2.0, 1.0, NestWishes()
    )
    made = nest(task, stop=MaxSteps(0), seed=1, arrange_stop=MaxSteps(0))
    worth = Worth(task, made.placements, 1.0, {"f": 0.0})
    assert np.isfinite(worth.points(made.placements))
