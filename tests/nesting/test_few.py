"""The exact nest of few pieces: walls, clearance, removal, repeatability, and moves that are truly best."""

import numpy as np
import pytest

from cakewright.errors import InputError
from cakewright.nesting.few import is_few, nest_few
from cakewright.nesting.guided import overlaps, price, slide
from cakewright.nesting.polytopes import convex_pieces
from cakewright.nesting.separable import removal
from cakewright.nesting.shifts import make_shifts
from cakewright.nesting.squeeze import squeeze
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations, ring_mesh

STILL = np.eye(3)[None]


def blocks_task(clearance=0.0, turns=STILL, space=None):
    """Eight blocks of 4 x 4 x 4 and four of 8 x 4 x 2 on a base of 8 x 8."""
    meshes = {"cube": box_mesh(4, 4, 4), "bar": box_mesh(8, 4, 2)}
    pieces = [NestPiece(f"c{i}", "cube", 1) for i in range(8)] + [NestPiece(f"b{i}", "bar", 2) for i in range(4)]
    return NestTask(meshes, pieces, dict.fromkeys(meshes, turns), space or NestSpace(8, 8, 60), clearance, 1.0)


@pytest.fixture(scope="module")
def ring_pile():
    """Rings and blocks at random places, overlapping; ready for moves."""
    solids = [convex_pieces(ring_mesh(12, 8, 2)), convex_pieces(box_mesh(3, 4, 5))]
    table = make_shifts(solids, [cube_rotations()[:3], STILL], 0.0)
    rng = np.random.default_rng(3)
    pose = rng.integers(0, 4, 8)
    return table, pose, -table.low[pose] + rng.random((8, 3)) * 8, 1 + rng.random((8, 8))


def shapes(t):
    return t.frame, t.pair, t.poly_at, t.plane_at, t.planes, t.box, t.hull


def test_a_move_along_a_line_finds_the_least_overlap(ring_pile):
    """The exact best coordinate is never worse than any of 800 tried ones, and its price is the true one."""
    table, pose, at, weight = ring_pile
    spans, owners = np.empty((512, 5)), np.empty((512, 2), np.int64)
    for i in range(8):
        for axis in range(3):
            low, high = -6.0, 20.0
            best, value = slide(
                i, pose[i], at[i].copy(), axis, low, high, at, pose, weight, *shapes(table), spans, owners
            )
            p = at[i].copy()
            prices = []
            for c in [best, *np.linspace(low, high, 800)]:
                p[axis] = c
                prices.append(price(i, pose[i], *p, 1e300, at, pose, weight, *shapes(table)))
            assert prices[0] == pytest.approx(value, abs=1e-9)
            assert value <= min(prices) + 1e-9


def test_blocks_fill_their_box():
    """768 mm3 of blocks on 64 mm2 end 12 mm high: nothing is wasted, nothing overlaps."""
    task = blocks_task()
    result = nest_few(task, stop=MaxSteps(60), seed=1)
    assert result.height_mm == pytest.approx(12, abs=1e-6)
    assert result.density == pytest.approx(1, abs=1e-6)
    assert verify_nest(task.meshes, result.placements, task.space, 0.0, clock=lambda: 0.0).is_clear


def test_clearance_walls_and_removal_are_kept():
    """With 1 mm clearance and a wall margin everything is clear, inside, and can be taken out."""
    rings = {"ring": ring_mesh(12, 8, 2), "peg": box_mesh(3, 3, 9)}
    pieces = [NestPiece(f"r{i}", "ring", 1) for i in range(4)] + [NestPiece(f"p{i}", "peg", 1) for i in range(4)]
    space = NestSpace(20, 18, 60, wall_margin_mm=1.0)
    task = NestTask(rings, pieces, dict.fromkeys(rings, cube_rotations()), space, 1.0, 0.5)
    result = nest_few(task, stop=MaxSteps(40), seed=2)
    assert not result.left_out
    seen = verify_nest(rings, result.placements, space, 1.0, clock=lambda: 0.0)
    assert seen.is_clear
    assert removal(rings, result.placements, space, voxel_mm=0.5).is_free


def test_the_same_seed_gives_the_same_build():
    """Placements are equal to the last bit; another seed gives another build."""
    task = blocks_task(clearance=0.3, turns=cube_rotations(), space=NestSpace(10, 11, 60))
    first, second, other = (nest_few(task, stop=MaxSteps(12), seed=s) for s in (5, 5, 6))
    at = [np.array([p.translation for p in n.placements]) for n in (first, second, other)]
    assert (at[0] == at[1]).all()
    assert not np.array_equal(at[0], at[2])


def test_what_is_too_large_is_left_out_and_named():
    """A plate wider than the chamber is left out, the rest is nested."""
    task = blocks_task()
    meshes = {**task.meshes, "plate": box_mesh(9, 9, 1)}
    more = [*task.pieces, NestPiece("plate-1", "plate", 3)]
    result = nest_few(
        NestTask(meshes, more, dict.fromkeys(meshes, STILL), task.space, 0.0, 1.0), stop=MaxSteps(20), seed=1
    )
    assert [left.piece for left in result.left_out] == ["plate-1"]
    assert len(result.placements) == 12


def test_many_pieces_are_refused_with_the_remedy():
    """Above the limit the exact nest says so and names the other one."""
    meshes = {"cube": box_mesh(1, 1, 1)}
    pieces = [NestPiece(str(i), "cube", 1) for i in range(200)]
    task = NestTask(meshes, pieces, {"cube": STILL}, NestSpace(8, 8, 60), 0.0, 1.0)
    assert not is_few(task)
    with pytest.raises(InputError, match="by cells"):
        nest_few(task, stop=MaxSteps(1), seed=1)


def test_squeezing_stacks_blocks_tightly():
    """Three blocks hanging over each other with gaps come down until they touch."""
    solids = [convex_pieces(box_mesh(4, 4, 2))]
    table = make_shifts(solids, [STILL], 0.0)
    pose = np.zeros(3, np.int64)
    at = np.array([[0.0, 0, 1], [0.5, 0, 4.2], [0, 0.4, 9.9]])
    places, height = squeeze(table, at, pose, np.array([5.0, 5, 20]))
    assert height == pytest.approx(6, abs=1e-7)
    assert overlaps(places, pose, np.zeros((3, 3)), *shapes(table)) < 1e-8


def test_a_long_piece_is_never_stood_through_the_floor():
    """A rod that may turn stays inside when the height falls below its length; the build ends as low as can be."""
    meshes = {"rod": box_mesh(1, 2, 9), "cube": box_mesh(3, 3, 3)}
    pieces = [NestPiece("rod", "rod", 1), *(NestPiece(f"c{i}", "cube", 1) for i in range(3))]
    task = NestTask(meshes, pieces, dict.fromkeys(meshes, cube_rotations()), NestSpace(9, 9, 60), 0.0, 1.0)
    result = nest_few(task, stop=MaxSteps(200), seed=3)
    assert verify_nest(meshes, result.placements, task.space, 0.0, clock=lambda: 0.0).is_clear
    assert result.height_mm == pytest.approx(3, abs=1e-6)
