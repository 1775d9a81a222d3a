"""Places that a piece leaves only sideways: used when they make the build lower and a way out is found.

The search only takes places from which everything can be lifted straight out. Under an overhang there may be room all
the same: a block in the mouth of a clamp is drawn out first and lifted then. Such a place is taken for the highest
pieces when the build gets lower, all wishes together cost less, and `separable` finds a way out for everything.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cakewright.nesting.construct import Layout, Workspace
from cakewright.nesting.objective import Objective
from cakewright.nesting.release import is_removable
from cakewright.nesting.separable import Block
from cakewright.sources.wishes import SIDEWAYS_LEVELS, SIDEWAYS_TRIES


def drawn_out(work: Workspace, layout: Layout, objective: Objective, fixed: Sequence[Block] = ()) -> Layout:
    """The layout with its highest pieces in places they can be drawn out of, as long as that makes it lower."""
    for _ in range(int(SIDEWAYS_LEVELS.value)):
        lower = _lower(work, layout, objective, fixed)
        if lower is None:
            break
        layout = lower
    return layout


def _lower(work: Workspace, layout: Layout, objective: Objective, fixed: Sequence[Block]) -> Layout | None:
    """All pieces that reach the top put elsewhere; None when that is not lower, costs more or locks something in."""
    bank = work.bank
    if not len(layout.placed):
        return None
    height, price = layout.height_mm(bank), objective.price(layout)
    highest = np.flatnonzero((layout.pose >= 0) & (layout.tops_mm(bank) > height - 1e-6))
    floor = np.zeros(len(bank.cells), np.int64)
    for _ in range(int(SIDEWAYS_TRIES.value)):
        trial = layout.copy()
        trial.pose[highest] = -1
        work.reload(trial)
        if work.sink(trial, highest, floor) or trial.height_mm(bank) > height - 1e-6:
            return None
        if objective.price(trial) < price and is_removable(trial, bank, fixed):
            return trial
        first = int(highest[0])
        floor[trial.pose[first]] = trial.at[first, 2] + 1  # the next lowest place may be open where this one is not
    return None
