"""Quote, rush, overmake, capacity, energy, requirements, actuals."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.cost.actuals import LineActual, by_family, lost_hours, promise_hit_rate
from cakewright.cost.capacity import Scenario, chamber_limit, compare_capacity
from cakewright.cost.energy import Utilities
from cakewright.cost.envelope import net_envelopes
from cakewright.cost.overmake import cheapest_to_start, enough_chance, pieces_to_start
from cakewright.cost.quote import TypicalBuild, quote_line
from cakewright.cost.requirements import REQUIREMENTS, check_complete
from cakewright.cost.rush import RushEffect, rush_surcharge
from cakewright.cost.use import Salvage, UseLaw, hazard_of
from cakewright.errors import InputError
from tests.cost.test_lines import CHARGE, SMALL

TYPICAL = TypicalBuild(usable_mm3=13.7e6, height_mm=300, print_hours=19, machine_rate_per_h=9, hands_per_h=48,
                       build_min=90, powder=CHARGE, virgin_price_per_kg=65, failure_probability=0.05,
                       envelope_fill=(0.3, 0.5, 0.6), solid_mm3=1.1e6)  # fmt: skip


def test_a_quote_is_a_range_and_the_fuller_build_is_cheaper():
    """Low, likely, high price in whole units; the poorly filled build costs most."""
    quote = quote_line(SMALL, TYPICAL, margin=0.3)
    low, likely, high = quote.price
    assert low < likely < high
    assert likely == likely.to_integral_value()
    assert float(likely) >= quote.cost[1].total * 1.3
    assert quote_line(SMALL, TYPICAL, margin=0.3, minimum=Decimal(900)).price[0] == 900


def test_a_line_larger_than_a_build_pays_for_several():
    """Ten times the pieces cost close to ten times the machine, and the number of builds is said."""
    ten = replace(SMALL, pieces=4000, solid_mm3=8e6, envelope_mm3=36e6)
    one, many = quote_line(SMALL, TYPICAL, margin=0), quote_line(ten, TYPICAL, margin=0)
    assert many.builds == pytest.approx(36e6 / 6.85e6)
    assert many.cost[1].machine == pytest.approx(9 * 19 * many.builds, rel=1e-6)
    assert one.cost[1].machine < 9 * 19


def test_rush_pays_for_what_others_lose():
    """Two lines lose chance, one gains: the gain pays nothing back."""
    effects = [
        RushEffect(3, 0.95, 0.70, Decimal(400)),
        RushEffect(5, 0.90, 0.88, Decimal(50)),
        RushEffect(8, 0.60, 0.80, Decimal(900)),
    ]
    price = rush_surcharge(effects, extra_work=Decimal("20.50"))
    assert price.losses == ((3, Decimal("100.00")), (5, Decimal("1.00")))
    assert price.surcharge == 122
    assert rush_surcharge([]).surcharge == 0
    with pytest.raises(InputError, match="on-time chance"):
        RushEffect(1, 1.2, 0.5, Decimal(1))


@given(q=st.integers(1, 60), y=st.floats(0.5, 1.0), c=st.floats(0.5, 0.99))
def test_overmake_is_the_least_that_suffices(q, y, c):
    """One piece fewer would not reach the confidence."""
    n = pieces_to_start(q, y, c)
    assert enough_chance(n, q, y) >= c
    assert n == q or enough_chance(n - 1, q, y) < c


def test_dear_shortage_starts_more():
    """When coming up short costs little none is added; when it costs much, more than the 95 % rule."""
    assert cheapest_to_start(50, 0.97, piece_price=10, short_price=5) == 50
    assert cheapest_to_start(50, 0.97, piece_price=1, short_price=500) > pieces_to_start(50, 0.97)


def test_full_is_best_when_nothing_fails():
    """Without failures a fuller build is always cheaper per part."""
    law = UseLaw(fixed=50, full=500, hazard=0.0)
    assert law.best_use() == 1.0
    assert law.unit_cost(0.5) > law.unit_cost(1.0)


def test_capacity_table():
    """Chambers relieve late lines at a price per extra kilogram; the row that is better in all is marked."""
    rows = compare_capacity(
        Scenario("as it is", 20, 6, 4000),
        [Scenario("two more chambers", 26, 2, 4300), Scenario("second shift", 20, 5, 4800),
         Scenario("ratio 40 -> 30 %", 20, 6, 3800)],
    )  # fmt: skip
    assert [r.name for r in rows] == ["as it is", "two more chambers", "ratio 40 -> 30 %", "second shift"]
    assert rows[1].cost_per_extra_kg == pytest.approx(50)
    assert rows[3].cost_per_extra_kg is None
    assert [r.is_better_everywhere for r in rows] == [False, False, True, False]
    with pytest.raises(InputError, match="ships 0 kg"):
        compare_capacity(Scenario("empty", 0, 0, 1), [])


def test_chambers_limit_machines():
    """Three machines, four chambers, 41 h print and 43 h occupied: 65 %; one machine with two: 98 %."""
    assert chamber_limit(machines=3, chambers=4, print_h=41, occupied_h=43) == pytest.approx(0.65, abs=0.005)
    assert chamber_limit(machines=1, chambers=2, print_h=41, occupied_h=43) == pytest.approx(0.98, abs=0.005)


def test_energy_per_kilogram_falls_as_the_bed_fills():
    """Per kilogram it falls, per build it rises only slightly."""
    u = Utilities(printing_kw=4, warm_up_kwh=8, per_kg_kwh=0.3, gas_m3_per_h=3, kwh_price=0.3, gas_price_per_m3=0.1)
    sparse, full = u.kwh(19, 0.5), u.kwh(19, 2.5)
    assert sparse / 0.5 > full / 2.5
    assert full / sparse < 1.02
    assert u.price(19, 0.5) == pytest.approx(sparse * 0.3 + 5.7)


def test_a_hollow_is_given_back():
    """2 L of other parts inside the duct are paid by those parts; the duct keeps at least its solid."""
    net = net_envelopes({1: 2e6, 2: 6.7e6}, {1: 1e6, 2: 285e3}, [(2, 1, 2e6)])
    assert net == {1: 2e6, 2: 4.7e6}
    assert net_envelopes({1: 9e6, 2: 6.7e6}, {1: 1e6, 2: 285e3}, [(2, 1, 9e6)])[2] == 285e3
    with pytest.raises(InputError, match="line 3 has no envelope"):
        net_envelopes({1: 1.0}, {1: 1.0}, [(3, 1, 1.0)])


def test_missing_requirements_become_questions():
    """What is not settled is asked, weightiest first; defaults of the customer count as settled."""
    done = check_complete({r.key for r in REQUIREMENTS})
    assert (done.score, done.questions) == (1.0, ())
    half = check_complete({"geometry", "quantity"}, defaults={"packing"})
    assert 0 < half.score < 1
    assert half.questions[0].startswith("By which day")
    with pytest.raises(InputError, match="'colour' is no requirement"):
        check_complete({"colour"})


def line(n, family, cost, price):
    return LineActual(n, family, 10, 1, 1, 0.1, 0.1, 5, 5, 0, cost, price)


def test_families_that_always_lose():
    """Three losing duct lines are named; the clips earn."""
    ducts = [line(i, "duct", 120, 100) for i in range(3)]
    worst, best = by_family([*ducts, line(9, "clip", 50, 80)])
    assert (worst.family, worst.margin, worst.always_loses) == ("duct", -60, True)
    assert not best.always_loses


def test_lost_hours_add_up_to_the_calendar():
    """What nobody wrote down is listed as such; more hours than there are is refused."""
    found = lost_hours([("printing", 100), ("waiting for a person", 20), ("printing", 10)], machines=1, days=7)
    assert sum(h for _, h in found.reasons) == pytest.approx(168)
    assert dict(found.reasons)["not recorded"] == pytest.approx(38)
    assert found.printing_share == pytest.approx(110 / 168)
    with pytest.raises(InputError, match="counted twice"):
        lost_hours([("printing", 200)], machines=1, days=7)


def test_promises_against_what_was_kept():
    """Of ten promises at 90 % nine were kept."""
    rate = promise_hit_rate([(0.9, k > 0) for k in range(10)] + [(0.3, False)])
    assert rate[-1] == (pytest.approx(0.9), pytest.approx(0.9), 10)
    assert rate[0] == (pytest.approx(0.3), 0.0, 1)


def test_hazard_and_salvage():
    """A cell that keeps what is complete below the stop can fill its builds further."""
    law = UseLaw(fixed=30, full=600, hazard=hazard_of(0.2))
    assert law.best_use() < replace(law, salvage=Salvage.BELOW).best_use() <= 1.0
    with pytest.raises(InputError, match="failure probability 1"):
        hazard_of(1.0)
