"""The loop over weeks: advice, stock, melt flow, climate, changeover, health."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.errors import InputError
from cakewright.powder.advice import ClassLoad, Loop, balance_advice, one_step
from cakewright.powder.balance import break_even_refresh, density_for_refresh
from cakewright.powder.changeover import CHECKLIST, Change, campaign, change_pays
from cakewright.powder.climate import check_opening, dew_point_c
from cakewright.powder.flow import (
    FlowState,
    after_builds,
    believe,
    fit_loss_per_build,
    measured,
    mixed,
    surprise,
)
from cakewright.powder.health import MonthAccount, SieveRun, check_cloth, check_month, check_sieve_run
from cakewright.powder.stock import Delivery, WeekDemand, project_stock, reorder_point

HALF = Loop(parts_kg_per_week=6, packing_density=0.08,
            classes=(ClassLoad("draft", 0.3, 0.25), ClassLoad("fine", 0.5, 0.75)), sintered_density_g_cm3=0.95,
            bed_density_g_cm3=0.47, loss_fraction=0.04, overflow_fraction=0.15, virgin_price_per_kg=58,
            disposal_price_per_kg=2)  # fmt: skip


def test_a_loop_balances():
    """Virgin in = parts + losses + what the drum gains."""
    unsintered = HALF.charge_kg - HALF.parts_kg_per_week
    assert HALF.virgin_kg == pytest.approx(6 + 0.04 * unsintered + HALF.surplus_kg)
    assert HALF.refresh_ratio == pytest.approx(0.45)


def test_a_loop_agrees_with_the_closed_forms():
    """Without dead powder break-even and level density are those of the balance; with it both rise with the charge."""
    powder = {"sintered_density_g_cm3": 0.95, "bed_density_g_cm3": 0.47, "loss_fraction": 0.04,
              "overflow_fraction": 0.15}  # fmt: skip
    assert HALF.break_even == pytest.approx(break_even_refresh(packing_density=0.08, **powder))
    assert HALF.level_density == pytest.approx(density_for_refresh(refresh_ratio=0.45, **powder))
    full = replace(HALF, dead_kg_per_week=2)
    assert full.charge_kg == pytest.approx(HALF.charge_kg + 2)
    assert full.break_even < HALF.break_even
    level = replace(full, packing_density=full.level_density)
    assert level.surplus_kg == pytest.approx(0, abs=1e-9)


@given(density=st.floats(0.03, 0.3), ratio=st.floats(0.1, 0.9))
def test_each_lever_levels_the_drum_when_it_can(density, ratio):
    """At the advised density or ratio the used drum neither grows nor shrinks."""
    loop = replace(HALF, packing_density=density, classes=(ClassLoad("all", ratio, 1.0),))
    advice = balance_advice(loop)
    assert bool(advice) == (loop.surplus_kg > 1e-9)
    for lever in advice:
        if lever.needed is not None:
            assert loop.surplus_kg + lever.surplus_change_kg == pytest.approx(0, abs=1e-6 * loop.charge_kg)
        assert lever.money_change <= 1e-9


def test_three_levers_in_kg_and_money():
    """Density, ratio and class mix are each named with their effect; the mix alone cannot do it here."""
    advice = {a.lever: a for a in balance_advice(HALF)}
    assert set(advice) == {"density", "ratio", "more draft, less fine"}
    assert advice["more draft, less fine"].needed is None
    assert "cannot level the drum" in advice["more draft, less fine"].text
    assert advice["ratio"].needed == pytest.approx(HALF.break_even)
    saved = advice["ratio"].virgin_change_kg * 58 - HALF.surplus_kg * 2
    assert advice["ratio"].money_change == pytest.approx(saved)
    denser, leaner = one_step(HALF)
    assert denser.surplus_change_kg < 0
    assert leaner.virgin_change_kg == pytest.approx(-0.01 * HALF.charge_kg)


WEEKS = [WeekDemand(30, 0, 0.4, 0.2)] * 8


def test_stock_without_spread_is_a_straight_line():
    """30 kg a week at 40 %: virgin -12, used +6 each week; 50 kg last four weeks, so order by week 2."""
    p = project_stock(virgin_kg=50, used_kg=100, weeks=WEEKS, rng=np.random.default_rng(1), lead_weeks=2, runs=3,
                      used_capacity_kg=120)  # fmt: skip
    assert p.virgin_kg[1] == pytest.approx([38, 26, 14, 2, -10, -22, -34, -46])
    assert p.used_kg[0] == pytest.approx([106, 112, 118, 124, 130, 136, 142, 148])
    assert (p.order_by_week, p.used_full_week, p.extra_virgin_kg) == (2, 3, 0)
    assert p.text() == "order virgin powder before week 3; used stock likely beyond its place in week 4"


def test_a_delivery_moves_the_order_date():
    """40 kg in week 3 carry on to the end but one."""
    p = project_stock(virgin_kg=50, used_kg=100, weeks=WEEKS, rng=np.random.default_rng(1), lead_weeks=2, runs=3,
                      deliveries=[Delivery(3, 40)])  # fmt: skip
    assert p.order_by_week == 5


def test_short_used_stock_is_replaced_by_virgin():
    """With no used powder at the start the first charge is all virgin."""
    p = project_stock(virgin_kg=100, used_kg=0, weeks=WEEKS[:1], rng=np.random.default_rng(1), lead_weeks=1, runs=1)
    assert p.virgin_kg[1, 0] == pytest.approx(70)
    assert p.extra_virgin_kg == pytest.approx(18)


def test_ranges_cover_what_happens():
    """The 10-90 % range of the simulated stock equals the normal one: mean -12 a week, sigma 0.4 x 5 x sqrt(n)."""
    weeks = [WeekDemand(30, 5, 0.4, 0.2)] * 4
    p = project_stock(virgin_kg=100, used_kg=500, weeks=weeks, rng=np.random.default_rng(7), lead_weeks=1, runs=20_000)
    expected = 100 - 48 + 0.4 * 5 * 2 * 1.2816 * np.array([-1, 0, 1])
    assert p.virgin_kg[:, 3] == pytest.approx(expected, abs=0.15)
    again = project_stock(virgin_kg=100, used_kg=500, weeks=weeks, rng=np.random.default_rng(7), lead_weeks=1,
                          runs=20_000)  # fmt: skip
    assert (again.virgin_kg == p.virgin_kg).all()


def test_reorder_point():
    """Ten a week with sigma 3 over four weeks at 95 %: 40 + 1.645 x 6; an uncertain lead time adds."""
    point = reorder_point(weekly_kg=10, weekly_sigma_kg=3, lead_weeks=4)
    assert point == pytest.approx(40 + 1.6449 * 6, abs=1e-3)
    assert reorder_point(weekly_kg=10, weekly_sigma_kg=3, lead_weeks=4, lead_sigma_weeks=1) > point
    with pytest.raises(InputError, match="safety of 1"):
        reorder_point(weekly_kg=10, weekly_sigma_kg=3, lead_weeks=4, safety=1.0)


def test_flow_belief_is_the_bayesian_one():
    """Prior 30 (20 %), reading 24 (10 %): precision-weighted mean of the logarithms, and a narrower interval."""
    prior = believe(30, 0.2)
    after = measured(prior, 24, 0.1)
    weight = 0.2**-2 / (0.2**-2 + 0.1**-2)
    assert after.log_mean == pytest.approx(weight * math.log(30) + (1 - weight) * math.log(24))
    assert after.log_variance == pytest.approx(1 / (0.2**-2 + 0.1**-2))
    low, high = after.interval(0.9)
    assert low < after.flow < high
    assert prior.interval(0.9)[0] < low
    assert surprise(prior, 15, 0.1) == pytest.approx(math.log(0.5) / math.hypot(0.2, 0.1))


def test_flow_interval_covers_as_often_as_it_says():
    """Over 4000 simulated cans the 90 % interval holds the true flow in 90 % (± 1.5 %)."""
    rng, held = np.random.default_rng(3), 0
    for _ in range(4000):
        truth = rng.normal(math.log(30), 0.15)
        state = measured(believe(30, 0.15), math.exp(truth + rng.normal(0, 0.08)), 0.08)
        truth += -3 * 0.12 + rng.normal(0, 0.05 * math.sqrt(3))
        low, high = after_builds(state, 3, 0.12, spread=0.05).interval(0.9)
        held += low <= math.exp(truth) <= high
    assert held / 4000 == pytest.approx(0.9, abs=0.015)


def test_mixing_beliefs():
    """Equal masses: mean of logarithms, half the variance; the chance of a limit follows."""
    mix = mixed([(believe(50, 0.1), 5), (believe(20, 0.1), 5)])
    assert mix.flow == pytest.approx(math.sqrt(1000))
    assert mix.log_variance == pytest.approx(0.005)
    assert mix.chance_at_least(mix.flow) == pytest.approx(0.5)
    assert FlowState(math.log(30), 0.0).chance_at_least(31) == 0.0


def test_loss_per_build_is_fitted():
    """Exact decay is found exactly; two points are not enough."""
    loss, error = fit_loss_per_build([(n, 50 * math.exp(-0.12 * n)) for n in range(4)])
    assert (loss, error) == (pytest.approx(0.12), pytest.approx(0, abs=1e-9))
    with pytest.raises(InputError, match="2 measurements"):
        fit_loss_per_build([(0, 50), (1, 45)])


def test_dew_point_stops_a_cold_drum():
    """25 °C and 50 % have a dew point of 13.9 °C: a drum at 15 °C stays shut, at 18 °C it may be opened."""
    assert dew_point_c(25, 0.5) == pytest.approx(13.9, abs=0.1)
    assert dew_point_c(20, 1.0) == pytest.approx(20)
    cold = check_opening("D1", powder_c=15, room_c=25, relative_humidity=0.5)
    assert cold is not None
    assert "16.9" in cold.remedy
    assert check_opening("D1", powder_c=18, room_c=25, relative_humidity=0.5) is None
    with pytest.raises(InputError, match="humidity of 50"):
        dew_point_c(25, 50)


CHANGE = Change(machine_rate_per_h=14, staffed_h=6, hands_per_h=52, purge_kg=3, virgin_price_per_kg=66)


def test_campaign_balances_changes_and_waiting():
    """At the best campaign both prices are equal, and any other length costs more."""
    best = campaign(CHANGE, demand_h_per_week=40, waiting_price_per_h_week=2)
    assert best.change_price_per_week == pytest.approx(best.waiting_price_per_week)
    for hours in (0.7 * best.hours, 1.4 * best.hours):
        assert CHANGE.price * 40 / hours + 2 * hours / 2 > best.change_price_per_week + best.waiting_price_per_week


def test_when_a_change_pays():
    """A change there and back for 500 of waiting work does not pay, for 5000 it does."""
    assert CHANGE.price == pytest.approx(24 * 14 + 6 * 52 + 3 * 66)
    assert change_pays(CHANGE, waiting_value=500)[0] is False
    assert change_pays(CHANGE, waiting_value=5000) == (True, pytest.approx(5000 - 2 * CHANGE.price))
    assert any("Purge" in step for step in CHECKLIST)


def runs(*ratios):
    return [SieveRun(f"S{i}", 20, 20 * (1 - r), 20 * r, "T1") for i, r in enumerate(ratios)]


def test_oversize_that_doubles_is_a_signal_and_so_is_a_torn_cloth():
    """Twice the usual oversize points to the bed, a tenth of it to a torn cloth; the usual is quiet."""
    past = runs(0.020, 0.021, 0.019, 0.022, 0.020, 0.018)
    assert [f.code for f in check_sieve_run(runs(0.045)[0], past)] == ["powder.oversize-high"]
    assert [f.code for f in check_sieve_run(runs(0.002)[0], past)] == ["powder.oversize-low"]
    assert check_sieve_run(runs(0.021)[0], past) == ()
    lost = SieveRun("S9", 20, 18.0, 0.4, "T1")
    assert [f.code for f in check_sieve_run(lost, past)] == ["powder.sieve-gap"]
    worn = check_cloth("T1", past, life_kg=100)
    assert worn is not None
    assert "120 kg sieved" in worn.message
    assert check_cloth("T2", past, life_kg=100) is None


def test_month_closes_or_says_what_is_missing():
    """100 + 50 in, 20 shipped, 2 scrap, 10 waste, 117 left: 1 kg of 33 is beyond 2 %."""
    month = MonthAccount(100, 50, 20, 2, 10, 117)
    found = check_month(month)
    assert found is not None
    assert "+1.00 kg not explained of 33.0 kg" in found.message
    assert check_month(replace(month, closing_kg=117.6)) is None
    assert month.waste_per_shipped == pytest.approx(0.6)
