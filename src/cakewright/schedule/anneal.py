"""Annealing: builds are put in another order thousands of times, worse ones kept less and less.

One step is one changed order (`moves`), decoded as far as it takes to know whether it is kept (`redecode`): how much
worse it may be is drawn before. Builds of all chamber sizes are annealed together, since they share hands.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from cakewright.compiled import kernel
from cakewright.schedule.cpsat import copy_placed
from cakewright.schedule.decode import TRIAL, line_cost
from cakewright.schedule.dispatch import Decoder, Orders
from cakewright.schedule.instance import Arrays, FloatArray, Instance, IntArray
from cakewright.schedule.kept import UNSET
from cakewright.schedule.moves import change
from cakewright.schedule.placed import Placed
from cakewright.schedule.redecode import Tails, place_again, shortened, tails_of
from cakewright.sources.schedule import (
    ANNEAL_CHUNK,
    ANNEAL_COOLEST,
    ANNEAL_EARLINESS,
    ANNEAL_HOPE,
    ANNEAL_HOTTEST,
    ANNEAL_NEAR,
    ANNEAL_RUN,
    ANNEAL_SPARE_DAYS,
)
from cakewright.stopping import Stop

_MIN_PER_DAY = 24 * 60


def anneal(
    instance: Instance,
    placed: Placed,
    steps: int,
    seed: int,
    stop: Stop,
    gone: Callable[[int], float] = lambda tried: 0.0,
) -> tuple[Placed, int]:
    """The best schedule after so many changed orders, and the steps for `stop`: `schedule.anneal_chunk` changes each.

    `gone(tried)` is the share of the time for it that is used up after so many steps of `stop`: it cools as fast as
    that asks for, if that is faster than `steps` do. The schedule may cost more than `placed` where its order alone
    does not lead to it again. Same seed and steps: the same answer.
    """
    latest = max(int(placed.ready.max(initial=0)), int(placed.end.max(initial=0)))
    until = latest + int(ANNEAL_SPARE_DAYS.value) * _MIN_PER_DAY
    short = replace(instance, arrays=shortened(instance.arrays, until))
    a, decoder = short.arrays, Decoder(short, float(ANNEAL_EARLINESS.value))
    by_load = np.argsort(placed.at[:, 0], kind="stable").astype(np.int64)
    fixed = a.kept_at[by_load, 0] > UNSET
    builds = np.concatenate([by_load[fixed], by_load[~fixed]])
    orders = Orders(builds, placed.machine.copy(), np.argsort(placed.ready, kind="stable").astype(np.int64))
    first, best, cost = int(fixed.sum()), orders.copy(), decoder.cost(orders)
    if len(builds) - first < 2 or not len(orders.lines) or not np.isfinite(cost):
        return placed, 0
    costs, rng, tails = np.array([cost, cost]), np.random.default_rng(seed), tails_of(instance)
    hottest, coolest = (float(x.value) * max(cost, 1.0) for x in (ANNEAL_HOTTEST, ANNEAL_COOLEST))
    chunk, tried, share = int(ANNEAL_CHUNK.value), 0, 0.0
    while tried * chunk < steps and share < 1.0 and not stop(tried, costs[1]):
        size = min(chunk, steps - tried * chunk)
        heat = np.array([hottest * (coolest / hottest) ** share, 0.0])
        share = min(1.0, max((tried * chunk + size) / steps, gone(tried + 1)))
        heat[1] = hottest * (coolest / hottest) ** share
        anneal_steps(
            a, decoder.placed, *_lists(orders), *_lists(best), costs, tails, first, *decoder.skills, decoder.earliness,
            heat, size, rng, int(ANNEAL_NEAR.value), int(ANNEAL_RUN.value), float(ANNEAL_HOPE.value),
        )  # fmt: skip
        tried += 1
    decoder.cost(best)
    return copy_placed(decoder.placed), tried


def _lists(orders: Orders) -> tuple[IntArray, IntArray, IntArray]:
    return orders.builds, orders.machines, orders.lines


@kernel
def anneal_steps(
    a: Arrays, p: Placed, builds: IntArray, machines: IntArray, lines: IntArray, best_builds: IntArray,
    best_machines: IntArray, best_lines: IntArray, costs: FloatArray, tails: Tails, first: int, skill_start: int,
    skill_unpack: int, skill_inspect: int, earliness: float, heat: FloatArray, steps: int, rng: np.random.Generator,
    far: int, run: int, hope: float,
) -> None:  # fmt: skip
    """Change the orders again and again; `costs` holds that of the current and of the best, `heat` first and last."""
    trial, low, scratch = np.empty(TRIAL, np.int64), np.empty(len(a.due), np.int64), np.empty(len(builds), np.int64)
    old = np.empty((len(a.load), TRIAL), np.int64)
    new_builds, new_machines, new_lines = builds.copy(), machines.copy(), lines.copy()
    costs[0] = place_again(
        a, p, builds, machines, lines, tails, 0, old, old, low, trial, skill_start, skill_unpack, skill_inspect,
        earliness, np.inf, np.inf, np.zeros(len(a.due)),
    )  # fmt: skip
    new, was = old.copy(), np.zeros(len(a.due))
    for line in lines:
        was[line] = line_cost(a, line, p.ready[line], earliness)
    for step in range(steps):
        new_builds[:], new_machines[:], new_lines[:] = builds, machines, lines
        if not change(rng, a, new_builds, new_machines, new_lines, first, far, run, scratch):
            continue
        same = 0
        while same < len(builds) and new_builds[same] == builds[same]:
            if new_machines[builds[same]] != machines[builds[same]]:
                break
            same += 1
        warm = heat[0] * (heat[1] / heat[0]) ** (step / steps)
        limit = costs[0] - warm * np.log(1.0 - rng.random())
        cost = place_again(
            a, p, new_builds, new_machines, new_lines, tails, same, old, new, low, trial, skill_start, skill_unpack,
            skill_inspect, earliness, limit, hope * warm, was,
        )  # fmt: skip
        if np.isinf(cost):
            continue
        for i in range(same, len(builds)):
            old[new_builds[i]] = new[new_builds[i]]
        for line in lines:
            was[line] = line_cost(a, line, p.ready[line], earliness)
        costs[0] = cost
        builds[:], machines[:], lines[:] = new_builds, new_machines, new_lines
        if cost < costs[1]:
            costs[1] = cost
            best_builds[:], best_machines[:], best_lines[:] = builds, machines, lines
