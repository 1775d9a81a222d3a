"""What if: the question changes one thing, the answer says who loses and who gains, and nothing is kept."""

from datetime import timedelta

import pytest

from cakewright.app.what_if import MachineDown, MoreChambers, NightShift, RushOrder, what_if
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind
from tests.app.running import MONDAY, running_week

HOUR = timedelta(hours=1)
NOW = MONDAY + timedelta(minutes=1)


@pytest.fixture(scope="module")
def plan():
    return running_week()


def test_a_machine_down_makes_the_week_no_better(plan):
    """The machine is out for two days after its first print: the second build and its lines are later."""
    down = MachineDown(plan.cell.machines[0].name, NOW + 5 * HOUR, NOW + 53 * HOUR)
    answer = what_if(plan, down, now=NOW, runs=50)
    assert answer.losers and answer.after.last_ready > answer.before.last_ready
    assert answer.after.weighted_late_h >= answer.before.weighted_late_h
    assert answer.after.expected_late >= answer.before.expected_late - 1e-9
    prints = [t for t in answer.made.plan.schedule.tasks if t.kind is TaskKind.LOAD and t.start > NOW]
    assert all(t.start >= down.end for t in prints)


@pytest.mark.parametrize("change", [MoreChambers(), NightShift()])
def test_more_of_anything_never_hurts(plan, change):
    """With another chamber or a night shift the old plan is still possible, so lateness cannot grow."""
    answer = what_if(plan, change, now=NOW, runs=50)
    assert answer.after.weighted_late_h <= answer.before.weighted_late_h + 1e-9


def test_a_rush_order_says_who_loses_how_much(plan):
    """It is printed next on the only machine; lines behind it lose, and each loss is in the words too."""
    answer = what_if(plan, RushOrder(print_hours=20, pieces=4), now=NOW, runs=50)
    assert answer.rush_ready is not None
    assert answer.losers
    line, minutes = answer.losers[0]
    assert minutes > 0 and f"L{line:02d} is ready" in answer.made.difference.text
    assert answer.after.last_ready >= answer.before.last_ready


def test_a_line_made_urgent_is_not_later_than_before(plan):
    """Its own date does not get worse."""
    line = max(plan.promises, key=lambda p: p.ready).line
    answer = what_if(plan, RushOrder(line=line), now=NOW, runs=50)
    assert answer.rush_ready <= plan.promise(line).ready


def test_nothing_is_kept(plan):
    """Asking leaves the plan as it is."""
    tasks = plan.schedule.tasks
    what_if(plan, NightShift(), now=NOW, runs=20)
    assert plan.schedule.tasks is tasks and len(plan.cell.people) == 2


@pytest.mark.parametrize(
    "change",
    [
        MachineDown("nobody", NOW, NOW + HOUR),
        MachineDown("A1", NOW, NOW),
        MoreChambers(0),
        MoreChambers(1, "huge"),
        NightShift(0),
        RushOrder(line=99),
        RushOrder(print_hours=0),
        RushOrder(material="PA11"),
        RushOrder(finish="gold"),
    ],
)
def test_changes_that_cannot_be_meant_are_refused(plan, change):
    """Strange names and empty windows, each with a remedy."""
    with pytest.raises(InputError):
        what_if(plan, change, now=NOW, runs=10)
