"""Large neighbourhoods: free some builds of a schedule, solve those exactly, keep the result when it is better.

Which builds are freed is drawn from a seeded generator: builds of a stretch of time, of two machines in a stretch of
time, or a late line's builds with what was in their way. One step is one exact solve.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from cakewright.schedule.calendars import Span
from cakewright.schedule.cpsat import Effort, cost_of, solve
from cakewright.schedule.cpsat_base import Free, widened
from cakewright.schedule.instance import Instance
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pools
from cakewright.sources.schedule import FREE_BUILDS, LNS_EXTRA_DAYS, SUBSOLVE_UNITS
from cakewright.stopping import Stop

_MIN_PER_DAY = 24 * 60


def improve_by_parts(
    instance: Instance,
    pools: Pools,
    placed: Placed,
    stop: Stop,
    seed: int,
    *,
    workers: int = 1,
    units: float = SUBSOLVE_UNITS.value,
    on_better: Callable[[int, float], None] = lambda step, cost: None,
) -> tuple[Placed, int]:
    """A schedule no worse than `placed`, and the number of exact solves; `on_better` hears of every gain."""
    rng = np.random.default_rng(seed)
    best, cost = placed, cost_of(instance, placed)
    size, steps = float(FREE_BUILDS.value), 0
    while not stop(steps, cost):
        free = _draw(instance, best, round(size), rng)
        effort = Effort(units, workers, int(rng.integers(1 << 30)))
        answer = solve(instance, pools, best, free, _window(instance, best, free), effort)
        steps += 1
        if answer.cost < cost - 1e-6:
            best, cost = answer.placed, answer.cost
            on_better(steps, cost)
        size = _next_size(size, answer.proved, len(instance.builds))
    return best, steps


def _next_size(size: float, proved: bool, builds: int) -> float:
    """More builds at a time while the solver finishes, fewer when it does not."""
    low, high = float(FREE_BUILDS.low or 1), float(FREE_BUILDS.high or builds)
    return float(np.clip(size + (0.5 if proved else -0.5), min(low, builds), min(high, builds)))


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


def _draw(instance: Instance, placed: Placed, size: int, rng: np.random.Generator) -> Free:
    movable = np.flatnonzero(instance.arrays.kept_at[:, 3] == UNSET)
    if len(movable) == 0:
        movable = np.arange(len(instance.builds))
    kind = rng.random()
    at = placed.at[movable, 0]
    if kind < 0.35:
        chosen = movable[np.argsort(np.abs(at - rng.choice(at)), kind="stable")[:size]]
    elif kind < 0.6:
        chosen = _two_machines(placed, movable, size, rng)
    else:
        chosen = _in_the_way(instance, placed, movable, size, rng)
    return widened(instance, placed, [int(b) for b in chosen])


def _two_machines(placed: Placed, movable: np.ndarray, size: int, rng: np.random.Generator) -> np.ndarray:
    """Builds of two machines near a moment."""
    machines = np.unique(placed.machine[movable])
    pair = rng.permutation(machines)[:2]
    on = movable[np.isin(placed.machine[movable], pair)]
    moment = rng.choice(placed.at[on, 0])
    return on[np.argsort(np.abs(placed.at[on, 0] - moment), kind="stable")[:size]]


def _in_the_way(
    instance: Instance, placed: Placed, movable: np.ndarray, size: int, rng: np.random.Generator
) -> np.ndarray:
    """A late line's last build, what was loaded before it on the machines it could use, and a few more."""
    a = instance.arrays
    late = a.weight * np.maximum(0, placed.ready - a.due)
    if late.sum() <= 0:
        return rng.permutation(movable)[:size]
    line = int(rng.choice(len(late), p=late / late.sum()))
    builds = a.line_build[a.line_build_at[line] : a.line_build_at[line + 1]]
    b = int(max(builds, key=lambda b: int(placed.end[b, 2])))
    far = np.abs(placed.at[movable, 0] - placed.at[b, 0]).astype(float)
    far[a.printing[b, placed.machine[movable]] == 0] *= 2.0
    far[placed.at[movable, 0] > placed.at[b, 0]] *= 2.0
    far *= rng.uniform(0.5, 1.5, len(far))
    far[movable == b] = -1.0
    return movable[np.argsort(far, kind="stable")[:size]]
