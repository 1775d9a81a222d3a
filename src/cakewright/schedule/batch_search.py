"""The search behind batching: assignments of lines to builds, judged by a quick picture of the week."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from cakewright.compiled import kernel
from cakewright.schedule.instance import BoolArray, FloatArray, IntArray
from cakewright.sources.schedule import BATCH_MARGIN

_MARGIN = BATCH_MARGIN.value  # a plain number: the kernel reads it as a constant


class Week(NamedTuple):
    """What the picture knows; hours from the start, mm, mm³, litres of solid; n portions of lines, m machines."""

    need: FloatArray  # (n,) chamber volume
    solid: FloatArray  # (n,)
    height: FloatArray  # (n,) least height
    release: FloatArray  # (n,)
    due: FloatArray  # (n,)
    weight: FloatArray  # (n,)
    bench: FloatArray  # (n,) hands after unpacking
    by_due: IntArray  # (n,) portions, most urgent first
    base: FloatArray  # (m,) mm²
    usable: FloatArray  # (m,)
    fixed: FloatArray  # (m,)
    per_mm: FloatArray  # (m,)
    per_l: FloatArray  # (m,)
    cool: FloatArray  # (m, mm) hours for each whole mm of height
    chambers: int
    build_price: float
    earliness: float
    span_start: FloatArray  # staffed spans
    span_end: FloatArray
    too_much: BoolArray  # (sets, n)


class Picture(NamedTuple):
    """What the picture of the week says for one assignment; slots are builds in starting order."""

    ready: FloatArray  # (n,) hour at which a portion leaves the bench
    load: FloatArray  # (slots,)
    printed: FloatArray  # (slots,)
    cold: FloatArray  # (slots,)
    tall: FloatArray  # (slots,)
    machine: IntArray  # (slots,)


def empty_picture(n: int) -> Picture:
    """Buffers for `draw`."""
    return Picture(np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.full(n, -1, dtype=np.int64))


@kernel
def span_at(ends: FloatArray, t: float) -> int:
    """Index of the first span that ends after t."""
    low, high = 0, len(ends)
    while low < high:
        mid = (low + high) // 2
        if ends[mid] <= t:
            low = mid + 1
        else:
            high = mid
    return low


@kernel
def staffed(w: Week, t: float) -> float:
    """First staffed hour at or after t."""
    i = span_at(w.span_end, t)
    if i == len(w.span_end):
        return np.inf
    later: float = max(t, w.span_start[i])
    return later


@kernel
def worked(w: Week, t: float, hours: float) -> float:
    """When so many staffed hours are done, starting at t and going on after breaks."""
    i = span_at(w.span_end, t)
    left = hours
    while i < len(w.span_end):
        begin = max(t, w.span_start[i])
        if w.span_end[i] - begin >= left:
            done: float = begin + left
            return done
        left -= w.span_end[i] - begin
        i += 1
    return np.inf


@kernel
def draw(w: Week, slots: IntArray, picture: Picture) -> float:
    """Cost of an assignment in weighted hours of lateness; infinite when a build does not fit."""
    n = len(slots)
    need, solid, tall, release = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    filled = np.zeros(n, np.bool_)
    for i in range(n):
        k = slots[i]
        need[k] += w.need[i]
        solid[k] += w.solid[i]
        tall[k] = max(tall[k], w.height[i])
        release[k] = max(release[k], w.release[i])
        filled[k] = True
    for row in range(w.too_much.shape[0]):
        slot, together = -1, True
        for i in range(n):
            if w.too_much[row, i]:
                if slot >= 0 and slots[i] != slot:
                    together = False
                    break
                slot = slots[i]
        if together:
            return np.inf
    free = np.zeros(len(w.base))
    chamber = np.zeros(w.chambers)
    cost = 0.0
    for k in range(n):
        if not filled[k]:
            picture.machine[k] = -1
            continue
        cost += w.build_price
        c = int(np.argmin(chamber))
        best = np.inf
        for m in range(len(w.base)):
            height = max(tall[k], need[k] / w.base[m])
            if height > w.usable[m]:
                continue
            load = staffed(w, max(free[m], chamber[c], release[k]))
            printed = load + w.fixed[m] + w.per_mm[m] * height + w.per_l[m] * solid[k]
            out = staffed(w, max(staffed(w, printed), printed + w.cool[m, int(np.ceil(height))]))
            if out < best:
                best = out
                picture.load[k], picture.printed[k], picture.cold[k] = load, printed, out
                picture.tall[k], picture.machine[k] = height, m
        if best == np.inf:
            return np.inf
        free[picture.machine[k]] = staffed(w, picture.printed[k])
        chamber[c] = best
    bench = 0.0
    for i in order_of_bench(w, slots, picture):
        bench = worked(w, max(bench, picture.cold[slots[i]]), w.bench[i])
        picture.ready[i] = bench
        cost += w.weight[i] * (max(0.0, bench - w.due[i]) + w.earliness * bench)
    return cost


@kernel
def order_of_bench(w: Week, slots: IntArray, picture: Picture) -> IntArray:
    """Portions by the hour they come out of the cake, the most urgent of a build first."""
    out = np.empty(len(slots))
    for i in range(len(slots)):
        out[i] = picture.cold[slots[w.by_due[i]]]
    return w.by_due[np.argsort(out, kind="mergesort")]


@kernel
def change(slots: IntArray, r: FloatArray) -> None:
    """One random move, in place; `r` are six numbers in [0, 1)."""
    n = len(slots)
    i, j = int(r[1] * n), int(r[2] * n)
    if r[0] < 0.4:  # a portion to another build, perhaps a new one
        slots[i] = j
    elif r[0] < 0.6:  # two portions change places
        slots[i], slots[j] = slots[j], slots[i]
    elif r[0] < 0.7:  # two builds change places
        a, b = slots[i], slots[j]
        for k in range(n):
            if slots[k] == a:
                slots[k] = b
            elif slots[k] == b:
                slots[k] = a
    elif r[0] < 0.8:  # one build is poured into another
        a, b = slots[i], slots[j]
        for k in range(n):
            if slots[k] == a:
                slots[k] = b
    elif r[0] < 0.9:  # one build is split, in place, later ones move back
        a = slots[i]
        if slots.max() + 1 < n:
            for k in range(n):
                if slots[k] > a or (slots[k] == a and (k * r[3] * 7.0) % 1.0 < 0.5):
                    slots[k] += 1
    else:  # a build of its own just before another
        a = slots[j]
        if slots.max() + 1 < n:
            for k in range(n):
                if slots[k] >= a:
                    slots[k] += 1
            slots[i] = a


@kernel
def search(w: Week, current: IntArray, best: IntArray, best_cost: float, randoms: FloatArray) -> float:
    """Try one move for each row of `randoms`; `current` and `best` are updated; returns the best cost."""
    n = len(current)
    picture = Picture(np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n, np.int64))
    trial = current.copy()
    for row in range(randoms.shape[0]):
        trial[:] = current
        change(trial, randoms[row])
        if randoms[row, 5] < 0.3:
            change(trial, randoms[row, ::-1])
        cost = draw(w, trial, picture)
        if cost < best_cost:
            best_cost = cost
            best[:] = trial
        if cost <= best_cost * (1.0 + _MARGIN * randoms[row, 4]):
            current[:] = trial
    return best_cost


def evaluate(w: Week, slots: IntArray) -> float:
    """Cost of an assignment."""
    return draw(w, slots, empty_picture(len(slots)))
