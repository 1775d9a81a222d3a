"""Annealing: builds that share machines are put in another order thousands of times, worse ones kept less and less.

One step is one schedule of one group of builds (`starts.groups_of`); the hands and stations that the others take stay
where they are, which halves the work of a step. Small moves change the place of one build or its machine, larger ones
carry a run of builds of one powder elsewhere, since each change of powder costs the same for one build as for five.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cakewright.compiled import bare_kernel, kernel
from cakewright.schedule.bookings import hands_of, stations_of
from cakewright.schedule.cpsat import copy_placed
from cakewright.schedule.decode import TRIAL, place_all
from cakewright.schedule.dispatch import Decoder, Orders
from cakewright.schedule.instance import Arrays, FloatArray, Instance, IntArray
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed
from cakewright.sources.schedule import (
    ANNEAL_CHUNK,
    ANNEAL_COOLEST,
    ANNEAL_EARLINESS,
    ANNEAL_HOTTEST,
    ANNEAL_NEAR,
    ANNEAL_RUN,
)
from cakewright.stopping import Stop


def anneal(
    instance: Instance, placed: Placed, group: IntArray, steps: int, seed: int, stop: Stop
) -> tuple[Placed, int]:
    """Minutes and machines of `group` after so many schedules, and the steps for `stop`: `schedule.anneal_chunk` each.

    The rest is as in `placed`. Hands may be booked twice, so this is good for its orders only: a schedule comes from
    decoding them. Same seed and steps: the same answer.
    """
    skip = {int(b) for b in group}
    bound = [
        *instance.arrays.kept_booking.tolist(),
        *hands_of(instance, placed, skip),
        *stations_of(instance, placed, skip),
    ]
    alone = replace(instance, arrays=instance.arrays._replace(kept_booking=np.array(bound, np.int64).reshape(-1, 3)))
    a, decoder = alone.arrays, Decoder(alone, float(ANNEAL_EARLINESS.value))
    for table, old in zip(decoder.placed, copy_placed(placed), strict=True):
        table[...] = old
    fixed = a.kept_at[group, 0] > UNSET
    builds = np.concatenate([group[fixed], _by(placed.at[:, 0], group[~fixed])])
    orders = Orders(builds, placed.machine.copy(), _by(placed.ready, lines_of(instance, skip)))
    cost = decoder.cost(orders)
    costs, rng = np.array([cost, cost]), np.random.default_rng(seed)
    best = orders.copy()
    hottest, coolest = (float(x.value) * max(cost, 1.0) for x in (ANNEAL_HOTTEST, ANNEAL_COOLEST))
    chunk, movable, tried = int(ANNEAL_CHUNK.value), int((~fixed).sum()), 0
    for done in range(0, steps if movable > 1 else 0, chunk):
        if stop(tried, costs[1]):
            break
        heat = np.geomspace(hottest, coolest, steps + 1)[[done, min(steps, done + chunk)]]
        anneal_steps(
            a, decoder.placed, *_lists(orders), *_lists(best), costs, len(builds) - movable, *decoder.skills,
            decoder.earliness, heat, min(chunk, steps - done), rng, int(ANNEAL_NEAR.value), int(ANNEAL_RUN.value),
        )  # fmt: skip
        tried += 1
    decoder.cost(best)
    return copy_placed(decoder.placed), tried


def lines_of(instance: Instance, builds: set[int]) -> IntArray:
    """Lines that need one of these builds."""
    a = instance.arrays
    needs = [
        any(int(b) in builds for b in a.line_build[a.line_build_at[i] : a.line_build_at[i + 1]])
        for i in range(len(instance.lines))
    ]
    return np.flatnonzero(needs).astype(np.int64)


def _by(minutes: IntArray, which: IntArray) -> IntArray:
    return which[np.argsort(minutes[which], kind="stable")].astype(np.int64)


def _lists(orders: Orders) -> tuple[IntArray, IntArray, IntArray]:
    return orders.builds, orders.machines, orders.lines


@bare_kernel
def carry(order: IntArray, i: int, j: int) -> None:
    """Take the entry at i out and put it in at j."""
    taken = order[i]
    while i < j:
        order[i] = order[i + 1]
        i += 1
    while i > j:
        order[i] = order[i - 1]
        i -= 1
    order[j] = taken


@kernel
def near(rng: np.random.Generator, i: int, far: int, low: int, high: int) -> int:
    """A place within `far` of i, or now and then anywhere, at least `low` and below `high`."""
    if rng.random() < 0.15:
        return int(rng.integers(low, high))
    place: int = min(max(i + int(rng.integers(-far, far + 1)), low), high - 1)
    return place


@kernel
def change(
    rng: np.random.Generator, a: Arrays, builds: IntArray, machines: IntArray, lines: IntArray, first: int, far: int,
    run: int,
) -> bool:  # fmt: skip
    """One random change of the orders, in place; builds before `first` stay. False when nothing has changed."""
    kind, n = rng.random(), len(builds)
    i = int(rng.integers(first, n))
    b, m = builds[i], int(rng.integers(0, a.printing.shape[1]))
    if kind < 0.10:
        if a.printing[b, m] <= 0 or machines[b] == m:
            return False
        machines[b] = m
    elif kind < 0.75:
        j = near(rng, i, far, first, n)
        if i == j:
            return False
        if rng.random() < 0.3:
            builds[i], builds[j] = builds[j], b
        else:
            carry(builds, i, j)
        if rng.random() < 0.3 and a.printing[b, m] > 0:
            machines[b] = m
    elif kind < 0.95:
        other = rng.random() < 0.4 and a.printing[b, m] > 0
        j, left = near(rng, i, 3 * far, first, n), int(rng.integers(2, run + 1))
        at = i
        while at < n and left > 0:
            one = builds[at]
            if a.material[one] == a.material[b]:
                carry(builds, at, j)
                if other and a.printing[one, m] > 0:
                    machines[one] = m
                left -= 1
                if j <= at:
                    j, at = min(j + 1, n - 1), at + 1
            else:
                at += 1
    elif len(lines) > 1:
        i = int(rng.integers(0, len(lines)))
        carry(lines, i, near(rng, i, far, 0, len(lines)))
    return True


@kernel
def anneal_steps(
    a: Arrays, p: Placed, builds: IntArray, machines: IntArray, lines: IntArray, best_builds: IntArray,
    best_machines: IntArray, best_lines: IntArray, costs: FloatArray, first: int, skill_start: int, skill_unpack: int,
    skill_inspect: int, earliness: float, heat: FloatArray, steps: int, rng: np.random.Generator, far: int, run: int,
) -> None:  # fmt: skip
    """Change the orders again and again; `costs` holds that of the current and of the best, `heat` first and last."""
    trial, chosen = np.empty(TRIAL, np.int64), np.empty(TRIAL, np.int64)
    new_builds, new_machines, new_lines = builds.copy(), machines.copy(), lines.copy()
    for step in range(steps):
        new_builds[:], new_machines[:], new_lines[:] = builds, machines, lines
        if not change(rng, a, new_builds, new_machines, new_lines, first, far, run):
            continue
        cost = place_all(
            a,
            p,
            new_builds,
            new_machines,
            new_lines,
            skill_start,
            skill_unpack,
            skill_inspect,
            earliness,
            trial,
            chosen,
        )
        warm = heat[0] * (heat[1] / heat[0]) ** (step / steps)
        if cost <= costs[0] or rng.random() < np.exp((costs[0] - cost) / warm):
            costs[0] = cost
            builds[:], machines[:], lines[:] = new_builds, new_machines, new_lines
            if cost < costs[1]:
                costs[1] = cost
                best_builds[:], best_machines[:], best_lines[:] = builds, machines, lines
