"""What a stop leaves and what printing the rest again takes, on a build of known heights."""

from itertools import pairwise

import numpy as np
import pytest

from cakewright.app.promise_dates import build_doubts, cell_hazard, line_doubts, start_pieces, stop_point, stop_points
from cakewright.cost.overmake import enough_chance
from cakewright.sources.promise import PIECE_YIELD
from tests.documents.world import week


def test_a_stop_before_the_first_layer_owes_everything():
    """All lines are incomplete and the remake is the build once more, to the minute."""
    build = week().builds[0]
    point = stop_point(build, 0)
    assert point.incomplete == frozenset(build.lines)
    assert point.height_share == 0.0
    assert point.printed_share == pytest.approx(build.print_time.warm_up_s / build.print_time.total_s)
    assert point.remake_share == pytest.approx(1.0)


def test_a_stop_after_the_last_layer_owes_nothing():
    """Nothing is incomplete."""
    build = week().builds[0]
    assert stop_point(build, build.profile.layers).incomplete == frozenset()


def test_later_stops_owe_less():
    """Shares printed rise, lines owed and the remake shrink, and the tallest piece owed bounds the remake."""
    build = week().builds[0]
    points = stop_points(build)
    assert all(a.printed_share <= b.printed_share for a, b in pairwise(points))
    assert all(a.incomplete >= b.incomplete for a, b in pairwise(points))
    assert all(a.remake_share >= b.remake_share - 1e-9 for a, b in pairwise(points))
    tallest = max(p.z_max_mm - p.z_min_mm for p in build.nest.placements)
    assert points[0].remake_height_share >= min(1.0, tallest / build.nest.height_mm) - 1e-9


def test_the_chance_to_fail_is_the_cells_own_record():
    """3 of 60 builds failed and the prior counts as ten builds at 5 %: a build of average height fails so often."""
    plan = week()
    hazard = cell_hazard(plan.builds, plan.cell)
    mean = float(np.mean([b.profile.layers for b in plan.builds]))
    expected = 1 - float(hazard.survives(mean))
    assert expected == pytest.approx(0.05, abs=0.005)
    chances = [d.fails for d in build_doubts(plan.builds, plan.cell)]
    assert min(chances) < expected < max(chances) or np.allclose(chances, expected)


def test_a_build_that_is_printed_cannot_stop_any_more():
    """A schedule that begins after a print has ended leaves that build without a chance to fail."""
    plan = week()
    ends = max(t.end for t in plan.schedule.tasks)
    later = type(plan.schedule)(ends, plan.schedule.tasks, "", True)
    assert {d.fails for d in build_doubts(plan.builds, plan.cell, later)} == {0.0}


def test_the_advised_number_is_enough_and_no_more_than_that():
    """With it the chance is at least 95 %, with one less it is not, and the rest goes into the dates."""
    for line, doubt in zip(week().orders.lines, line_doubts(week().orders.lines), strict=True):
        advised = start_pieces(line)
        assert enough_chance(advised, line.quantity, PIECE_YIELD.value) >= 0.95
        if advised > line.quantity:
            assert enough_chance(advised - 1, line.quantity, PIECE_YIELD.value) < 0.95
        assert 0 <= doubt.short <= 0.05
