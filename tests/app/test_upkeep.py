"""Upkeep by what was really printed, and the build that would cross the limit."""

from dataclasses import replace
from datetime import timedelta

import pytest

from cakewright.app import authority, run_build, upkeep
from cakewright.app.learnt_cell import as_recorded
from cakewright.app.release_points import Look, release_points
from cakewright.app.upkeep import Unit
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind
from tests.app.floor_worlds import NOW

WINDOW = "window cleaned"


def rule(store, plan, every, unit, already=0.0, what=WINDOW):
    upkeep.enter_rule(store, plan, machine="A1", what=what, every=every, unit=unit, already=already, by="Mira", at=NOW)


def printed(store, build, hours=9.0, plan=1, begin=NOW):
    store.schedule.note_progress(plan=plan, kind=TaskKind.PRINT, build=build, started=begin, at=begin, by="Jon")
    end = begin + timedelta(hours=hours)
    store.schedule.note_progress(
        plan=plan, kind=TaskKind.PRINT, build=build, started=begin, ended=end, at=end, by="Jon"
    )


@pytest.mark.parametrize(
    ("unit", "every", "first"),
    [
        ("hours", 10.0, "B2"),
        ("layers", 1500, "B2"),
        ("kg", 10.0, "B2"),
        ("builds", 1, "B2"),
        ("days", 3.9, "B2"),
        ("kg", 6.0, "B1"),
    ],
)
def test_the_build_that_would_cross_is_named(store, plan, unit, every, first):
    """1350 and 580 layers, 6.4 kg each, 8.96 and 4.89 h: two planned builds against each kind of limit."""
    rule(store, plan, every, unit)
    (due,) = upkeep.upkeep(store, plan, NOW)
    assert due.crossing == first
    assert f"{due.crossing} would cross the limit" in due.words


def test_what_was_printed_counts_and_service_begins_again(store, plan):
    """The noted hours of B1, not the planned ones; after the service nothing has run."""
    rule(store, plan, 100, "hours", already=80.0)
    printed(store, "B1", hours=12.0)
    (due,) = upkeep.upkeep(store, plan, NOW + timedelta(days=1))
    assert due.used == pytest.approx(92.0)
    assert due.is_soon
    upkeep.note_service(store, plan, machine="A1", what=WINDOW, by="Dev", at=NOW + timedelta(days=1), before="28 W",
                        after="31 W")  # fmt: skip
    (due,) = upkeep.upkeep(store, plan, NOW + timedelta(days=1))
    assert (due.used, due.is_soon) == (0.0, False)
    assert due.last.data["after"] == "31 W"


def test_a_print_that_two_plans_hold_counts_once(store, plan):
    """Planned again, the same print stands in both versions."""
    rule(store, plan, 100, "hours")
    store.save_plan(replace(plan, seed=2), made_by="Mira", at=NOW)
    printed(store, "B1")
    printed(store, "B1", plan=2)
    assert upkeep.upkeep(store, plan, NOW)[0].used == pytest.approx(9.0)
    assert len(store.schedule.printed()) == 1


def test_over_the_limit_no_build_is_released_until_done_or_postponed(store, plan):
    """The reason stands at the release; postponing asks for a reason and an amount."""
    rule(store, plan, 10, "hours", already=11.0)
    build = plan.build("B1")
    with pytest.raises(InputError, match="A1, window cleaned: 11 of 10 h printed: 1 over"):
        run_build.release(store, plan, build, by="Jon", at=NOW)
    with pytest.raises(InputError, match="without a reason"):
        upkeep.postpone(store, plan, machine="A1", what=WINDOW, more=20, reason=" ", by="Jon", at=NOW)
    upkeep.postpone(store, plan, machine="A1", what=WINDOW, more=20, reason="part comes Friday", by="Jon", at=NOW)
    run_build.release(store, plan, build, by="Jon", at=NOW)
    points = {p.what: p for p in release_points(store, plan, build, NOW)}
    assert points["upkeep of the machine"].state is not Look.BLOCKED


def test_the_service_of_the_cell_file_is_there_and_the_next_plan_counts_from_the_note(store, plan):
    """480 of 500 h when the plan starts; noted as done, the next calendar starts from what ran since."""
    machines = tuple(replace(m, service_every_h=500.0, hours_since_service=480.0) for m in plan.cell.machines)
    plan = replace(plan, cell=replace(plan.cell, machines=machines))
    (due,) = upkeep.upkeep(store, plan, NOW)
    assert (due.rule.what, due.rule.unit, due.used) == ("service", Unit.HOURS, 480.0)
    assert as_recorded(plan.cell, store).machines[0].hours_since_service == 480.0
    upkeep.note_service(store, plan, machine="A1", what="service", by="Dev", at=NOW)
    printed(store, "B1", hours=7.0, begin=NOW + timedelta(hours=1))
    assert as_recorded(plan.cell, store).machines[0].hours_since_service == pytest.approx(7.0)


def test_who_may_service_and_what_is_known(store, plan):
    """Authority, machine, upkeep and unit are checked, each with what would be right."""
    rule(store, plan, 10, "kg of powder")
    authority.grant(store, plan, person="Dev", step="service", until="", note="", by="Mira", at=NOW)
    with pytest.raises(InputError, match="Jon is not entered"):
        upkeep.note_service(store, plan, machine="A1", what=WINDOW, by="Jon", at=NOW)
    with pytest.raises(InputError, match="no machine 'Z9'"):
        upkeep.note_service(store, plan, machine="Z9", what=WINDOW, by="Dev", at=NOW)
    with pytest.raises(InputError, match="known: window cleaned"):
        upkeep.note_service(store, plan, machine="A1", what="belts", by="Dev", at=NOW)
    with pytest.raises(InputError, match="no way to count"):
        rule(store, plan, 10, "moons")
    with pytest.raises(InputError, match="above zero"):
        rule(store, plan, 0, "hours")
