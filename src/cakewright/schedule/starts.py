"""Begin more than once: the search gets stuck, and where depends on where it began.

Builds that share neither machines nor chambers hardly touch each other, so each group of them is taken from whichever
start did better with it: two starts and two groups give the best of four schedules.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from cakewright.schedule.anneal import anneal, lines_of
from cakewright.schedule.cpsat import copy_placed, cost_of
from cakewright.schedule.dispatch import Decoder, Orders, dispatch_rules
from cakewright.schedule.instance import Instance, IntArray
from cakewright.schedule.neighbourhood import families_of, improve_by_parts
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pools
from cakewright.sources.schedule import ANNEAL_SHARE, ANNEAL_STEPS, ANNEAL_TRIES, DULL_SOLVES, WHOLE_MOST_BUILDS
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

    In the first each group is the best of its annealings, in the next the second best of the group that is latest. Each
    group is annealed twice, then again and again the one whose results differ most: from it most is to be hoped.
    """
    instance, done = decoder.instance, 0
    many = [(group, lines_of(instance, set(group.tolist()))) for group in groups if len(group) > 1]
    many = [(group, lines) for group, lines in many if _late(instance, placed, lines, 0.0) > 0]
    found: list[list[Placed]] = [[] for _ in many]
    begun = [0] * len(many)
    small = len(instance.builds) <= WHOLE_MOST_BUILDS.value
    until, fresh = _until(stop, 2 * len(many) if small else None), _fresh(decoder, placed)

    def one(job: tuple[int, int]) -> tuple[int, Placed, int]:
        n, again = job
        group = many[n][0]
        steps = int(ANNEAL_STEPS.value) * len(group)
        return n, *anneal(instance, fresh, group, steps, seed + 1000 * n + again, Later(stop, done))

    with ThreadPoolExecutor(workers) as pool:
        while many and not until(done, sum(begun)) and not stop(done, cost_of(instance, placed)):
            jobs = []
            for _ in range(workers):
                n = _next(instance, [lines for _, lines in many], found, begun)
                jobs.append((n, begun[n]))
                begun[n] += 1
            for n, made, tried in pool.map(one, jobs):
                done += tried
                found[n] = sorted([*found[n], made], key=lambda p: _late(instance, p, many[n][1]))
    out = [placed]
    latest = max(range(len(many)), key=lambda n: _late(instance, (found[n] or [placed])[0], many[n][1]), default=0)
    for k in range(workers):
        whole = placed
        for n, (group, _) in enumerate(many):
            which = k if n == latest else 0
            if which < len(found[n]):
                whole = mixed(decoder, [group], whole, found[n][which])
        out.append(whole)
    out.sort(key=lambda p: cost_of(instance, p))
    return out[:workers], done


def _fresh(decoder: Decoder, placed: Placed) -> Placed:
    """The schedule of the best rule of dispatch: from what a search has settled into, annealing hardly gets away."""
    best = min(dispatch_rules(decoder.instance), key=decoder.cost)
    return copy_placed(decoder.schedule(best)) if np.isfinite(decoder.cost(best)) else placed


def _until(stop: Stop, most: int | None) -> Callable[[int, int], bool]:
    """Were there enough annealings? After `most`; else by the share of `stop` used, or by number if it cannot tell.

    Small weeks need few: there the exact solver is what finds the best.
    """
    now = None if most is not None else used(stop, 0)
    goal = None if now is None else now + ANNEAL_SHARE.value * (1.0 - now)

    def rule(done: int, tries: int) -> bool:
        share = None if goal is None else used(stop, done)
        if share is not None and goal is not None:
            return share >= goal
        return tries >= (ANNEAL_TRIES.value if most is None else most)

    return rule


def _next(instance: Instance, lines: list[IntArray], found: list[list[Placed]], begun: list[int]) -> int:
    """The group to anneal next: one not yet annealed twice, else the one whose results differ most."""
    few = min(range(len(lines)), key=lambda n: begun[n])
    if begun[few] < 2 or any(len(f) < 2 for f in found):
        return few
    return max(range(len(lines)), key=lambda n: float(np.std([_late(instance, p, lines[n]) for p in found[n]])))


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
