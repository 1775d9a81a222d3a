"""Large neighbourhoods: free some builds of a schedule, solve those exactly, keep the result when it is better.

Which builds are freed is drawn from a seeded generator, always within one family: builds that share machines or
chambers. Builds of another family share nothing but hands, so freeing them too costs effort and gains little. Few
builds at first, since those are solved in a tenth of a second; more when few bring nothing. One step is one solve.
"""

from __future__ import annotations

import numpy as np

from cakewright.schedule.calendars import Span
from cakewright.schedule.cpsat import Effort, cost_of, solve
from cakewright.schedule.cpsat_base import Free, widened
from cakewright.schedule.instance import Instance, IntArray
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pools
from cakewright.sources.schedule import FREE_BUILDS, LNS_EXTRA_DAYS, SUBSOLVE_UNITS
from cakewright.stopping import Stop

_MIN_PER_DAY = 24 * 60
_GROW, _SHRINK, _AFTER_GAIN = 0.1, 0.3, 0.5  # builds by which the next part is larger or smaller


def improve_by_parts(
    instance: Instance, pools: Pools, placed: Placed, stop: Stop, seed: int, *, workers: int = 1, dull: int = 1 << 30
) -> tuple[Placed, int]:
    """A schedule no worse than `placed`, and the number of exact solves; ends after `dull` of them without a gain."""
    rng, most = np.random.default_rng(seed), len(instance.builds)
    best, cost, families = placed, cost_of(instance, placed), families_of(instance)
    low, high = min(float(FREE_BUILDS.low or 1), most), min(float(FREE_BUILDS.high or most), most)
    size, steps, gained = low, 0, 0
    while not stop(steps, cost) and steps - gained < dull:
        free = widened(instance, best, [int(b) for b in _draw(instance, families, best, round(size), rng)])
        units = SUBSOLVE_UNITS.value * (size / FREE_BUILDS.value) ** 2
        effort = Effort(units, workers, int(rng.integers(1 << 30)))
        answer = solve(instance, pools, best, free, _window(instance, best, free), effort)
        steps += 1
        if answer.cost < cost - 1e-6:
            best, cost, gained = answer.placed, answer.cost, steps
            size -= _AFTER_GAIN
        else:
            size += _GROW if answer.proved else -_SHRINK
        size = float(np.clip(size, low, high))
    return best, steps


def families_of(instance: Instance) -> list[IntArray]:
    """For each build those that share machines or chambers with it, itself among them."""
    a = instance.arrays
    prints = a.printing > 0
    return [
        np.flatnonzero((prints & prints[b]).any(axis=1) | (a.chamber_ok & a.chamber_ok[b]).any(axis=1))
        for b in range(len(a.load))
    ]


def _window(instance: Instance, placed: Placed, free: Free) -> Span:
    """From some days before the first free loading to some days after the last free line is ready."""
    days = int(LNS_EXTRA_DAYS.value) * _MIN_PER_DAY
    builds, lines = sorted(free.builds), sorted(free.lines)
    first = int(placed.at[builds, 0].min(initial=instance.horizon_min))
    last = max(int(placed.ready[lines].max(initial=0)), int(placed.end[builds].max(initial=0)))
    last = max(
        last, int(placed.test[builds].max(initial=0)), int(placed.basket_end[sorted(free.baskets)].max(initial=0))
    )
    return max(0, first - days), min(instance.horizon_min, last + days)


def _draw(
    instance: Instance, families: list[IntArray], placed: Placed, size: int, rng: np.random.Generator
) -> IntArray:
    """Builds to free: near a moment, in the way of a late line, on one machine, or of two powders."""
    a = instance.arrays
    b = _late_build(instance, placed, rng)
    family = families[b]
    movable = a.kept_at[family, 3] == UNSET
    family = family[movable] if movable.any() else family
    at, kind = placed.at[family, 0].astype(float), rng.random()
    if kind < 0.35:
        return _around(family, at, float(rng.choice(at)), size, rng.uniform(0.7, 1.3, len(at)))
    if kind < 0.7:  # what was loaded before it is more often in its way
        skew = np.where(at > placed.at[b, 0], 2.0, 1.0) * rng.uniform(0.3, 1.7, len(at))
        return _around(family, at, float(placed.at[b, 0]), size, np.where(family == b, 0.0, skew))
    if kind < 0.85:
        there = placed.machine[family] == placed.machine[b]
        on = family[there] if there.any() else family
        own = placed.at[on, 0].astype(float)
        return _around(on, own, float(rng.choice(own)), size, np.ones(len(own)))
    alike = a.material[family] == a.material[b]
    one = _around(family[alike], at[alike], float(placed.at[b, 0]), (size + 1) // 2, rng.uniform(0.5, 1.5, alike.sum()))
    rest = np.setdiff1d(family, one)
    if not len(one) or not len(rest):
        return _around(family, at, float(placed.at[b, 0]), size, np.ones(len(at)))
    moment = float(placed.at[int(rng.choice(one)), 0])
    other = _around(rest, placed.at[rest, 0].astype(float), moment, size - len(one), rng.uniform(0.5, 1.5, len(rest)))
    return np.concatenate([one, other])


def _around(
    builds: IntArray, at: np.ndarray[tuple[int], np.dtype[np.float64]], moment: float, size: int, skew: np.ndarray
) -> IntArray:
    """The builds loaded nearest to a moment; `skew` lengthens or shortens the way to each."""
    return builds[np.argsort(np.abs(at - moment) * skew, kind="stable")[:size]]


def _late_build(instance: Instance, placed: Placed, rng: np.random.Generator) -> int:
    """The build that a line waits for longest; lines that are late are drawn more often."""
    a = instance.arrays
    late = a.weight * np.maximum(0, placed.ready - a.due)
    if late.sum() <= 0:
        return int(rng.integers(len(a.load)))
    share = 0.98 * late / late.sum() + 0.02 / len(late)
    line = int(rng.choice(len(late), p=share / share.sum()))
    builds = a.line_build[a.line_build_at[line] : a.line_build_at[line + 1]]
    return int(max(builds, key=lambda b: int(placed.end[b, 2])))
