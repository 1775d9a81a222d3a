"""Construction: pieces in some order, each to the free place with the lowest top."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.nesting.bank import Bank, Ints, Words
from cakewright.nesting.bits import empty_space, lowest_place, mark, mark_all, shade
from cakewright.nesting.lifts import Lifts, place_liftable

NO_LIMIT = 1e300


@dataclass(eq=False)
class Layout:
    """Where each piece stands: `pose` (n,), -1 for not placed; `at` (n, 3) cells. `part` (n,) is fixed."""

    part: Ints
    pose: Ints
    at: Ints

    @staticmethod
    def empty(part: Ints) -> Layout:
        """Nothing placed yet."""
        return Layout(part, np.full(len(part), -1, np.int64), np.zeros((len(part), 3), np.int64))

    def copy(self) -> Layout:
        """An independent copy."""
        return Layout(self.part, self.pose.copy(), self.at.copy())

    @property
    def placed(self) -> Ints:
        """Numbers of the placed pieces."""
        return np.flatnonzero(self.pose >= 0)

    def tops_mm(self, bank: Bank) -> NDArray[np.float64]:
        """True height of the top of each piece; 0 when not placed."""
        p = np.maximum(self.pose, 0)
        tops: NDArray[np.float64] = np.where(self.pose >= 0, self.at[:, 2] * bank.voxel_mm + bank.top_mm[p], 0.0)
        return tops

    def height_mm(self, bank: Bank) -> float:
        """Height of the highest piece."""
        return float(self.tops_mm(bank).max(initial=0.0)) if len(bank.top_mm) else 0.0


@kernel
def place_in_order(
    order: Ints,
    part: Ints,
    pose: Ints,
    at: Ints,
    taken: Words,
    floor: Ints,
    window: Ints,
    first: Ints,
    runs: NDArray[np.int32],
    run_at: Ints,
    last: Ints,
    top_mm: NDArray[np.float64],
    voxel_mm: float,
    fat: Words,
    fat_at: Ints,
    cells: Ints,
    pad: int,
) -> int:
    """Place the pieces of `order` one after the other; returns how many found no place."""
    missing = 0
    hopeless = np.zeros(len(first) - 1, np.uint8)
    for i in order:
        pose[i] = -1
        if hopeless[part[i]]:
            missing += 1
            continue
        p, x, y, z = lowest_place(
            taken, runs, run_at, last, top_mm, voxel_mm, first[part[i]], first[part[i] + 1], floor, window
        )
        if p < 0:
            hopeless[part[i]] = 1
            missing += 1
            continue
        pose[i] = p
        at[i, 0], at[i, 1], at[i, 2] = x, y, z
        mark(taken, fat, fat_at[p], cells[p], pad, x, y, z)
    return missing


class Workspace:
    """The space being filled, with what a search needs to fill it again and again."""

    def __init__(self, bank: Bank, kept_free: Words | None = None) -> None:
        """`kept_free` are cells, shaped as `taken`, that no piece may use."""
        self.bank = bank
        self.taken = empty_space(bank)
        self.kept_free = kept_free
        self.everywhere = np.array([0, bank.grid[0], 0, bank.grid[1]], np.int64)
        self._lifts: Lifts | None = None

    def reload(self, layout: Layout) -> None:
        """Mark exactly the pieces of `layout`."""
        b = self.bank
        mark_all(self.taken, b.fat, b.fat_at, b.cells, b.pad, layout.pose, layout.at)
        if self.kept_free is not None:
            self.taken |= self.kept_free

    def beside(self) -> Workspace:
        """Another space of the same kind, for work at the same time."""
        return Workspace(self.bank, self.kept_free)

    def insert(
        self,
        layout: Layout,
        order: Ints,
        floor: Ints | None = None,
        window: Ints | None = None,
        below_mm: float = NO_LIMIT,
    ) -> int:
        """Add pieces lowest first, from where all can be lifted straight out; returns how many found no place.

        With `below_mm` each top must be below it; the first piece for which that fails ends the work.
        """
        if self._lifts is None or len(self._lifts.above) != len(layout.part):
            self._lifts = Lifts(self.bank, len(layout.part))
        lifts = self._lifts
        order = np.asarray(order, np.int64)
        layout.pose[order] = -1
        lifts.update(layout.pose, layout.at)
        maps = lifts.maps
        known: tuple[Any, ...] = (maps.at, maps.low, maps.top, lifts.reach, below_mm)
        return place_liftable(order, *self._place(layout, floor, window), *known)

    def _place(self, layout: Layout, floor: Ints | None, window: Ints | None) -> tuple[Any, ...]:
        b = self.bank
        return (
            layout.part,
            layout.pose,
            layout.at,
            self.taken,
            np.zeros(len(b.cells), np.int64) if floor is None else floor,
            self.everywhere if window is None else window,
            b.first,
            b.runs,
            b.run_at,
            b.last,
            b.top_mm,
            b.voxel_mm,
            b.fat,
            b.fat_at,
            b.cells,
            b.pad,
        )

    def sink(self, layout: Layout, order: Ints, floor: Ints) -> int:
        """Add pieces lowest first wherever there is room, whether they can be lifted or not; how many found none."""
        return place_in_order(order, *self._place(layout, floor, None))

    def drop(self, layout: Layout, order: Ints) -> int:
        """Add pieces where they can be let down from above past everything in `layout`."""
        missing = 0
        for i in order:
            self.reload(layout)
            shade(self.taken)
            missing += place_in_order(np.array([i], np.int64), *self._place(layout, None, None))
        return missing


def sizes(bank: Bank, part: Ints) -> NDArray[np.float64]:
    """(n, 3) for each piece: cells of the solid, cells of the smallest box, longest edge of that box."""
    table = np.zeros((len(bank.keys), 3))
    for i in range(len(bank.keys)):
        poses = bank.poses_of(i)
        if len(poses):
            boxes = bank.cells[poses.start : poses.stop]
            small = boxes[np.argmin(boxes.prod(axis=1))]
            table[i] = bank.count[poses.start], small.prod(), small.max()
    return np.asarray(table[part])


def orders(bank: Bank, part: Ints, priority: NDArray[np.float64]) -> list[Ints]:
    """Orders worth trying, the usually best first: largest box, largest solid, longest edge."""
    measure = sizes(bank, part)
    return [np.lexsort((part, -measure[:, column], -priority)) for column in (1, 0, 2)]


def construct(work: Workspace, part: Ints, order: Ints) -> Layout:
    """A layout by placing in `order` from nothing."""
    layout = Layout.empty(part)
    work.reload(layout)
    work.insert(layout, order)
    return layout
