"""Services by printed hours and benches cleaned between powders, in the exact solver, against every order there is."""

from dataclasses import replace
from itertools import pairwise, permutations, product

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cakewright.model.cell import Person, Shift
from cakewright.model.plan import TaskKind
from cakewright.schedule.cpsat import Effort, cost_of, lateness_of, solve
from cakewright.schedule.cpsat_base import free_all, free_with
from cakewright.schedule.dispatch import Orders, dispatch
from cakewright.schedule.plan_schedule import judged, plan_schedule
from cakewright.schedule.pools import make_pools
from cakewright.stopping import MaxSteps
from tests.schedule.test_limits import two_materials
from tests.schedule.worlds import ALL_SKILLS, MONDAY, build, cell, line

DAY_AND_NIGHT = Shift((0, 1, 2, 3, 4, 5, 6), MONDAY.time().replace(hour=0), MONDAY.time().replace(hour=0))


CREW = tuple(Person(name, ALL_SKILLS, (DAY_AND_NIGHT,)) for name in ("Ada", "Bo", "Cy"))  # hands are never short


def serviced(world, every=30.0, run=12.0):
    """Every machine is serviced for four hours before `every` printed hours have passed."""
    machines = tuple(
        replace(m, service_every_h=every, service_min=240, hours_since_service=run) for m in world.machines
    )
    return replace(world, machines=machines)


def whole(world, builds, lines, units=20.0):
    """(instance, schedule of the dispatch, answer of the exact solver with everything free), the answer judged."""
    decoder, orders = dispatch(world, builds, lines, MONDAY)
    instance = decoder.instance
    placed = type(decoder.placed)(*(x.copy() for x in decoder.schedule(orders)))
    span = (0, instance.horizon_min)
    answer = solve(instance, make_pools(instance), placed, free_all(instance), span, Effort(units), lateness_first=True)
    judged(world, builds, lines, instance, answer.placed, "exact", ())
    return decoder, placed, answer


def least_of_all_orders(decoder):
    """Least weighted lateness over every order of builds and every choice of machines."""
    a = decoder.instance.arrays
    n = len(a.load)
    choices = list(product(*(np.flatnonzero(a.printing[b]) for b in range(n))))
    lines = np.arange(len(a.due), dtype=np.int64)
    return min(
        lateness_of(
            decoder.instance,
            decoder.schedule(Orders(np.array(order, dtype=np.int64), np.array(on, dtype=np.int64), lines)),
        )
        for order in permutations(range(n))
        for on in choices
    )


@pytest.mark.parametrize("machines", [1, 2])
def test_services_are_in_the_proof(machines):
    """Four builds, a service every 30 printed hours: the proof is the best of all orders and machines."""
    names = tuple(f"M{i + 1}" for i in range(machines))
    builds = [build(f"B{i}", hours=9 + 4 * i, cool_h=2, machines=names) for i in range(4)]
    lines = [line(i, [f"B{i}"], 1.2 + 0.4 * (3 - i)) for i in range(4)]
    decoder, _, answer = whole(serviced(cell(machines, 4, CREW)), builds, lines)
    assert answer.proved and answer.bound == answer.lateness == least_of_all_orders(decoder) > 0


def test_a_service_forgotten_would_be_seen():
    """The same cell without services is less late: the solver has not left them out."""
    builds = [build(f"B{i}", hours=14, cool_h=2) for i in range(4)]
    lines = [line(i, [f"B{i}"], 1) for i in range(4)]
    with_them = whole(serviced(cell(1, 4, CREW)), builds, lines)[2]
    without = whole(cell(1, 4, CREW), builds, lines)[2]
    assert with_them.proved and without.proved and with_them.lateness > without.lateness


def test_clean_down_is_in_the_proof():
    """Two powders over one bench: the proof is the best of all orders, and it is cleaned where powders change."""
    world = two_materials()
    machines = tuple(replace(m, changeover_min=60) for m in world.machines)
    world = replace(world, machines=machines, people=CREW)
    builds = [build(f"B{i}", hours=4 + i, cool_h=3, material=("PA12", "PA11")[i % 2]) for i in range(4)]
    lines = [line(i, [f"B{i}"], 0.4 + 0.2 * i) for i in range(4)]
    decoder, _, answer = whole(world, builds, lines)
    assert answer.proved and answer.lateness == least_of_all_orders(decoder) > 0
    schedule, _ = plan_schedule(
        world, builds, lines, start=MONDAY, stop=MaxSteps(0), seed=1, exact=MaxSteps(1)
    )  # fmt: skip
    unpacked = sorted((t for t in schedule.tasks if t.kind is TaskKind.UNPACK), key=lambda t: t.start)
    powder = {b.key: b.material for b in builds}
    changes = sum(powder[x.build] != powder[y.build] for x, y in pairwise(unpacked))
    assert sum(t.kind is TaskKind.CLEAN_DOWN for t in schedule.tasks) == changes > 0


@st.composite
def tiny(draw):
    """Three to five builds of two powders, services and clean-down, one or two machines, somebody always in."""
    world = serviced(two_materials(), draw(st.sampled_from([20.0, 30.0])), draw(st.sampled_from([0.0, 12.0])))
    machines = tuple(replace(m, changeover_min=draw(st.sampled_from([0, 300]))) for m in world.machines)
    if draw(st.booleans()):
        machines = (*machines, replace(machines[0], name="M2"))
    world = replace(world, machines=machines, people=CREW)
    names = tuple(m.name for m in machines)
    n = draw(st.integers(3, 4))
    builds = [
        build(f"B{i}", draw(st.integers(3, 24)), draw(st.integers(1, 8)), names,
              material=draw(st.sampled_from(["PA12", "PA11"])))
        for i in range(n)
    ]  # fmt: skip
    return world, builds, [line(i, [f"B{i}"], draw(st.integers(0, 3))) for i in range(n)]


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(tiny())
def test_no_order_is_better_than_what_is_proved(world):
    """Random tiny cells: judged, proved, and no later than the best order on the best machines.

    It may be earlier: the decoder starts everything as soon as it can, in one order of the lines, and waiting can pay.
    """
    place, builds, lines = world
    decoder, placed, answer = whole(place, builds, lines, units=6.0)
    assert answer.proved and answer.lateness <= least_of_all_orders(decoder)
    instance, pools = decoder.instance, make_pools(decoder.instance)
    for b in range(len(builds)):  # one build at a time among others that stay: the rules hold just as well
        free = free_with(instance, [b])
        part = solve(instance, pools, placed, free, (0, instance.horizon_min), Effort(1.0))
        judged(place, builds, lines, instance, part.placed, "exact", ())
        assert part.cost <= cost_of(instance, placed)
