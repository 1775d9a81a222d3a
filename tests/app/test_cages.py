"""A line flagged 'cage' is printed in one, counted without it, and comes out with it."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from cakewright import plan_week, read_orders
from cakewright.app.effort import effort_in_steps
from cakewright.documents.bands import bands
from cakewright.model.plan import WeekPlan
from tests.app.worlds import small_cell, write_order_book

MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def planned(tmp_path_factory) -> WeekPlan:
    """Twelve cubes of 15 mm in a cage, beside three loose plates."""
    folder = tmp_path_factory.mktemp("caged")
    cell = small_cell()
    material, finish, quality = cell.materials[0].name, cell.finishes[0].name, cell.classes[0].name
    rows = [
        f"{n},A-1,2027-03-01,Team,{part},A,{qty},{material},{finish},{quality},2027-03-19,{part}.stl,{flag}"
        for n, (part, qty, flag) in enumerate([("cube", 12, "cage"), ("plate", 3, "")], start=1)
    ]
    book, parts = write_order_book(folder, cell, rows)
    return plan_week(read_orders(book, cell), cell, parts, start=MONDAY, effort=effort_in_steps(3))


def test_ordered_pieces_are_counted_and_the_cage_is_not(planned):
    build = planned.builds[0]
    assert len(build.pieces_of(1)) == 12
    assert build.pieces == 15
    assert sum(p.is_cage for p in build.nest.placements) == 1


def test_the_cage_is_a_part_of_the_plan_that_is_proven_clear_and_can_be_lifted(planned):
    """The exact check saw bars and pieces; in the order of removal the cage is followed by its twelve cubes."""
    build = planned.builds[0]
    assert build.verification.is_clear
    assert build.verification.pairs_checked > 12
    assert build.removal.is_free
    (cage,) = build.caged
    assert len(build.caged[cage]) == 12
    assert cage in planned.parts
    assert planned.parts[cage].measures.is_watertight
    assert len(build.removal.order) == 16


def test_layers_and_powder_know_the_cage(planned):
    """What is sintered is pieces and bars together."""
    build = planned.builds[0]
    solid = sum(planned.parts[p.part_key].measures.volume_mm3 for p in build.nest.placements)
    assert build.profile.volume_mm3 == pytest.approx(solid, rel=0.03)
    assert solid > 12 * 15**3 + 3 * 80 * 60 * 4


def test_the_unpacking_map_counts_what_is_in_the_cage(planned):
    """All twelve are met where the cage is met, in one group that names the cage."""
    groups = [g for band in bands(planned, planned.builds[0]) for g in band.groups if g.line == 1]
    assert [(len(g.pieces), g.cages) for g in groups] == [(12, 1)]
