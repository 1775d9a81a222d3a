"""A changed order decoded again: only from the first change on, and only while it may still be good enough.

Builds before the change are put back where they were; the others are searched a place. As soon as what is placed costs
more than the limit, the rest is not looked at: most changes make a schedule worse, and one that is bad is bad early.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from cakewright.compiled import bare_kernel
from cakewright.schedule.decode import book_build, clear, find_place, line_cost, place_line, unsteady
from cakewright.schedule.gaps import NEVER
from cakewright.schedule.instance import Arrays, FloatArray, Instance, IntArray
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed


class Tails(NamedTuple):
    """What must follow the unpacking of a build before a line is ready; one entry for each build and line."""

    at: IntArray  # (b+1,) offsets into the two below
    line: IntArray
    minutes: IntArray  # at least so many


def tails_of(instance: Instance) -> Tails:
    """Least minutes from each build to its lines; lines with bench work that is kept have none."""
    a = instance.arrays
    found: list[list[tuple[int, int]]] = [[] for _ in range(len(a.load))]
    for line in range(len(a.due)):
        ops = slice(a.op_at[line], a.op_at[line + 1])
        baskets = a.line_basket[a.line_basket_at[line] : a.line_basket_at[line + 1]].tolist()
        steps = {k: slice(a.step_at[k], a.step_at[k + 1]) for k in baskets}
        if (a.kept_op[ops, 0] > UNSET).any() or any((a.kept_step[s, 0] > UNSET).any() for s in steps.values()):
            continue
        bench = int(a.op_hands[ops].sum())
        after = dict.fromkeys(a.line_build[a.line_build_at[line] : a.line_build_at[line + 1]].tolist(), bench)
        for k, s in steps.items():
            finish = bench + int(a.step_run[s].sum() + a.step_wait[s].sum())
            for b in a.basket_build[a.basket_build_at[k] : a.basket_build_at[k + 1]].tolist():
                after[b] = max(after.get(b, 0), finish)
        for b, minutes in after.items():
            found[b].append((line, minutes))
    entries = np.array([entry for one in found for entry in one], dtype=np.int64).reshape(-1, 2)
    return Tails(np.cumsum([0, *map(len, found)]).astype(np.int64), entries[:, 0].copy(), entries[:, 1].copy())


def shortened(a: Arrays, until: int) -> Arrays:
    """The same calendar with nobody in from a minute on: short tables of busy spans are quick to read and to fill."""
    busy, used = a.busy.copy(), a.used.copy()
    for r, n in enumerate(a.used):
        count = int(np.searchsorted(busy[r, :n, 0], until))
        if count < n:
            busy[r, count] = until, busy[r, n - 1, 1]
            used[r] = count + 1
    return a._replace(busy=busy, used=used)


@bare_kernel
def place_again(
    a: Arrays, p: Placed, builds: IntArray, machines: IntArray, lines: IntArray, tails: Tails, first: int,
    old: IntArray, new: IntArray, low: IntArray, trial: IntArray, skill_start: int, skill_unpack: int,
    skill_inspect: int, earliness: float, limit: float, hope: float, was: FloatArray,
) -> float:  # fmt: skip
    """Cost as `decode.place_all` gives it, infinite when it is above `limit`; builds that have begun come first.

    `old` and `new` (b, TRIAL) are places of builds: those before position `first` are taken from `old`, those found are
    written to `new`. `low` (l,), least ready minutes, and `trial` (TRIAL,) are scratch. `was` (l,) is what each line
    cost before the change: infinite also when the lines not reached yet would have to cost `hope` less than that.
    """
    clear(a, p)
    cost, last, others = 0.0, 0, 0.0
    for line in lines:
        low[line] = 0
        others += was[line]
    for i in range(len(builds)):
        b = builds[i]
        place = old[b] if i < first else new[b]
        if i >= first and find_place(a, p, b, machines[b], skill_start, skill_unpack, trial, place) >= NEVER:
            return np.inf
        if not book_build(a, p, b, place, skill_inspect):
            return np.inf
        cost += unsteady(a, b, place)
        for e in range(tails.at[b], tails.at[b + 1]):
            line = tails.line[e]
            ready = place[13] + tails.minutes[e]
            if low[line] == 0:
                others -= was[line]
            if ready > low[line]:
                cost += line_cost(a, line, ready, earliness) - line_cost(a, line, low[line], earliness)
                low[line] = ready
        if cost > limit or cost + others > limit + hope:
            return np.inf
    for line in lines:
        ready = place_line(a, p, line)
        if ready >= NEVER:
            return np.inf
        p.ready[line] = ready
        last = max(last, ready)
        cost += line_cost(a, line, ready, earliness) - line_cost(a, line, low[line], earliness)
        if cost > limit:
            return np.inf
    total = cost + earliness * last
    return total if total <= limit else np.inf
