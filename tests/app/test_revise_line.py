"""A new revision of an ordered line: pooled and nested pieces cost nothing, printing and printed ones are lost."""

import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from cakewright import plan_week, read_orders, write_plan
from cakewright.app.effort import effort_in_steps
from cakewright.app.revise_line import Stage, revise_line, stage_shares
from cakewright.errors import InputError
from cakewright.formats.stl import write_stl
from cakewright.model.plan import TaskKind
from cakewright.store.schedule import Progress
from tests.app.worlds import small_cell, write_order_book
from tests.conftest import box_mesh

SUNDAY = datetime(2027, 2, 28, 8, tzinfo=UTC)
MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A planned week, a new shape and the old file once more."""
    folder = tmp_path_factory.mktemp("revise")
    cell = small_cell()
    book, parts = write_order_book(folder, cell)
    plan = plan_week(read_orders(book, cell), cell, parts, start=MONDAY, effort=effort_in_steps(5))
    plan, _ = write_plan(plan, folder / "out", at=MONDAY)
    file = folder / "wedge.stl"
    write_stl(file, box_mesh(30, 30, 12), "wedge")
    return plan, file, parts


def task(plan, build, kind):
    return next(t for t in plan.schedule.of_build(build) if t.kind is kind)


def planned_line(plan):
    """A line whose pieces are in one build."""
    return next(line for line in plan.orders.lines if len(plan.builds_of(line.line)) == 1)


def test_the_stage_follows_the_calendar_and_the_notes(shop):
    """Before loading nested, while it prints printing, afterwards printed; a note 'not begun' takes it back."""
    plan, _, _ = shop
    line = planned_line(plan)
    build = plan.builds_of(line.line)[0].key
    pieces = len(plan.builds_of(line.line)[0].pieces_of(line.line))
    loaded, printed = task(plan, build, TaskKind.LOAD), task(plan, build, TaskKind.PRINT)

    def stage(now, noted=()):
        (share,) = stage_shares(plan, line, now, noted)
        assert share.pieces == pieces and share.build == build
        return share

    before = stage(loaded.start - timedelta(minutes=1))
    assert before.stage is Stage.NESTED and before.lost == 0 and "void" in before.effect
    during = stage(printed.start + timedelta(minutes=30))
    assert during.stage is Stage.PRINTING and during.lost > 0 and "cannot be taken out" in during.effect
    after = stage(printed.end + timedelta(minutes=1))
    assert after.stage is Stage.PRINTED and after.lost == during.lost
    word = Progress(1, plan.version, TaskKind.LOAD, build, None, None, None, loaded.end, "Mira", "")
    assert stage(printed.start + timedelta(minutes=30), [word]).stage is Stage.NESTED


def test_what_is_lost_is_the_cost_of_the_pieces(shop):
    """All pieces of a line printed: the cost of the line, to the cent."""
    plan, _, _ = shop
    line = planned_line(plan)
    late = max(t.end for t in plan.schedule.tasks if t.kind is TaskKind.PRINT) + timedelta(hours=1)
    cost = next(c for c in plan.costs if c.line == line.line)
    (share,) = stage_shares(plan, line, late, ())
    assert share.lost == Decimal(str(cost.total)).quantize(Decimal("0.01"))


def test_pieces_in_no_build_are_pooled(shop):
    """A line of two more pieces than are nested has two in the pool."""
    plan, _, _ = shop
    line = planned_line(plan)
    more = replace(line, quantity=line.quantity + 2)
    shares = stage_shares(plan, more, SUNDAY, ())
    assert [(s.stage, s.pieces) for s in shares][-1] == (Stage.POOLED, 2)


def test_a_new_shape_is_priced_and_dated(shop):
    """The offer carries the new revision, the same quantity; the old cost stands beside it."""
    plan, file, _ = shop
    line = planned_line(plan)
    found = revise_line(plan, line.line, file, "Z", now=SUNDAY, clock=time.monotonic, effort=effort_in_steps(3))
    assert found.offer.revision == "Z" and found.offer.quantity == line.quantity and not found.same_shape
    assert found.lost == 0 and found.unit_before > 0 and found.unit_after > 0
    assert [s.stage for s in found.shares] == [Stage.NESTED]


def test_the_old_file_is_no_revision(shop):
    """Same file, same letter: refused; same file, new letter: only papers change."""
    plan, _, parts = shop
    line = planned_line(plan)
    old = next(p for p in parts.rglob("*") if p.name == plan.parts[plan.part_of_line[line.line]].origin.file)
    asked = {"now": SUNDAY, "clock": time.monotonic, "effort": effort_in_steps(3)}
    with pytest.raises(InputError, match="are the ones that were ordered"):
        revise_line(plan, line.line, old, line.revision, **asked)
    assert revise_line(plan, line.line, old, "Q", **asked).same_shape
    with pytest.raises(InputError, match="no line 999"):
        revise_line(plan, 999, old, "Q", **asked)
