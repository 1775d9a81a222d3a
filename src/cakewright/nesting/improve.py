"""Ruin and recreate: take out what stands highest and a neighbourhood, put it back in another order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Bank, Ints
from cakewright.nesting.construct import NO_LIMIT, Layout, Workspace
from cakewright.sources.nesting import (
    HOPE,
    MEAN_TOP_WEIGHT,
    MISSING_PRICE_MM,
    PRIORITY_WEIGHT,
    SEARCH_COOLING,
    SEARCH_HEAT,
)
from cakewright.stopping import Stop

LESS = 1e-9  # mm: a cost must fall by more than rounding to count


def cost(layout: Layout, bank: Bank, priority: FloatArray) -> float:
    """Height in mm, plus a little of the mean top so that lower piles are preferred, plus misses."""
    tops = layout.tops_mm(bank)
    missing = int((layout.pose < 0).sum())
    early = float((tops * priority).sum()) / max(1, len(tops))
    mean = float(tops.mean()) if len(tops) else 0.0
    height = float(tops.max(initial=0.0))
    soft = MEAN_TOP_WEIGHT.value * mean + PRIORITY_WEIGHT.value * early
    return height + soft + MISSING_PRICE_MM.value * missing


def _chosen(layout: Layout, bank: Bank, rng: np.random.Generator) -> Ints:
    """The highest piece, pieces around a random point of the pile, and everything not placed."""
    tops = layout.tops_mm(bank)
    placed = layout.placed
    count = min(len(placed), int(rng.integers(3, 9)))
    middle = layout.at[placed] + bank.cells[layout.pose[placed]] / 2
    centre = middle[rng.integers(len(placed))]
    near = placed[np.argsort(np.abs(middle - centre).sum(axis=1))[:count]]
    high = placed[np.argsort(-tops[placed])[: int(rng.integers(1, 4))]]
    return np.unique(np.concatenate([near, high, np.flatnonzero(layout.pose < 0)])).astype(np.int64)


class Count:
    """Counts the steps of a search across its stages, keeps the best cost and asks the stop rule."""

    def __init__(
        self,
        stop: Stop,
        rng: np.random.Generator,
        priority: FloatArray,
        progress: Callable[[int, float], None] | None = None,
    ) -> None:
        self.stop, self.rng, self.priority, self.progress = stop, rng, priority, progress
        self.steps = 0
        self.best = float("inf")

    def enough(self) -> bool:
        """What the stop rule says now."""
        return self.stop(self.steps, self.best)

    def is_best(self, value: float) -> bool:
        """Take note of a build that costs `value`; True when it is the best so far."""
        if value >= self.best - LESS:
            return False
        self.best = value
        if self.progress is not None:
            self.progress(self.steps, value)
        return True


def improve(spaces: Sequence[Workspace], layout: Layout, count: Count, most: int | None = None) -> Layout:
    """Ruin and recreate until the rule says stop, at most `most` steps; the best layout, `layout` itself if none.

    Each of `spaces` tries something else at the same time, which counts as one step each; the best try is judged.
    """
    bank, rng, priority = spaces[0].bank, count.rng, count.priority
    best, current = layout, layout.copy()
    best_cost = current_cost = cost(layout, bank, priority)
    heat = SEARCH_HEAT.value * max(best_cost, 1.0)
    last = count.steps + most if most is not None else None
    with ThreadPoolExecutor(len(spaces)) as pool:
        while len(current.placed) and (last is None or count.steps < last) and not count.enough():
            count.steps += len(spaces)
            lots = [np.random.default_rng(int(n)) for n in rng.integers(1 << 62, size=len(spaces))]
            limit = _limit(current, bank, heat)
            tries = list(pool.map(_tried, spaces, [current] * len(spaces), lots, [limit] * len(spaces)))
            costs = [cost(each, bank, priority) for each in tries]
            trial, trial_cost = tries[int(np.argmin(costs))], min(costs)
            if trial_cost < current_cost + heat * rng.exponential():
                current, current_cost = trial, trial_cost
            if trial_cost < best_cost - LESS:
                best, best_cost = trial.copy(), trial_cost
                count.is_best(best_cost)
            heat *= SEARCH_COOLING.value ** len(spaces)
    return best


def _limit(current: Layout, bank: Bank, heat: float) -> float:
    """Height from which on a try has no hope of being taken: its work need not be finished."""
    if (current.pose < 0).any():
        return NO_LIMIT
    return current.height_mm(bank) + HOPE.value * heat + bank.voxel_mm


def _tried(work: Workspace, current: Layout, rng: np.random.Generator, limit_mm: float) -> Layout:
    """A copy of the layout with some pieces taken out and put back in another order."""
    bank = work.bank
    trial = current.copy()
    out = _chosen(trial, bank, rng)
    low = int(trial.at[out[trial.pose[out] >= 0], 2].min(initial=0))
    trial.pose[out] = -1
    work.reload(trial)
    size = bank.count[bank.first[trial.part[out]]] * rng.uniform(0.5, 1, len(out))
    floor = np.maximum(0, low - bank.cells[:, 2]).astype(np.int64)
    work.insert(trial, out[np.argsort(-size, kind="stable")], floor, None, limit_mm)
    return trial
