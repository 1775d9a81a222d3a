"""Begin more than once: the search gets stuck, and where depends on where it began.

Builds that share neither machines nor chambers hardly touch each other, so each group of them is taken from whichever
start did better with it: two starts and two groups give the best of four schedules.
"""

from __future__ import annotations

import numpy as np

from cakewright.schedule.cpsat import copy_placed, cost_of
from cakewright.schedule.dispatch import Decoder, Orders, dispatch_rules
from cakewright.schedule.improve import improve
from cakewright.schedule.instance import Instance, IntArray
from cakewright.schedule.neighbourhood import families_of, improve_by_parts
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pools
from cakewright.sources.schedule import DULL_SOLVES, START_STEPS
from cakewright.stopping import MaxSteps, Stop, first_of


def improve_by_starts(
    instance: Instance, pools: Pools, placed: Placed, stop: Stop, seed: int, *, workers: int = 1, starts: int = 1 << 30
) -> tuple[Placed, int]:
    """A schedule no worse than `placed`, and the number of exact solves.

    The schedule given is improved until nothing is gained any more, then `starts` others, each from another seed.
    """
    decoder, groups, rules = Decoder(instance), groups_of(instance), dispatch_rules(instance)
    least, done, start = placed, 0, 0

    def enough(steps: int, best: float) -> bool:
        return stop(done + steps, min(best, cost_of(instance, least)))

    def take(given: Placed) -> Placed:
        """Improve a schedule until it is stuck, and remember it when it is the best."""
        nonlocal least, done
        found, tried = improve_by_parts(
            instance, pools, given, enough, seed + start, workers=workers, dull=int(DULL_SOLVES.value)
        )
        done += tried
        if cost_of(instance, found) < cost_of(instance, least):
            least = found
        return found

    take(placed)
    while start < starts and not enough(0, np.inf):
        start += 1
        limit = first_of(MaxSteps(int(START_STEPS.value)), lambda steps, best: enough(0, np.inf))
        before = least
        orders, _ = improve(decoder, rules[start % len(rules)], limit, seed + start)
        take(mixed(decoder, groups, before, take(copy_placed(decoder.schedule(orders)))))
    return least, done


def groups_of(instance: Instance) -> list[IntArray]:
    """Builds in groups that share no machine and no chamber with each other."""
    group = np.full(len(instance.builds), -1, dtype=np.int64)
    families, count = families_of(instance), 0
    for b in range(len(group)):
        if group[b] < 0:
            waiting = [b]
            while waiting:
                one = waiting.pop()
                if group[one] < 0:
                    group[one] = count
                    waiting += [int(x) for x in families[one] if group[x] < 0]
            count += 1
    return [np.flatnonzero(group == g) for g in range(count)]


def mixed(decoder: Decoder, groups: list[IntArray], one: Placed, other: Placed) -> Placed:
    """A schedule in which each group of builds comes from the schedule whose lines of that group cost less."""
    instance, a = decoder.instance, decoder.instance.arrays
    machine, load = one.machine.copy(), one.at[:, 0].copy()
    ready = one.ready.copy()
    first = a.line_build[a.line_build_at[:-1]]
    for builds in groups:
        lines = np.flatnonzero(np.isin(first, builds))
        if _late(instance, other, lines) < _late(instance, one, lines):
            machine[builds], load[builds], ready[lines] = other.machine[builds], other.at[builds, 0], other.ready[lines]
    orders = Orders(np.argsort(load, kind="stable"), machine, np.argsort(ready, kind="stable"))
    if not np.isfinite(decoder.cost(orders)):
        return one
    return copy_placed(decoder.placed)


def _late(instance: Instance, placed: Placed, lines: IntArray) -> float:
    a = instance.arrays
    return float(a.weight[lines] @ (np.maximum(0, placed.ready[lines] - a.due[lines]) + 0.01 * placed.ready[lines]))
