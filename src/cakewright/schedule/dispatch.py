"""Dispatch: an instant schedule by urgency, and the longer calendar when the first is too short."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cakewright.errors import NoCalendarError
from cakewright.model.cell import Cell
from cakewright.schedule.calendars import Span, minutes_after
from cakewright.schedule.decode import decode
from cakewright.schedule.feasible import check_jobs, check_possible
from cakewright.schedule.instance import INSPECT, START, UNPACK, Instance, IntArray, make_instance
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.kept import NOTHING_KEPT, Kept
from cakewright.schedule.placed import Placed, empty_placed
from cakewright.schedule.trained import ended_words
from cakewright.sources.schedule import EARLINESS_WEIGHT, HORIZON_DAYS, HORIZON_MOST_DAYS

_MIN_PER_DAY = 24 * 60


@dataclass(frozen=True, eq=False)
class Orders:
    """What the decoder is told: order of builds, wanted machine of each (-1: earliest), order of lines."""

    builds: IntArray
    machines: IntArray
    lines: IntArray

    def copy(self) -> Orders:
        """An independent copy."""
        return Orders(self.builds.copy(), self.machines.copy(), self.lines.copy())


class Decoder:
    """Turns orders into a cost and placed tasks for one instance; the buffers are used again by each call."""

    def __init__(self, instance: Instance, earliness: float = float(EARLINESS_WEIGHT.value)) -> None:
        self.instance = instance
        self.placed = empty_placed(instance.arrays)
        start, unpack, inspect = (instance.skills.index(s) for s in (START, UNPACK, INSPECT))
        self.skills: tuple[int, int, int] = (start, unpack, inspect)
        self.earliness = earliness

    def cost(self, orders: Orders) -> float:
        """Cost of the schedule that `orders` lead to; afterwards `placed` holds it."""
        a = self.instance.arrays
        start, unpack, inspect = self.skills
        return decode(
            a, self.placed, orders.builds, orders.machines, orders.lines, start, unpack, inspect, self.earliness
        )

    def schedule(self, orders: Orders) -> Placed:
        """The placed tasks of `orders`; NoCalendarError when something does not fit into the horizon."""
        if not np.isfinite(self.cost(orders)):
            raise NoCalendarError("the calendar is too short for these orders", remedy="lengthen the horizon")
        return self.placed


def dispatch_rules(instance: Instance) -> list[Orders]:
    """Starting orders: by due date, by slack after the shortest print, by weight for each hour of work."""
    a = instance.arrays
    due, weight = _build_due(instance)
    work = np.where(a.printing > 0, a.printing, 1 << 30).min(axis=1) + a.cool + a.unpack
    slack = due - work
    ratio = weight / np.maximum(work, 1)
    free = np.full(len(a.load), -1, dtype=np.int64)
    lines = np.lexsort((-a.weight, a.due)).astype(np.int64)
    keys = [(work, due), (due, slack), (due, -ratio)]
    return [Orders(np.lexsort(key).astype(np.int64), free.copy(), lines.copy()) for key in keys]


def _build_due(instance: Instance) -> tuple[IntArray, np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Earliest due minute and summed weight of the lines in each build; builds without lines come last."""
    n = len(instance.builds)
    due = np.full(n, 1 << 30, dtype=np.int64)
    weight = np.zeros(n, dtype=np.float64)
    index = {job.key: i for i, job in enumerate(instance.builds)}
    for line, minute in zip(instance.lines, instance.arrays.due, strict=True):
        for key in line.builds:
            due[index[key]] = min(due[index[key]], minute)
            weight[index[key]] += line.weight
    return due, weight


def dispatch(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    origin: datetime,
    closed: Mapping[str, Sequence[Span]] | None = None,
    kept: Kept = NOTHING_KEPT,
    steady_at: Mapping[str, int] | None = None,
) -> tuple[Decoder, Orders]:
    """The best dispatch rule on the shortest horizon that holds everything.

    Raises NoCalendarError when a task can never be done, or has no place within the longest horizon.
    """
    check_jobs(builds, lines)
    horizon = _first_horizon(builds, origin)
    check_possible(cell, builds, lines, origin, horizon, kept)
    longest = int(HORIZON_MOST_DAYS.value) * _MIN_PER_DAY
    while True:
        decoder = Decoder(make_instance(cell, builds, lines, origin, horizon, closed, kept, steady_at))
        rules = dispatch_rules(decoder.instance)
        costs = [decoder.cost(orders) for orders in rules]
        best = int(np.argmin(costs))
        if np.isfinite(costs[best]):
            return decoder, rules[best]
        if horizon >= longest:
            raise NoCalendarError(
                f"no place for every task within {horizon // _MIN_PER_DAY} days"
                + "".join(ended_words(cell, skill) for skill in sorted({s for p in cell.people for s, _ in p.until})),
                remedy="look for a step that only runs on days on which nobody with its skill has the hours",
            )
        horizon = min(2 * horizon, longest)


def _first_horizon(builds: Sequence[BuildJob], origin: datetime) -> int:
    latest = max((minutes_after(origin, job.release) for job in builds), default=0)
    work = sum(min(job.print_min.values(), default=0) + job.cool_min for job in builds)
    return int(HORIZON_DAYS.value) * _MIN_PER_DAY + max(latest, 0) + work
