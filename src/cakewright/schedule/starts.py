"""Begin more than once: the search gets stuck, and where depends on where it began.

Builds that share neither machines nor chambers hardly touch each other, so each group of them is taken from whichever
start did better with it: two starts and two groups give the best of four schedules.
"""

from __future__ import annotations

import numpy as np

from cakewright.schedule.anneal import anneal, lines_of
from cakewright.schedule.cpsat import copy_placed, cost_of
from cakewright.schedule.dispatch import Decoder, Orders
from cakewright.schedule.instance import Instance, IntArray
from cakewright.schedule.neighbourhood import families_of, improve_by_parts
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pools
from cakewright.sources.schedule import ANNEAL_STEPS, ANNEAL_TRIES, DULL_SOLVES, WHOLE_MOST_BUILDS
from cakewright.stopping import Stop


def improve_by_starts(
    instance: Instance, pools: Pools, placed: Placed, stop: Stop, seed: int, *, workers: int = 1, starts: int = 1 << 30
) -> tuple[Placed, int]:
    """A schedule no worse than `placed`, and the number of steps: exact solves, and thousands of schedules annealed.

    The schedule given is improved until nothing is gained any more, then `starts` others, each annealed from it with
    another seed.
    """
    decoder, groups = Decoder(instance), groups_of(instance)
    least, done = placed, 0

    def enough(steps: int, best: float) -> bool:
        return stop(done + steps, min(best, cost_of(instance, least)))

    def take(given: Placed, seed: int) -> None:
        """Improve a schedule until it is stuck, and remember it when it is the best."""
        nonlocal least, done
        dull = int(DULL_SOLVES.value)
        found, tried = improve_by_parts(instance, pools, given, enough, seed, workers=workers, dull=dull)
        done += tried
        least = min(least, found, mixed(decoder, groups, least, found), key=lambda p: cost_of(instance, p))

    if len(instance.builds) <= WHOLE_MOST_BUILDS.value:  # parts alone often do; larger weeks gain more from annealing
        take(placed, seed)
    start = 0
    while start < starts and not enough(0, np.inf):
        start += 1
        given, tried = annealed(decoder, groups, placed, enough, seed + 1000 * start)
        done += tried
        if cost_of(instance, given) < cost_of(instance, least):
            least = given
        take(given, seed + start)
    return least, done


def later(stop: Stop, done: int) -> Stop:
    """The same rule for a search before which `done` steps were made."""
    return lambda steps, best: stop(done + steps, best)


def annealed(decoder: Decoder, groups: list[IntArray], placed: Placed, stop: Stop, seed: int) -> tuple[Placed, int]:
    """A schedule in which each group is the best of some annealings, and the number of steps, in thousands tried."""
    instance, done, best = decoder.instance, 0, placed
    tries = int(ANNEAL_TRIES.value)
    for n, group in enumerate(groups):
        lines = lines_of(instance, set(group.tolist()))
        steps = int(ANNEAL_STEPS.value) * len(group)
        if len(group) < 2 or not len(lines):
            continue
        found = placed
        for again in range(tries):
            if stop(done, cost_of(instance, best)) or _late(instance, found, lines, 0.0) == 0:
                break
            one, tried = anneal(instance, placed, group, steps, seed + 100 * n + again, later(stop, done))
            done += tried
            found = min(found, one, key=lambda p: _late(instance, p, lines))
        best = mixed(decoder, [group], best, found)
    return best, done


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
    instance = decoder.instance
    machine, load = one.machine.copy(), one.at[:, 0].copy()
    ready = one.ready.copy()
    taken: list[int] = []
    for builds in groups:
        lines = lines_of(instance, set(builds.tolist()))
        if _late(instance, other, lines) < _late(instance, one, lines):
            machine[builds], load[builds], ready[lines] = other.machine[builds], other.at[builds, 0], other.ready[lines]
            taken += builds.tolist()
    by_load = np.argsort(load, kind="stable")
    inside = np.isin(by_load, taken)
    first = np.concatenate([by_load[~inside], by_load[inside]])  # the others keep their hands
    found = [one]
    for order in (by_load, first):
        if np.isfinite(decoder.cost(Orders(order, machine, np.argsort(ready, kind="stable")))):
            found.append(copy_placed(decoder.placed))
    return min(found, key=lambda p: cost_of(instance, p))


def _late(instance: Instance, placed: Placed, lines: IntArray, early: float = 0.001) -> float:
    a = instance.arrays
    return float(a.weight[lines] @ (np.maximum(0, placed.ready[lines] - a.due[lines]) + early * placed.ready[lines]))
