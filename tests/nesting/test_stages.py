"""The large pieces first on large cells, then the same places on small ones, pressed together."""

import dataclasses

import numpy as np
import pytest

from cakewright.nesting.bank import make_bank
from cakewright.nesting.construct import Layout, Workspace
from cakewright.nesting.improve import Count
from cakewright.nesting.levels import doubled
from cakewright.nesting.search import _placements, nest
from cakewright.nesting.separable import removal
from cakewright.nesting.stages import large_first, largest_first, on_small_cells, pressed, staged
from cakewright.nesting.task import NestSpace
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import joined, ring_mesh
from tests.nesting.test_search import task_of


@pytest.fixture(scope="module")
def crowd():
    """46 pieces of four kinds, some in fractions of a millimetre, on cells of 1 mm."""
    meshes = {
        "block": box_mesh(17.3, 20, 23),
        "ring": ring_mesh(30, 20, 4),
        "plate": box_mesh(35, 26.7, 4),
        "pin": box_mesh(4, 4, 9.2),
    }
    counts = {"block": 10, "ring": 8, "plate": 8, "pin": 20}
    return task_of(meshes, counts, NestSpace(70, 70, 300), clearance=3.0, voxel=1.0)


def world(task, steps):
    """Spaces on large and small cells, the numbers of the parts, and a count with a rule of steps."""
    keys = sorted(task.meshes)
    part = np.array([keys.index(p.part_key) for p in task.pieces], np.int64)
    large, small = (Workspace(make_bank(each, keys, corner=True)) for each in (doubled(task), task))
    return large, small, part, Count(MaxSteps(steps), np.random.default_rng(1), np.zeros(len(part)))


def is_clear(task, layout, bank):
    placed = _placements(layout, bank, task.pieces, task)
    seen = verify_nest(task.meshes, placed, task.space, task.clearance_mm, clock=lambda: 0.0)
    return seen.is_clear and removal(task.meshes, placed, task.space, voxel_mm=task.voxel_mm).is_free


def test_the_largest_are_searched_alone_and_stand_on_the_small_cells_where_they_stood(crowd):
    """Blocks, rings and plates, but no pin, to the micrometre where the large cells put them."""
    large, small, part, count = world(crowd, 80)
    order = largest_first(small.bank, part, count.priority)
    found = staged([large], part, order, count)
    assert sorted(crowd.meshes).index("pin") not in found.part[found.placed]
    assert set(found.placed) == set(order[: len(found.placed)]) and 20 <= len(found.placed) <= 26
    same = on_small_cells(found, large.bank, small)
    before, after = (
        [p.translation for p in _placements(each, bank, crowd.pieces, crowd)]
        for each, bank in ((found, large.bank), (same, small.bank))
    )
    assert np.allclose(before, after, atol=1e-9)
    assert is_clear(crowd, same, small.bank)


def test_a_stage_takes_its_share_of_the_rule(crowd):
    """Half of the steps that the rule allows go to the large pieces alone, in three stages."""
    large, small, part, count = world(crowd, 80)
    staged([large], part, largest_first(small.bank, part, count.priority), count)
    assert count.steps == 40
    large, small, part, count = world(crowd, 80)
    count.stop = lambda steps, best: steps >= 20  # this rule cannot tell: the usual steps, cut off by the rule
    staged([large], part, largest_first(small.bank, part, count.priority), count)
    assert count.steps == 20


def test_pressing_lowers_and_never_lifts(crowd):
    """After a build on large cells every piece is as low as before or lower, and the clearance is kept."""
    large, small, part, count = world(crowd, 80)
    loose = on_small_cells(staged([large], part, largest_first(small.bank, part, count.priority), count),
                           large.bank, small)  # fmt: skip
    tight = pressed(small, loose, count)
    assert (tight.at[tight.placed, 2] <= loose.at[loose.placed, 2]).all()
    assert tight.at[tight.placed, 2].sum() < loose.at[loose.placed, 2].sum()
    assert is_clear(crowd, tight, small.bank)


def test_the_small_ones_are_added_and_all_are_there(crowd):
    large, small, part, count = world(crowd, 80)
    made = large_first(large, [small, small.beside()], part, count)
    assert len(made.placed) == 46
    assert is_clear(crowd, made, small.bank)


def test_stopped_in_the_middle_there_is_no_build(crowd):
    large, small, part, count = world(crowd, 0)
    assert large_first(large, [small], part, count) is None


@pytest.mark.parametrize("voxel", [1.5, 1.0])
def test_a_crowded_chamber_is_nested_the_same_twice(crowd, voxel):
    """Through stages to small cells, or to the same where they are small: clear, free, repeatable, not higher."""
    task = dataclasses.replace(crowd, voxel_mm=voxel)
    first = nest(task, stop=MaxSteps(0), seed=3)
    runs = [nest(task, stop=MaxSteps(120), seed=3) for _ in range(2)]
    assert [p.translation.tolist() for p in runs[0].placements] == [p.translation.tolist() for p in runs[1].placements]
    assert runs[0].voxel_mm == 1.0
    assert len(runs[0].placements) == 46 and runs[0].height_mm <= first.height_mm
    assert verify_nest(task.meshes, runs[0].placements, task.space, 3.0, clock=lambda: 0.0).is_clear
    assert removal(task.meshes, runs[0].placements, task.space, voxel_mm=1.0).is_free


def test_a_part_that_has_no_place_on_large_cells_gets_one_on_small_ones():
    """A block of 19 mm between walls of 19 mm: 20 mm of large cells do not fit, the small ones do."""
    meshes = {"wide": box_mesh(19, 19, 5), "crook": joined(box_mesh(9, 4, 4), box_mesh(4, 4, 9))}
    task = task_of(meshes, {"wide": 4, "crook": 40}, NestSpace(19, 19, 300), clearance=3.0, voxel=1.0)
    large, small, part, count = world(task, 60)
    made = large_first(large, [small], part, count)
    assert len(made.placed) == 44
    assert isinstance(made, Layout)
