"""Which nest is taken for which task, and what the settled one keeps."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from cakewright.model.mesh import Mesh
from cakewright.nesting.few import is_few
from cakewright.nesting.fulfil import judge
from cakewright.nesting.objective import SMALL
from cakewright.nesting.search import nest
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.tight import nest_tight, settled
from cakewright.nesting.verify import verify_nest
from cakewright.nesting.wishes import HeightWindow, NestWishes, ReservedPlace
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations, place, ring_mesh


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


def wished(shells, **more):
    """The same pieces with a line wanted early and fragile shells."""
    wishes = NestWishes(fragile=frozenset({"shell"}), **more)
    pieces = [replace(p, line=1 + (p.part_key == "ring"), priority=float(p.part_key == "ring")) for p in shells.pieces]
    return replace(shells, pieces=pieces, wishes=wishes)


def prices(task, made):
    return {t.name: t for t in judge(task, made)}


def test_a_task_with_wishes_is_settled_by_their_price(shells):
    """Lower than by cells, in sum at no higher price, no fulfilled wish lost, clear and removable."""
    task = wished(shells)
    plain = nest(task, stop=MaxSteps(2), seed=1)
    after = settled(task, plain)
    assert after.height_mm < plain.height_mm - 0.5
    before, now = prices(task, plain), prices(task, after)
    assert sum(t.price for t in now.values()) < sum(t.price for t in before.values())
    assert [n for n in now if before[n].value < SMALL <= now[n].value] == []
    assert verify_nest(task.meshes, after.placements, task.space, 2.0, clock=lambda: 0.0).is_clear
    assert removal(task.meshes, after.placements, task.space, voxel_mm=1.0).is_free
    assert "settled on the exact shapes" in after.notes[-1]


def test_an_ending_in_staffed_hours_is_not_lost_for_a_lower_build(shells):
    """Any height below the window costs more than what is won: it is settled down to the window, not through it."""
    plain = nest(wished(shells), stop=MaxSteps(2), seed=1)
    free = settled(wished(shells), plain).height_mm
    low = (free + plain.height_mm) / 2
    task = wished(shells, windows=(HeightWindow(low, 200), HeightWindow(0, low, 50.0)))
    after = settled(task, plain)
    assert low <= after.height_mm < plain.height_mm
    assert prices(task, after)["end"].price == 0


def test_reserved_places_specimens_and_pinned_pieces_stay(shells):
    """The bar stays in its place, an empty place stays empty, a pinned piece stays where somebody put it."""
    bar = ReservedPlace("bar", (1, 1, 0), (5, 21, 4), "bar", 9)
    empty = ReservedPlace("empty", (20, 0, 0), (32, 12, 9))
    meshes = {**shells.meshes, "bar": box_mesh(4, 20, 4)}
    rotations = {**shells.rotations, "bar": np.eye(3)[None]}
    task = wished(replace(shells, meshes=meshes, rotations=rotations), reserved=(bar, empty))
    plain = nest(task, stop=MaxSteps(2), seed=1)
    pinned = plain.placements[2].piece
    held = tuple(replace(p, pinned=p.piece == pinned) for p in plain.placements)
    after = settled(task, replace(plain, placements=held))
    assert [p.piece for p in after.placements] == [p.piece for p in held]
    at = {p.piece: p for p in after.placements}
    for name in ("bar", pinned):
        assert at[name].translation.tolist() == next(p for p in held if p.piece == name).translation.tolist()
    assert (
        sum(p.translation.tolist() != q.translation.tolist() for p, q in zip(after.placements, held, strict=True)) > 3
    )
    room = box_mesh(12, 12, 9, at=(20, 0, 0))
    with_room = [*after.placements, place("room", "room", room, (0, 0, 0))]
    assert verify_nest({**meshes, "room": room}, with_room, task.space, 2.0, clock=lambda: 0.0).is_clear


def test_thick_parts_keep_their_wider_gap(shells):
    """Shells keep 4 mm from each other, all else 2; after settling as before."""
    task = wished(shells, extra_mm={"shell": 2.0})
    plain = nest(task, stop=MaxSteps(2), seed=1)
    after = settled(task, plain)
    assert after.height_mm < plain.height_mm
    assert prices(task, after)["clearance"].value == 0
    thick = [p for p in after.placements if p.part_key == "shell"]
    assert verify_nest(task.meshes, thick, task.space, 4.0, clock=lambda: 0.0).is_clear


def test_pieces_that_stand_fixed_are_settled_around(shells):
    """What somebody pinned before the search stays in its place; the others come down beside it."""
    task = replace(wished(shells), pieces=wished(shells).pieces[1:])
    stands = replace(place("shell0", "shell", shells.meshes["shell"], (8, 8, 20)), pinned=True)
    task = replace(task, fixed=[stands])
    plain = nest(task, stop=MaxSteps(2), seed=1)
    after = settled(task, plain)
    assert next(p for p in after.placements if p.piece == "shell0").translation.tolist() == [8, 8, 20]
    assert sum(t.price for t in prices(task, after).values()) < sum(t.price for t in prices(task, plain).values())
    assert verify_nest(task.meshes, after.placements, task.space, 2.0, clock=lambda: 0.0).is_clear
