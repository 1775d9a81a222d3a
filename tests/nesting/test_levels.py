"""Small cells after large ones, several tries at once, and stopping in the middle of it."""

import numpy as np
import pytest

from cakewright.nesting.bank import make_bank
from cakewright.nesting.construct import Layout, Workspace, orders
from cakewright.nesting.levels import fine_voxel_mm, finer, rebuilt
from cakewright.nesting.search import nest
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSeconds, MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations, ring_mesh
from tests.nesting.test_search import task_of


def whole_millimetres(voxel=1.5, clearance=3.0):
    """Parts of 7, 10 and 13 mm: on cells of 1.5 mm they lose up to a millimetre and a half at every side."""
    meshes = {"block": box_mesh(7, 10, 13), "ring": ring_mesh(30, 20, 4), "plate": box_mesh(25, 16, 4)}
    counts = {"block": 8, "ring": 4, "plate": 4}
    return task_of(meshes, counts, NestSpace(60, 60, 200), clearance=clearance, voxel=voxel)


def seen_through(task, result):
    """The nest is clear and comes apart, judged on cells of the size it was found on."""
    assert verify_nest(task.meshes, result.placements, task.space, task.clearance_mm, clock=lambda: 0.0).is_clear
    assert removal(task.meshes, result.placements, task.space, voxel_mm=result.voxel_mm).is_free
    return result


def layout_by_largest_box(task):
    keys = sorted(task.meshes)
    part = np.array([keys.index(p.part_key) for p in task.pieces], np.int64)
    work = Workspace(make_bank(task, keys))
    layout = Layout.empty(part)
    work.insert(layout, orders(work.bank, part, np.zeros(len(part)))[0])
    return work, part, layout


@pytest.mark.parametrize(
    "clearance, voxel, fine", [(3.0, 1.5, 1.0), (2.5, 1.5, 2.5 / 3), (5.0, 4.0, 1.0), (3.0, 0.7, 0.7), (0.0, 1.5, 1.5)]
)
def test_small_cells_divide_the_clearance(clearance, voxel, fine):
    """At most a millimetre, a whole number of them in the clearance; finer cells and zero clearance are left alone."""
    assert fine_voxel_mm(whole_millimetres(voxel, clearance)) == pytest.approx(fine)


def test_too_much_work_stays_on_large_cells():
    """The same pieces on a platform of ten metres are not tried on small cells."""
    task = whole_millimetres()
    work, part, _ = layout_by_largest_box(task)
    assert finer(task, work.bank, part) is not None
    wide = NestTask(task.meshes, task.pieces, task.rotations, NestSpace(10_000, 10_000, 20), 3.0, 1.5)
    keys = sorted(task.meshes)
    assert finer(wide, make_bank(wide, keys), part) is None


def test_a_longer_search_ends_on_small_cells_and_lower():
    """With steps enough the build is made again on cells of 1 mm, which whole millimetres fit."""
    quick = seen_through(whole_millimetres(), nest(whole_millimetres(), stop=MaxSteps(0), seed=1))
    longer = seen_through(whole_millimetres(), nest(whole_millimetres(), stop=MaxSteps(40), seed=1))
    assert (quick.voxel_mm, longer.voxel_mm) == (1.5, 1.0)
    assert longer.height_mm < quick.height_mm


def test_a_chamber_too_small_on_large_cells_holds_them_all_on_small_ones(one_cube):
    """Two cubes of 10 mm and the gap fill 23 mm exactly; on cells of 1.5 mm they need 24."""
    task = task_of({"c": one_cube}, {"c": 8}, NestSpace(23, 23, 23))
    assert len(nest(task, stop=MaxSteps(0), seed=1).placements) < 8
    assert len(seen_through(task, nest(task, stop=MaxSteps(40), seed=1)).placements) == 8


def test_two_workers_repeat_each_other():
    """Threads try at the same time, and the answer does not depend on which is ready first."""
    nests = [nest(whole_millimetres(), stop=MaxSteps(40), seed=1, workers=2) for _ in range(2)]
    seen_through(whole_millimetres(), nests[0])
    assert [p.translation.tolist() for p in nests[0].placements] == [
        p.translation.tolist() for p in nests[1].placements
    ]


def test_no_seconds_still_give_a_whole_build():
    """A rule that says stop at once is obeyed after the first construction, which is complete."""
    result = nest(whole_millimetres(), stop=MaxSeconds(0.0, lambda: 0.0), seed=1)
    assert len(result.placements) == 16


def test_the_clock_starts_with_the_nest_and_ends_it_soon():
    """A clock that ticks at each look: hardly a look is taken after the time is up, even inside a construction."""
    ticks = iter(range(10_000))
    now = [0]

    def clock():
        now[0] = next(ticks)
        return float(now[0])

    for seconds in (10, 30, 50):
        start = now[0]
        assert len(nest(whole_millimetres(), stop=MaxSeconds(seconds, clock), seed=1).placements) == 16
        assert now[0] - start <= seconds + 6


def test_a_build_that_is_given_up_leaves_nothing():
    """When the rule says stop inside the first construction on small cells there is no answer from there."""
    work, part, layout = layout_by_largest_box(whole_millimetres())
    asked = iter([False] * 5 + [True] * 100)
    rng = np.random.default_rng(1)
    assert rebuilt([work], part, np.zeros(len(part)), layout, work.bank, lambda: next(asked), rng) is None


def test_what_must_stay_below_a_limit_ends_at_the_first_piece_that_cannot():
    """Three plates of 4 mm with 3 mm between fill 18 mm: the third is not placed below 17 mm, the fourth not tried."""
    plate = box_mesh(50, 50, 4)
    task = NestTask({"p": plate}, [NestPiece(str(i), "p", 1) for i in range(4)], {"p": cube_rotations()},
                    NestSpace(52, 52, 100), 3.0, 1.0)  # fmt: skip
    work = Workspace(make_bank(task, ["p"]))
    layout = Layout.empty(np.zeros(4, np.int64))
    assert work.insert(layout, np.arange(4), below_mm=17.0) == 1
    assert (layout.pose >= 0).tolist() == [True, True, False, False]
