"""The exact solver: never worse, proved where it says so, and its schedules can be carried out."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from cakewright.errors import InputError, NoCalendarError
from cakewright.model.plan import TaskKind
from cakewright.schedule.cpsat import Effort, cost_of, lateness_of, solve
from cakewright.schedule.cpsat_base import free_all
from cakewright.schedule.dispatch import Orders, dispatch
from cakewright.schedule.exact import polish
from cakewright.schedule.generator import made_cell
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.pools import make_pools, share_out
from cakewright.schedule.validate import validate
from cakewright.stopping import MaxSteps
from tests.schedule.test_random_cells import worlds
from tests.schedule.worlds import BLASTED, DYED, MONDAY, PLAIN, build, cell, line


def in_hand(world, builds, lines, start=MONDAY):
    decoder, orders = dispatch(world, builds, lines, start)
    return decoder, decoder.schedule(orders)


def test_five_builds_are_proved():
    """Two machines, three chambers, three finishes: the proof is as good as the best of all 120 orders, or better."""
    world = cell(machines=2, chambers=3)
    builds = [build(f"B{i}", hours=5 + 3 * i, machines=("M1", "M2")) for i in range(5)]
    lines = [line(i, [f"B{i}"], 0.5 + i / 3, finish=(PLAIN, BLASTED, DYED)[i % 3]) for i in range(5)]
    decoder, placed = in_hand(world, builds, lines)
    free, every = np.full(5, -1, dtype=np.int64), np.arange(5, dtype=np.int64)
    best = min(
        lateness_of(decoder.instance, decoder.schedule(Orders(np.array(order, dtype=np.int64), free, every)))
        for order in permutations(range(5))
    )
    answer = solve(
        decoder.instance, make_pools(decoder.instance), placed, free_all(decoder.instance),
        (0, decoder.instance.horizon_min), Effort(20), lateness_first=True,
    )  # fmt: skip
    assert answer.proved and answer.lateness <= best and answer.bound == answer.lateness


def test_ten_builds_are_proved_and_planned_again_the_same():
    """Same seed, same counted steps, one worker: the same schedule; the method says that it is proved."""
    made = made_cell(10, 1)
    plans = [
        plan_schedule(
            made.cell, made.builds, made.lines, start=made.start, stop=MaxSteps(300), seed=1, exact=MaxSteps(1)
        )
        for _ in range(2)
    ]
    assert plans[0][0].tasks == plans[1][0].tasks
    assert plans[0][0].method == "proved least lateness"
    assert any(note.startswith("proved") for note in plans[0][0].notes)


def test_parts_are_solved_when_the_whole_is_too_much():
    """40 builds: three exact solves of some builds after a short search gain something and break nothing."""
    made = made_cell(40, 1)
    decoder, placed = in_hand(made.cell, made.builds, made.lines, made.start)
    better = polish(decoder.instance, placed, MaxSteps(3), seed=1)
    assert cost_of(decoder.instance, better.placed) < cost_of(decoder.instance, placed)
    assert not better.proved and better.bound is None


def test_names_are_shared_out_only_when_there_are_enough():
    """Three spans, at most two at once: two names do, one does not."""
    assert share_out([(0, 5), (3, 8), (5, 9)], [7, 9]) == [7, 9, 7]
    with pytest.raises(Exception, match="more than 1"):
        share_out([(0, 5), (3, 8)], [7])


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(worlds())
def test_exact_schedules_can_be_carried_out(world):
    """Random cells with every rule: the judge finds nothing, and lateness does not grow."""
    place, builds, lines, start = world
    try:
        decoder, placed = in_hand(place, builds, lines, start.replace(second=0))
        schedule, _ = plan_schedule(
            place, builds, lines, start=start.replace(second=0), stop=MaxSteps(0), seed=3, exact=MaxSteps(1)
        )
    except NoCalendarError:
        return
    assert validate(place, builds, lines, schedule) == ()
    better = polish(decoder.instance, placed, MaxSteps(1), seed=3)
    assert lateness_of(decoder.instance, better.placed) <= lateness_of(decoder.instance, placed) + 1e-6


def test_a_kept_build_stays_while_the_rest_is_solved():
    """What has begun is a fact for the exact solver too."""
    made = made_cell(8, 2)
    first, _ = plan_schedule(made.cell, made.builds, made.lines, start=made.start, stop=MaxSteps(50), seed=1)
    loads = sorted((t for t in first.tasks if t.kind is TaskKind.LOAD), key=lambda t: t.start)
    now = loads[2].end
    facts = [t for t in first.tasks if t.start < now]
    again, _ = plan_schedule(
        made.cell, made.builds, made.lines, start=now, stop=MaxSteps(5), seed=1, frozen=facts, exact=MaxSteps(1)
    )
    assert set(facts) <= set(again.tasks)
    assert validate(made.cell, made.builds, made.lines, again, facts) == ()


def test_unknown_builds_are_refused_before_any_solve():
    with pytest.raises(InputError, match="B9"):
        plan_schedule(
            cell(), [build("B1")], [line(1, ["B9"])], start=MONDAY, stop=MaxSteps(1), seed=1, exact=MaxSteps(1)
        )
