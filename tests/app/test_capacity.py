"""More of anything never makes the same builds later; less virgin powder is cheaper; failures empty builds."""

from dataclasses import replace

import pytest

from cakewright.app.capacity import ask_capacity, use_plots
from cakewright.model.cell import FailureHistory
from cakewright.stopping import MaxSteps
from tests.app.running import running_week


@pytest.fixture(scope="module")
def plan():
    return running_week()


def test_more_capacity_never_hurts(plan):
    """Lateness does not grow; another machine packs the last line earlier; a lower ratio is cheaper."""
    now, machine, chambers, shift, ratio = ask_capacity(plan, stop=lambda: MaxSteps(30))
    assert all(o.weighted_late_h <= now.weighted_late_h for o in (machine, chambers, shift, ratio))
    assert machine.last_ready < now.last_ready and machine.kg_per_week > now.kg_per_week
    assert ratio.cost < now.cost and machine.cost == now.cost


def test_frequent_failures_empty_the_build(plan):
    """With a bad record the cheapest use lies below full; with a good one it is full."""
    bad = replace(plan, cell=replace(plan.cell, failures=FailureHistory(30, 60)))
    worst = use_plots(bad)[-1]
    assert worst.best < 1 and worst.best_cost < worst.full_cost
    assert use_plots(plan)[0].best == 1.0
