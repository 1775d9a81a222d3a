"""What the decoder writes: minutes and rows of every task."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from cakewright.schedule.instance import Arrays, IntArray


class Placed(NamedTuple):
    """What the kernel writes: minutes and rows; -1 where nobody or nothing is used. Also its scratch table."""

    machine: IntArray  # (b,)
    chamber: IntArray  # (b,) row
    station: IntArray  # (b,) row of the unpack station
    at: IntArray  # (b, 4) start of load, lifting out, unpacking, cleaning
    by: IntArray  # (b, 4) person
    step_start: IntArray
    step_by: IntArray
    step_station: IntArray
    op_start: IntArray
    op_by: IntArray
    ready: IntArray  # (l,)
    busy: IntArray
    used: IntArray
    machine_busy: IntArray
    machine_used: IntArray
    basket_end: IntArray  # (k,), -1 until placed
    end: IntArray  # (b, 4) ends of the four hand tasks
    printed: IntArray  # (b,) end of the last layer
    cold: IntArray  # (b,) when the cake may be opened
    clean_down: IntArray  # (b,) minutes of cleaning the station before unpacking
    serviced: IntArray  # (b,) start of the service before loading, -1 for none
    since_service: IntArray  # (m,) printed minutes
    test: IntArray  # (b, 3) start, person, minute of the result; -1 without a test


def empty_placed(a: Arrays) -> Placed:
    """Buffers for `decode`, to be used again by every call."""
    b, steps, ops = len(a.load), len(a.step_run), len(a.op_hands)

    def row(n: int) -> IntArray:
        return np.full(n, -1, dtype=np.int64)

    four = (np.full((b, 4), -1, dtype=np.int64), np.full((b, 4), -1, dtype=np.int64))
    return Placed(
        row(b), row(b), row(b), *four, row(steps), row(steps), row(steps), row(ops), row(ops), row(len(a.due)),
        np.empty_like(a.busy), np.empty_like(a.used), np.empty_like(a.machine_busy), np.empty_like(a.machine_used),
        row(len(a.step_at) - 1), np.full((b, 4), -1, dtype=np.int64), row(b), row(b),
        row(b), row(b), row(len(a.machine_used)), np.full((b, 3), -1, dtype=np.int64),
    )  # fmt: skip
