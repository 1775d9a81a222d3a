"""A print that ends while nobody is there: how much lower it would have to be, in words, and the lower nest."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from cakewright.app.cages import Cages
from cakewright.app.effort import effort_in_steps
from cakewright.app.end_in_shift import ending, ending_words, seconds_per_mm, target_mm
from cakewright.app.lower_builds import _nested_lower, lowered
from cakewright.model.build import LeftOut
from cakewright.model.plan import Schedule, Task, TaskKind
from tests.app.worlds import small_cell

MONDAY = datetime(2027, 3, 1, 0, tzinfo=UTC)
SHIFTS = [
    (MONDAY + timedelta(days=d, hours=7), MONDAY + timedelta(days=d, hours=17)) for d in range(5)
]  # Monday to Friday, 07:00 to 17:00


def printed(hours, height_mm=200.0):
    """A build whose print starts on Monday at 08:00 and lasts some hours, in a cell that keeps UTC."""
    cell = replace(small_cell(), timezone="UTC")
    start = MONDAY + timedelta(hours=8)
    task = Task(TaskKind.PRINT, "B1", (1,), start, start + timedelta(hours=hours))
    build = SimpleNamespace(key="B1", nest=SimpleNamespace(height_mm=height_mm))
    return build, cell.machines[0], Schedule(MONDAY, (task,), "by hand", True), cell


def test_an_end_in_the_shift_is_said_and_left_alone():
    build, machine, schedule, cell = printed(6)
    found = ending(build, machine, schedule, SHIFTS)
    assert found.is_staffed
    assert ending_words(found, MONDAY, cell) == "on the calendar its print ends Mon 14:00, while somebody is there"
    assert target_mm(build, found) is None


def test_an_hour_too_long_is_told_in_millimetres():
    """18:00 is an hour after the shift: an hour of recoating is what has to go, in whole layers."""
    build, machine, schedule, cell = printed(10)
    found = ending(build, machine, schedule, SHIFTS)
    assert found.lower_mm == pytest.approx(3600 / seconds_per_mm(machine), abs=machine.layer_mm)
    assert found.lower_end <= MONDAY + timedelta(hours=17)
    assert found.waits == timedelta(hours=13)
    assert ending_words(found, MONDAY, cell) == (
        "on the calendar its print ends Mon 18:00, 13 h 00 min before somebody comes; "
        f"{found.lower_mm:.0f} mm lower it would end Mon {found.lower_end:%H:%M}"
    )


def test_what_would_cost_half_the_build_is_not_proposed():
    """Ten hours too long in a low build: only the wait is said."""
    build, machine, schedule, cell = printed(19, height_mm=20.0)
    found = ending(build, machine, schedule, SHIFTS)
    assert found.lower_mm is None
    assert "lower" not in ending_words(found, MONDAY, cell)


def test_a_lower_nest_is_only_looked_for_when_it_is_close():
    """A few minutes are worth a second search, an hour of a low build is not."""
    near, machine, schedule, _ = printed(9 + 5 / 60)
    close = ending(near, machine, schedule, SHIFTS)
    assert target_mm(near, close) == pytest.approx(200.0 - close.lower_mm)
    far, machine, schedule, _ = printed(10, height_mm=60.0)
    assert target_mm(far, ending(far, machine, schedule, SHIFTS)) is None


def test_a_friday_night_waits_until_monday_when_no_more_shift_is_known():
    build, machine, schedule, cell = printed(24 * 5)
    found = ending(build, machine, schedule, SHIFTS)
    assert found.next_shift is None
    assert ending_words(found, MONDAY, cell).startswith(
        "on the calendar its print ends Sat 08:00, when nobody is there"
    )


def test_every_build_says_how_its_print_ends(caged_week):
    assert "on the calendar its print ends" in caged_week.builds[0].reason


def test_a_build_is_nested_lower_where_that_can_be(caged_week):
    """Under its own height everything stands again, with the reason; under 8 mm nothing is forced."""
    plan, build = caged_week, caged_week.builds[0]
    lines = list(plan.orders.lines)

    def at_most(height):
        lower, cages = _nested_lower(
            build, height, lines, plan.parts, plan.part_of_line, plan.cell, effort_in_steps(3), 1, Cages()
        )
        assert bool(cages) == bool(lower)  # one line stands in a cage
        return lower

    again = at_most(build.nest.height_mm)
    assert again is not None
    assert again.nest.height_mm <= build.nest.height_mm
    assert again.pieces == build.pieces
    assert again.verification.is_clear
    assert "ends in the shift" in again.reason
    assert at_most(8.0) is None  # lower than a cube


def test_a_lower_nest_that_is_thrown_away_changes_no_cage(caged_week, monkeypatch):
    """A trial that leaves a piece out has put a flatter cage under the same name; the one that stands stays."""
    plan, build = caged_week, caged_week.builds[0]
    (name,) = (key for key in plan.parts if "-cage-" in key)
    cages = Cages({name: plan.parts[name]})

    def flatter(batch, *_, cages, **__):
        cages.parts[name] = plan.parts["L02"]
        return replace(build.nest, left_out=(LeftOut("L01-01", 1, "chamber is full"),))

    monkeypatch.setattr("cakewright.app.lower_builds.nest_batch", flatter)
    monkeypatch.setattr("cakewright.app.lower_builds.target_mm", lambda *_: 50.0)
    same = lowered(
        plan.builds, plan.schedule, plan.orders.lines, plan.parts, plan.part_of_line, plan.cell,
        effort=effort_in_steps(1), seed=1, cages=cages,
    )  # fmt: skip
    assert same == plan.builds
    assert cages.parts[name] is plan.parts[name]
