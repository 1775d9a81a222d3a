"""Settling under wishes on published mechanical parts: lower, in sum cheaper, and nothing that was reached is lost."""

import numpy as np
import pytest
import trimesh

from cakewright.model.mesh import Mesh
from cakewright.nesting.fulfil import judge
from cakewright.nesting.objective import SMALL
from cakewright.nesting.search import nest
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.tight import settled
from cakewright.nesting.verify import verify_nest
from cakewright.nesting.wishes import NestWishes, Weights
from cakewright.parts.orient import axis_rotations
from cakewright.stopping import MaxSteps

PARTS = ("drilling_jig", "bearing_clamp", "tourniquet_clip", "tourniquet_buckle", "toothed_lock", "dovetail_slide",
         "tensioner_pulley_small", "syringe_pump_cover", "sensor_case_bulkhead", "thumb_bracket_upper")  # fmt: skip


@pytest.fixture(scope="module")
def real_task(shared):
    """Twenty pieces of ten published parts, a line each: one wanted early, two fragile, two that look alike."""
    loaded = {name: trimesh.load(shared / "meshes" / "real" / f"{name}.stl", force="mesh") for name in PARTS}
    meshes = {name: Mesh(raw.vertices, raw.faces) for name, raw in loaded.items()}
    pieces = [NestPiece(f"{n}-{i}", name, n, float(n == 3)) for n, name in enumerate(PARTS, 1) for i in range(2)]
    wishes = NestWishes(fragile=frozenset(PARTS[-2:]), apart=(frozenset({2, 7}),), extra_mm={"dovetail_slide": 1.0})
    space = NestSpace(82, 82, 200, wall_margin_mm=2.0)
    return NestTask(
        meshes, pieces, dict.fromkeys(meshes, axis_rotations()), space, 3.0, 2.0, wishes, turning=frozenset(PARTS[:8])
    )


@pytest.fixture(scope="module")
def by_cells(real_task):
    return nest(real_task, stop=MaxSteps(4), seed=2, arrange_stop=MaxSteps(60))


@pytest.fixture(scope="module")
def on_shapes(real_task, by_cells):
    return settled(real_task, by_cells, stop=MaxSteps(4))


def test_a_settled_nest_is_lower_and_costs_less(real_task, by_cells, on_shapes):
    """At least 1 mm lower; the sum over all wishes by their weights is lower too."""
    assert on_shapes.height_mm < by_cells.height_mm - 1
    before, after = judge(real_task, by_cells), judge(real_task, on_shapes)
    assert sum(t.price for t in after) < sum(t.price for t in before)
    assert on_shapes.density == pytest.approx(by_cells.density * by_cells.height_mm / on_shapes.height_mm)


def test_no_wish_that_was_reached_is_lost(real_task, by_cells, on_shapes):
    """Wish by wish: what was fulfilled before is fulfilled after."""
    before, after = judge(real_task, by_cells), judge(real_task, on_shapes)
    assert [b.name for a, b in zip(before, after, strict=True) if a.value < SMALL <= b.value] == []
    assert [t.name for t in before if t.value < SMALL] != []


def test_a_settled_nest_is_proven_and_comes_apart(real_task, on_shapes):
    """Exact clearance and walls; every piece has a way out."""
    seen = verify_nest(real_task.meshes, on_shapes.placements, real_task.space, 3.0, clock=lambda: 0.0)
    assert seen.is_clear
    assert removal(real_task.meshes, on_shapes.placements, real_task.space, voxel_mm=on_shapes.voxel_mm).is_free


def test_only_what_may_turn_is_turned_and_only_about_the_vertical(real_task, by_cells, on_shapes):
    """The two thin parts may not: their rotations are what they were. All others keep their up."""
    for before, after in zip(by_cells.placements, on_shapes.placements, strict=True):
        assert np.allclose(before.rotation[2], after.rotation[2], atol=1e-12)
        if before.part_key not in real_task.turning:
            assert (before.rotation == after.rotation).all()


def test_a_wish_worth_more_than_height_is_not_sold_for_it(real_task, by_cells):
    """With height worth nothing and look-alikes worth much, settling may not bring those any nearer."""
    from dataclasses import replace

    wishes = replace(real_task.wishes, weights=Weights(height=0.0, density=0.0, apart=100.0))
    task = replace(real_task, wishes=wishes)
    after = settled(task, by_cells, stop=MaxSteps(1))
    apart = [next(t.value for t in judge(task, made) if t.name == "apart") for made in (by_cells, after)]
    assert apart[1] <= apart[0] + 0.2
