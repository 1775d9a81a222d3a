"""Whatever a search made, the nest that comes out can be taken apart or leaves out what could not be."""

import numpy as np
import pytest

from cakewright.nesting.bank import make_bank
from cakewright.nesting.construct import Layout, Workspace
from cakewright.nesting.release import dropped, is_removable, make_removable, to_release
from cakewright.nesting.search import nest
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import joined, ring_mesh

FLAT = np.eye(3)
UPRIGHT = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
ACROSS = np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]])


def hook_mesh():
    """A bar with two arms to the right."""
    arms = (box_mesh(20, 10, 5, at=(5, 0, 25)), box_mesh(20, 10, 5))
    return joined(box_mesh(5, 10, 30), *arms, box_mesh(5, 10, 10, at=(20, 0, 5)))


def world(meshes, counts, space, turns):
    """Workspace and parts of a task at 1 mm, clearance 1 mm."""
    pieces = [NestPiece(f"{k}{i}", k, n) for n, (k, q) in enumerate(counts.items(), 1) for i in range(q)]
    task = NestTask(meshes, pieces, {k: np.array(turns) for k in meshes}, space, 1.0, 1.0)
    keys = sorted(meshes)
    bank = make_bank(task, keys)
    return task, Workspace(bank), np.array([keys.index(p.part_key) for p in pieces], np.int64)


def linked_rings(space):
    """Two upright rings through each other, as a search without gravity may leave them; neither may be turned."""
    ring = ring_mesh()
    meshes = {"along": ring.placed(UPRIGHT, np.zeros(3)), "across": ring.placed(ACROSS, np.zeros(3))}
    _, work, part = world(meshes, {"along": 1, "across": 1}, space, [FLAT])
    layout = Layout.empty(part)
    layout.pose[:] = part
    layout.at[part == 1] = (0, 13, 0)
    layout.at[part == 0] = (13, 0, 13)
    return work, layout


def test_linked_rings_are_parted():
    """One of two links is let down again from above; both keep a place."""
    work, layout = linked_rings(NestSpace(60, 60, 120))
    assert not is_removable(layout, work.bank)
    free = make_removable(work, layout)
    assert is_removable(free, work.bank)
    assert (free.pose >= 0).all()


def test_a_link_without_another_place_is_left_out():
    """In a chamber that holds the chain and no more, one ring goes: it could never be taken out."""
    work, layout = linked_rings(NestSpace(31, 31, 44))
    assert not is_removable(layout, work.bank)
    free = make_removable(work, layout)
    assert is_removable(free, work.bank)
    assert sorted(free.pose >= 0) == [False, True]


@pytest.mark.parametrize("lower", [0, 1])
def test_when_one_link_finds_no_place_all_are_let_down_anew(lower):
    """Room for one ring above the other, but not above both as they stand linked: whichever is below, both fit."""
    work, layout = linked_rings(NestSpace(31, 31, 62))
    layout.at[layout.part == lower] = (0, 13, 0) if lower else (13, 0, 0)
    layout.at[layout.part != lower] = (13, 0, 13) if lower else (0, 13, 13)
    assert not is_removable(layout, work.bank)
    free = make_removable(work, layout)
    assert is_removable(free, work.bank)
    assert (free.pose >= 0).all()


def test_hooked_pairs_are_parted():
    """Two hooks that hold each other's arms come apart; the rest stays where it was."""
    meshes = {"cube": box_mesh(8, 8, 8), "hook": hook_mesh()}
    back = np.diag([-1.0, -1.0, 1.0])
    _task, work, part = world(meshes, {"hook": 2, "cube": 1}, NestSpace(90, 14, 120), [FLAT, back])
    hook = list(work.bank.poses_of(1))
    layout = Layout.empty(part)
    layout.pose[:] = [hook[0], hook[-1], work.bank.poses_of(0)[0]]
    layout.at[:] = [(0, 0, 0), (12, 0, 8), (60, 0, 0)]
    assert len(to_release(layout, work.bank)) == 1
    free = make_removable(work, layout)
    assert is_removable(free, work.bank)
    assert free.at[2].tolist() == [60, 0, 0]
    assert len(free.placed) == 3


@pytest.mark.parametrize("seed", range(3))
def test_a_pile_of_rings_has_a_way_out_in_writing(seed):
    """Ten rings in a narrow chamber: the order of removal names each of them once."""
    pieces = [NestPiece(f"r{i}", "ring", 1) for i in range(10)]
    task = NestTask(
        {"ring": ring_mesh()}, pieces, {"ring": np.array([FLAT, UPRIGHT])}, NestSpace(45, 45, 200), 2.0, 1.0
    )
    made = nest(task, stop=MaxSteps(15), seed=seed)
    way = removal(task.meshes, made.placements, task.space, voxel_mm=1.0)
    assert way.is_free
    assert sorted(way.order) == sorted(p.piece for p in made.placements)
    assert len(made.placements) == 10


def test_what_is_dropped_can_be_lifted():
    """Pieces let down one after the other leave straight up in the opposite order."""
    _, work, part = world({"ring": ring_mesh()}, {"ring": 5}, NestSpace(45, 45, 200), [FLAT, UPRIGHT])
    assert is_removable(dropped(work, part, np.arange(5)), work.bank)
