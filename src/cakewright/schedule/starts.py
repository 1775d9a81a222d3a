"""Begin more than once: the search gets stuck, and where depends on where it began.

Builds that share neither machines nor chambers hardly touch each other, so each group of them is taken from whichever
start did better with it: two starts and two groups give the best of four schedules.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from cakewright.schedule.anneal import anneal
from cakewright.schedule.cpsat import copy_placed, cost_of, lateness_of
from cakewright.schedule.dispatch import Decoder, Orders, dispatch_rules
from cakewright.schedule.instance import Instance, IntArray
from cakewright.schedule.neighbourhood import families_of, improve_by_parts
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pools
from cakewright.sources.schedule import (
    ANNEAL_SHARE,
    ANNEAL_STEPS,
    ANNEAL_TRIES,
    ANNEAL_TRIES_SMALL,
    DULL_SOLVES,
    WHOLE_MOST_BUILDS,
)
from cakewright.stopping import Later, Stop, used


def improve_by_starts(
    instance: Instance, pools: Pools, placed: Placed, stop: Stop, seed: int, *, workers: int = 1, starts: int = 1 << 30
) -> tuple[Placed, int]:
    """A schedule no worse than `placed`, and the number of steps: exact solves, and thousands of schedules annealed.

    Up to `schedule.whole_most_builds` builds the schedule given is improved until nothing is gained any more; then
    `starts` others, each annealed anew with another seed. `workers` threads anneal and improve at the same time,
    each its own; with more than one the answer depends on which is faster.
    """
    decoder, groups = Decoder(instance), groups_of(instance)
    least, done = placed, 0

    def enough(steps: int, best: float) -> bool:
        return stop(done + steps, min(best, cost_of(instance, least)))

    def take(given: Sequence[Placed], seed: int, threads: int) -> None:
        """Improve schedules side by side until they are stuck, and remember what is best, by groups too."""
        nonlocal least, done
        dull = int(DULL_SOLVES.value)
        with ThreadPoolExecutor(len(given)) as pool:
            improved = list(
                pool.map(
                    lambda n: improve_by_parts(instance, pools, given[n], enough, seed + n, workers=threads, dull=dull),
                    range(len(given)),
                )
            )
        for found, tried in improved:
            done += tried
            least = min(least, found, mixed(decoder, groups, least, found), key=lambda p: cost_of(instance, p))

    if len(instance.builds) <= WHOLE_MOST_BUILDS.value:  # parts alone often do; larger weeks gain more from annealing
        take([placed], seed, workers)
    start = 0
    while start < starts and not enough(0, np.inf):
        start += 1
        given, tried = annealed(decoder, groups, placed, Later(stop, done), seed + 1000 * start, workers)
        done += tried
        least = min(least, *given, key=lambda p: cost_of(instance, p))
        take(given, seed + start, 1)
    return least, done


def annealed(
    decoder: Decoder, groups: list[IntArray], placed: Placed, stop: Stop, seed: int, workers: int = 1
) -> tuple[list[Placed], int]:
    """Up to `workers` schedules, the best first, and the number of steps, in thousands tried.

    All builds are annealed again and again, `workers` times at once; in the best each group comes from the annealing
    that did best with it.
    """
    instance, done, begun = decoder.instance, 0, 0
    found = [placed]
    if lateness_of(instance, placed) == 0:
        return found, 0
    small = len(instance.builds) <= WHOLE_MOST_BUILDS.value  # there the exact solver is what finds the best
    most = ANNEAL_TRIES_SMALL.value if small else ANNEAL_TRIES.value
    share = None if small else used(stop, 0)
    goal = None if share is None else share + ANNEAL_SHARE.value * (1.0 - share)
    fresh, steps = _fresh(decoder, placed), int(ANNEAL_STEPS.value) * len(instance.builds)

    def one(again: int) -> tuple[Placed, int]:
        before, begin = done, used(stop, done)

        def gone(tried: int) -> float:
            now = used(stop, before + tried)
            if goal is None or now is None or begin is None:
                return 0.0
            return (now - begin) / max(goal - begin, 1e-9)

        return anneal(instance, fresh, steps, seed + again, Later(stop, before), gone)

    with ThreadPoolExecutor(workers) as pool:
        while not stop(done, cost_of(instance, placed)):
            now = None if goal is None else used(stop, done)
            if begun >= most if goal is None or now is None else now >= goal:
                break
            made = list(pool.map(one, range(begun, begun + workers)))
            begun += workers
            done += sum(tried for _, tried in made)
            found = sorted([*found, *(p for p, _ in made)], key=lambda p: cost_of(instance, p))[: max(workers, 4)]
            if not any(tried for _, tried in made):
                break
    best = found[0]
    for other in found[1:]:
        best = min(best, mixed(decoder, groups, best, other), key=lambda p: cost_of(instance, p))
    return [best, *found[1:]][:workers], done


def _fresh(decoder: Decoder, placed: Placed) -> Placed:
    """The schedule of the best rule of dispatch: from what a search has settled into, annealing hardly gets away."""
    best = min(dispatch_rules(decoder.instance), key=decoder.cost)
    return copy_placed(decoder.schedule(best)) if np.isfinite(decoder.cost(best)) else placed


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


def lines_of(instance: Instance, builds: set[int]) -> IntArray:
    """Lines that need one of these builds."""
    a = instance.arrays
    needs = [
        any(int(b) in builds for b in a.line_build[a.line_build_at[i] : a.line_build_at[i + 1]])
        for i in range(len(instance.lines))
    ]
    return np.flatnonzero(needs).astype(np.int64)


def _late(instance: Instance, placed: Placed, lines: IntArray, early: float = 0.001) -> float:
    a = instance.arrays
    return float(a.weight[lines] @ (np.maximum(0, placed.ready[lines] - a.due[lines]) + early * placed.ready[lines]))
