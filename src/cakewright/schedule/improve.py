"""Local search over the orders given to the decoder: swap, move, change a machine; keep what helps.

Threshold acceptance (record-to-record): a change is kept when its cost is within a random margin of
the best so far, so that the search leaves small hollows. One step is one decoded schedule.
"""

from __future__ import annotations

import numpy as np

from cakewright.schedule.dispatch import Decoder, Orders
from cakewright.sources.schedule import SEARCH_MARGIN, SEARCH_MARGIN_MOST, SEARCH_NEAR, SEARCH_RESTART_STEPS
from cakewright.stopping import Stop

_NEAR = int(SEARCH_NEAR.value)
_RESTART = SEARCH_RESTART_STEPS.value


def improve(decoder: Decoder, start: Orders, stop: Stop, seed: int) -> tuple[Orders, int]:
    """Better orders than `start` (never worse), and the number of schedules tried."""
    rng = np.random.default_rng(seed)
    best, current = start.copy(), start.copy()
    best_cost = decoder.cost(start)
    margin = min(SEARCH_MARGIN_MOST.value, SEARCH_MARGIN.value / max(1, len(start.builds)))
    steps = last_gain = 0
    while not stop(steps, best_cost):
        if steps - last_gain > _RESTART:
            current, last_gain = best.copy(), steps
        candidate = current.copy()
        _change(candidate, decoder, rng)
        cost = decoder.cost(candidate)
        steps += 1
        if cost < best_cost:
            best, best_cost, last_gain = candidate.copy(), cost, steps
        if cost <= best_cost * (1 + margin * rng.random()):
            current = candidate
    return best, steps


def _change(orders: Orders, decoder: Decoder, rng: np.random.Generator) -> None:
    """One random move, in place: mostly a build to another place in the order, mostly a near one."""
    printing = decoder.instance.arrays.printing
    kind = rng.random()
    if kind < 0.8 and len(orders.builds) > 1:
        _move(orders.builds, rng)
    elif kind < 0.9 and printing.shape[1] > 1 and len(orders.builds):
        b = int(rng.integers(len(orders.builds)))
        choices = np.flatnonzero(printing[b])
        orders.machines[b] = -1 if rng.random() < 0.7 else rng.choice(choices)
    elif len(orders.lines) > 1:
        _move(orders.lines, rng)


def _move(order: np.ndarray[tuple[int], np.dtype[np.int64]], rng: np.random.Generator) -> None:
    """Swap two places or take one out and put it in elsewhere, usually not far away."""
    n = len(order)
    i = int(rng.integers(n))
    far = rng.random() < 0.3
    j = int(rng.integers(n)) if far else int(np.clip(i + rng.integers(-_NEAR, _NEAR + 1), 0, n - 1))
    taken = order[i]
    if rng.random() < 0.35:
        order[i], order[j] = order[j], taken
    elif i < j:
        order[i:j] = order[i + 1 : j + 1].copy()
        order[j] = taken
    else:
        order[j + 1 : i + 1] = order[j:i].copy()
        order[j] = taken
