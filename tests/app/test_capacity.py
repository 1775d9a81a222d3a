"""More of anything never makes the same builds later; less virgin powder is cheaper; failures empty builds."""

from dataclasses import replace
from datetime import time

import pytest

from cakewright.app.capacity import SECOND_SHIFT, ask_capacity, prices_of, set_ups, use_plots
from cakewright.app.capacity_prices import WeekPrices, paid_hours
from cakewright.errors import InputError
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


def test_an_addition_is_paid(plan):
    """A machine costs rate x 7884 h / 52.18 weeks, a shift 5 x 8 paid hours; a chamber is not guessed."""
    usual = prices_of(plan)
    assert usual.machine == pytest.approx(plan.cell.machine("A1").rate_per_h * 7884 * 7 / 365.25)
    assert usual.shift == pytest.approx(40 * plan.cell.rates.hands_per_h) and usual.chamber is None
    breaks = replace(SECOND_SHIFT, breaks=((time(18), time(18, 30)),), every_weeks=2)
    assert paid_hours(breaks) == pytest.approx(5 * 7.5 / 2)
    assert paid_hours(replace(SECOND_SHIFT, start=time(22), end=time(6))) == pytest.approx(40)
    with pytest.raises(InputError, match="zero or more"):
        WeekPrices(chamber=-1.0)


def test_gain_and_price_are_compared(plan):
    """Cost of a kilogram with it = (cost of the lines a week + its price) / kg a week; unknown stays unknown."""
    found = ask_capacity(plan, stop=lambda: MaxSteps(30))
    now, machine, chambers = found[:3]
    assert chambers.row is None and chambers.added_per_week is None
    assert machine.ships_more and not now.ships_more
    assert now.row.unit_cost == pytest.approx(now.cost / now.weeks / now.kg_per_week)
    weekly = machine.cost / machine.weeks + machine.added_per_week
    assert machine.row.unit_cost == pytest.approx(weekly / machine.kg_per_week)
    assert machine.row.cost_per_extra_kg == pytest.approx(
        (weekly - now.cost / now.weeks) / (machine.kg_per_week - now.kg_per_week)
    )
    asked = set_ups(plan, WeekPrices(machine=0.0, chamber=10.0, shift=0.0))
    assert [s.added_per_week for s in asked] == [0.0, 0.0, 20.0, 0.0, 0.0]
