"""A build stops: what is whole, what is lost, which ways out, and nothing happens until somebody says so."""

from datetime import timedelta

import pytest

from cakewright.app.failure_desk import Cause, failure_desk
from cakewright.app.stop_build import PieceFate
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind
from tests.app.running import MONDAY, running_week, task

HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def plan():
    return running_week()


@pytest.fixture(scope="module")
def first(plan):
    return min(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start)


@pytest.fixture(scope="module")
def desk(plan, first):
    """The first build stops two hours into its print, at half its layers."""
    now = task(plan, first.key, TaskKind.PRINT).start + 2 * HOUR
    return failure_desk(plan, first.key, first.profile.layers // 2, Cause.POWER, now=now)


def test_every_piece_has_a_fate_and_the_money_adds_up(plan, first, desk):
    """Lost value is the planned cost per piece of all pieces that are half made or not begun."""
    assert len(desk.after.fates) == first.pieces
    cost = {c.line: c.total / plan.line(c.line).quantity for c in plan.costs}
    lost = sum(cost[n] for _, n, f in desk.after.fates if f in {PieceFate.HALF, PieceFate.NOT_BEGUN})
    assert desk.value_lost == pytest.approx(lost) and lost > 0


def test_powder_is_conserved(first, desk):
    """Not spread, loose in the cake, in pieces and in scrap: together the charge."""
    p = desk.powder
    assert p.not_spread_kg + p.in_cake_kg + p.in_pieces_kg + p.scrap_kg == pytest.approx(first.powder.charge_kg)


def test_two_or_three_ways_out_ranked(plan, desk):
    """Each with its dates and money; those that make everything come before giving up; the best has the least cost."""
    assert 2 <= len(desk.recoveries) <= 3
    assert desk.recoveries[0].value_not_made == 0
    price = plan.cell.rates.hands_per_h
    complete = [r for r in desk.recoveries if r.value_not_made == 0]
    costs = [r.weighted_late_h * price + r.money for r in complete]
    assert costs == sorted(costs)
    assert all(r.made.plan.schedule.validated for r in desk.recoveries)


def test_a_remake_is_loaded_after_the_stop_and_its_lines_wait_for_it(plan, first, desk):
    """The remake has its own tasks; lines that miss pieces are packed after it is unpacked."""
    now = next(r for r in desk.recoveries if r.key == "again-now")
    tasks = [t for t in now.made.plan.schedule.tasks if t.build == first.key + "R"]
    load = next(t for t in tasks if t.kind is TaskKind.LOAD)
    assert load.start >= desk.at + 2 * HOUR
    unpacked = next(t for t in tasks if t.kind is TaskKind.UNPACK).end
    owed = {n.line for n in desk.after.lines if n.again}
    assert owed
    for promise in now.made.plan.promises:
        if promise.line in owed:
            assert promise.ready > unpacked
    assert any("R load and check: new" in m.text for m in now.made.difference.tasks)


def test_the_stopped_cake_is_a_fact(plan, first, desk):
    """Its print ends at the stop and nobody opens it before it has cooled by its share of the height."""
    for way in desk.recoveries:
        assert task(way.made.plan, first.key, TaskKind.PRINT).end == desk.at
        cool = task(way.made.plan, first.key, TaskKind.COOL)
        assert task(way.made.plan, first.key, TaskKind.UNPACK).start >= cool.end


def test_causes_that_touch_everything_hold_everything(plan, first, desk):
    """After a heating fault every whole piece is held and the powder is not blended again before it is measured."""
    heat = failure_desk(plan, first.key, first.profile.layers // 2, Cause.HEAT, now=desk.at)
    whole = [p for p, _, f in heat.after.fates if f in {PieceFate.WHOLE, PieceFate.DOUBTFUL}]
    assert list(heat.held) == whole and heat.powder.is_blocked
    assert len(desk.held) <= len(heat.held) and not desk.powder.is_blocked


def test_a_stop_after_the_last_layer_needs_nothing(plan, first):
    """Everything is whole: there is one way, and it costs nothing."""
    now = task(plan, first.key, TaskKind.PRINT).end - HOUR
    desk = failure_desk(plan, first.key, first.profile.layers, Cause.HAND, now=now)
    assert [r.title for r in desk.recoveries] == ["Nothing has to be made again"]
    assert desk.value_lost == 0


def test_a_build_that_has_not_begun_cannot_stop(plan, first):
    """The answer says where to ask instead."""
    with pytest.raises(InputError, match="has not begun"):
        failure_desk(plan, first.key, 3, Cause.POWER, now=MONDAY - HOUR)
    with pytest.raises(InputError, match="layer"):
        failure_desk(plan, first.key, 10**6, Cause.POWER, now=MONDAY + 5 * HOUR)


def test_asking_changes_nothing(plan, first):
    """The plan is the same object with the same tasks after any number of questions."""
    before = plan.schedule.tasks
    failure_desk(plan, first.key, 5, Cause.POWER, now=MONDAY + 5 * HOUR)
    assert plan.schedule.tasks is before
