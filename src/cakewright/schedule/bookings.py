"""Who and what a placed schedule takes, and when: rows of the busy table with their spans."""

from __future__ import annotations

import numpy as np

from cakewright.schedule.instance import Instance
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed

Booking = tuple[int, int, int]  # row, start, end


def hands_of(instance: Instance, placed: Placed) -> list[Booking]:
    """Every task of hands that is not kept."""
    a = instance.arrays
    steps, ops = np.flatnonzero(a.kept_step[:, 0] == UNSET), np.flatnonzero(a.kept_op[:, 0] == UNSET)
    spans: set[Booking] = set()
    for b in range(len(a.load)):
        for i in range(4):
            down = int(placed.clean_down[b]) if i == 2 else 0
            if a.kept_at[b, i] == UNSET and placed.by[b, i] >= 0:
                spans.add((int(placed.by[b, i]), int(placed.at[b, i]) - down, int(placed.end[b, i])))
        if a.test[b] > 0 and a.kept_test[b, 0] == UNSET:
            spans.add((int(placed.test[b, 1]), int(placed.test[b, 0]), int(placed.test[b, 0] + a.test[b])))
    for s in steps[placed.step_by[steps] >= 0]:
        start = int(placed.step_start[s])
        spans.add((int(placed.step_by[s]), start, start + int(a.step_hands[s])))
    for op in ops:
        spans.add((int(placed.op_by[op]), int(placed.op_start[op]), int(placed.op_start[op] + a.op_hands[op])))
    return [(row, start, end) for row, start, end in sorted(spans) if end > start]


def stations_of(instance: Instance, placed: Placed) -> list[Booking]:
    """Every use of a station that is not kept; a shared bath once."""
    a, spans = instance.arrays, set()
    for b in range(len(a.load)):
        if a.kept_at[b, 2] == UNSET:
            spans.add((int(placed.station[b]), int(placed.at[b, 2] - placed.clean_down[b]), int(placed.end[b, 2])))
    for s in np.flatnonzero(a.kept_step[:, 0] == UNSET):
        start = int(placed.step_start[s])
        spans.add((int(placed.step_station[s]), start, start + int(a.step_run[s])))
    return [(row, start, end) for row, start, end in sorted(spans) if end > start]


def chambers_of(instance: Instance, placed: Placed) -> list[Booking]:
    """Every stay in a chamber."""
    stays = [(int(placed.chamber[b]), int(placed.at[b, 0]), int(placed.end[b, 3])) for b in range(len(instance.builds))]
    return [(row, start, end) for row, start, end in stays if end > start]
