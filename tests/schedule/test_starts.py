"""Searching from more than one start: never worse, taken apart by groups, repeatable."""

import numpy as np

from cakewright.schedule.cpsat import copy_placed, cost_of
from cakewright.schedule.dispatch import dispatch, dispatch_rules
from cakewright.schedule.exact import polish, rebooked
from cakewright.schedule.generator import made_cell
from cakewright.schedule.neighbourhood import families_of
from cakewright.schedule.plan_schedule import judged
from cakewright.schedule.pools import make_pools
from cakewright.schedule.starts import groups_of, improve_by_starts, mixed
from cakewright.stopping import Cancelled, Later, MaxSteps, used


def in_hand(builds=12, seed=1):
    made = made_cell(builds, seed)
    decoder, orders = dispatch(made.cell, made.builds, made.lines, made.start)
    return made, decoder, copy_placed(decoder.schedule(orders))


def test_small_and_large_chambers_are_two_groups():
    """Small builds share no machine and no chamber with large ones; within a size all are linked."""
    made, decoder, _ = in_hand()
    sizes = [{made.builds[b].chamber_type for b in group} for group in groups_of(decoder.instance)]
    assert sorted(sizes, key=sorted) == [{"large"}, {"small"}]
    families = families_of(decoder.instance)
    assert all(b in families[b] for b in range(len(made.builds)))


def test_each_group_comes_from_the_better_schedule():
    """Of two schedules, neither better everywhere, the mixed one costs hardly more than the better of the two."""
    _, decoder, one = in_hand(20, 3)
    instance, groups = decoder.instance, groups_of(decoder.instance)
    rules = dispatch_rules(instance)
    others = [copy_placed(decoder.schedule(rule)) for rule in rules]
    best = min([one, *others], key=lambda p: cost_of(instance, p))
    worst = max([one, *others], key=lambda p: cost_of(instance, p))
    assert cost_of(instance, mixed(decoder, groups, worst, best)) <= 1.05 * cost_of(instance, best)


def test_starts_are_counted_and_repeatable():
    """Twelve exact solves, over more than one start: no worse, and the same schedule again."""
    _, decoder, placed = in_hand()
    instance = decoder.instance
    found = [improve_by_starts(instance, make_pools(instance), placed, MaxSteps(12), seed=2) for _ in range(2)]
    assert found[0][1] == found[1][1] <= 13
    assert cost_of(instance, found[0][0]) <= cost_of(instance, placed)
    assert np.array_equal(found[0][0].at, found[1][0].at)


def test_a_search_that_is_cancelled_gives_back_what_it_has():
    """Cancelled before the first solve: the schedule comes back as it was, and nothing is claimed."""
    _, decoder, placed = in_hand(30, 2)
    better = polish(decoder.instance, placed, Cancelled(lambda: True), seed=1)
    assert np.array_equal(better.placed.at[:, :3], placed.at[:, :3]) and not better.proved


def test_two_threads_anneal_and_improve_side_by_side():
    """Thirty builds, two threads: less late than dispatch, and the independent validator finds no broken rule."""
    made, decoder, placed = in_hand(30, 2)
    instance = decoder.instance
    found, steps = improve_by_starts(instance, make_pools(instance), placed, MaxSteps(60), seed=1, workers=2)
    assert steps >= 60 and cost_of(instance, found) < 0.9 * cost_of(instance, placed)
    judged(made.cell, made.builds, made.lines, instance, rebooked(instance, found), "two threads", ())


def test_a_share_of_a_longer_rule_is_known_later():
    """A search that comes after 30 of 100 steps has 30 % used when it begins; a rule that cannot tell stays silent."""
    assert used(Later(MaxSteps(100), 30), 0) == 0.3
    assert used(Later(Later(MaxSteps(100), 30), 20), 10) == 0.6
    assert used(Later(lambda steps, best: False, 30), 10) is None
