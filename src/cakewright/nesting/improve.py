"""Ruin and recreate: take out what stands highest and a neighbourhood, put it back in another order."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Bank, Ints
from cakewright.nesting.construct import Layout, Workspace
from cakewright.sources.nesting import (
    MEAN_TOP_WEIGHT,
    MISSING_PRICE_MM,
    PRIORITY_WEIGHT,
    SEARCH_COOLING,
    SEARCH_HEAT,
)
from cakewright.stopping import Stop


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


def improve(
    work: Workspace,
    layout: Layout,
    priority: FloatArray,
    stop: Stop,
    rng: np.random.Generator,
    progress: Callable[[int, float], None] | None = None,
) -> tuple[Layout, int]:
    """Ruin and recreate until `stop`; returns the best layout and the steps done."""
    bank = work.bank
    best, current = layout.copy(), layout.copy()
    best_cost = current_cost = cost(layout, bank, priority)
    heat = SEARCH_HEAT.value * max(best_cost, 1.0)
    steps = 0
    while len(current.placed) and not stop(steps, best_cost):
        steps += 1
        trial = current.copy()
        out = _chosen(trial, bank, rng)
        low = int(trial.at[out[trial.pose[out] >= 0], 2].min(initial=0))
        trial.pose[out] = -1
        work.reload(trial)
        tall = bank.cells[:, 2]
        order = out[
            np.lexsort((rng.random(len(out)), -bank.count[bank.first[trial.part[out]]] * rng.uniform(0.5, 1, len(out))))
        ]
        work.insert(trial, order, np.maximum(0, low - tall).astype(np.int64))
        trial_cost = cost(trial, bank, priority)
        if trial_cost < current_cost + heat * rng.exponential():
            current, current_cost = trial, trial_cost
        if trial_cost < best_cost - 1e-9:
            best, best_cost = trial.copy(), trial_cost
            if progress is not None:
                progress(steps, best_cost)
        heat *= SEARCH_COOLING.value
    return best, steps
