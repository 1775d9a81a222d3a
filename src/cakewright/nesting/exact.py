"""Exact packing of small lattice instances: every cell of the space filled, as in dissection puzzles.

Used only when there is no clearance, the pieces are unions of whole cells, and together they fill the
space exactly. Then the question is an exact cover: each cell once, each piece once. The search takes
the cell (or single piece) with the fewest possible placements, tries them in random order, and starts
again with another order when it has tried long enough (restarts after Luby, Sinclair, Zuckerman 1993).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.nesting.bank import Bank, Ints, Words
from cakewright.nesting.construct import Layout
from cakewright.sources.nesting import COVER_CELLS, COVER_NODES
from cakewright.stopping import Stop

FAILED, SOLVED, OUT_OF_NODES = 0, 1, 2


@dataclass(frozen=True, eq=False)
class Cover:
    """All ways to stand in the space: `kind` (p,) part number, `cells` (p, m) cell numbers padded with -1.

    `masks` (p, 2) are the same cells as bits; `pose`, `at` tell the placement; `cells_total` cells in the space.
    """

    kind: Ints
    cells: NDArray[np.int32]
    masks: Words
    pose: Ints
    at: Ints
    cells_total: int


def cover_of(bank: Bank, part: Ints, inner: tuple[int, int, int]) -> Cover | None:
    """The exact cover problem of a task, or None when it is not one of whole cells filling the space."""
    total = inner[0] * inner[1] * inner[2]
    if total > COVER_CELLS.value or not all(len(bank.poses_of(k)) for k in range(len(bank.keys))):
        return None
    if int(bank.count[bank.first[part]].sum()) != total:
        return None
    kinds, lists, poses, places = [], [], [], []
    for kind in range(len(bank.keys)):
        for pose in bank.poses_of(kind):
            cells = _cells(bank, pose)
            room = np.array(inner) - bank.cells[pose]
            for place in np.ndindex(*(int(r) + 1 for r in np.maximum(room, -1))):
                kinds.append(kind)
                poses.append(pose)
                places.append(place)
                lists.append(np.ravel_multi_index(tuple((cells + place).T), inner))
    width = max(len(c) for c in lists)
    table = np.full((len(lists), width), -1, np.int32)
    masks = np.zeros((len(lists), 2), np.uint64)
    for row, numbers in enumerate(lists):
        table[row, : len(numbers)] = numbers
        for n in numbers:
            masks[row, n >> 6] |= np.uint64(1) << np.uint64(n & 63)
    return Cover(np.array(kinds), table, masks, np.array(poses), np.array(places), total)


def _cells(bank: Bank, pose: int) -> Ints:
    """(c, 3) cells of a pose."""
    words = bank.bare[bank.bare_at[pose] : bank.bare_at[pose + 1]]
    nx, ny, _ = (int(c) for c in bank.cells[pose])
    bits = np.unpackbits(words.astype("<u8").view(np.uint8).reshape(nx, ny, -1), axis=2, bitorder="little")
    return np.argwhere(bits)


@kernel
def _solve(
    kind: Ints, cells: NDArray[np.int32], masks: Words, demand: Ints, total: int, rank: Ints, nodes: int, chosen: Ints
) -> int:
    """Depth-first exact cover within `nodes` nodes; `chosen` receives the placements."""
    count = len(kind)
    kinds = len(demand)
    depth_max = len(chosen)
    alive = np.empty((depth_max + 1, count), np.int32)
    size = np.zeros(depth_max + 1, np.int64)
    options = np.empty((depth_max + 1, count), np.int32)
    option_count = np.zeros(depth_max + 1, np.int64)
    option_next = np.zeros(depth_max + 1, np.int64)
    left = demand.copy()
    used0, used1 = np.uint64(0), np.uint64(0)
    for p in range(count):
        alive[0, p] = rank[p]
    size[0] = count
    depth = 0
    fresh = True
    per_cell = np.zeros(total, np.int64)
    per_kind = np.zeros(kinds, np.int64)
    while True:
        if fresh:
            if depth == depth_max:
                return SOLVED
            nodes -= 1
            if nodes < 0:
                return OUT_OF_NODES
            per_cell[:] = 0
            per_kind[:] = 0
            for a in range(size[depth]):
                p = alive[depth, a]
                per_kind[kind[p]] += 1
                for c in cells[p]:
                    if c < 0:
                        break
                    per_cell[c] += 1
            best, which, is_cell = 1 << 60, -1, True
            for c in range(total):
                word = used0 if c < 64 else used1
                if (word >> np.uint64(c & 63)) & np.uint64(1) == 0 and per_cell[c] < best:
                    best, which = per_cell[c], c
            for k in range(kinds):
                if per_kind[k] < left[k]:
                    best = 0
                if left[k] == 1 and per_kind[k] < best:
                    best, which, is_cell = per_kind[k], k, False
            n = 0
            if best > 0:
                for a in range(size[depth]):
                    p = alive[depth, a]
                    hit = False
                    if is_cell:
                        word = masks[p, which >> 6]
                        hit = (word >> np.uint64(which & 63)) & np.uint64(1) != 0
                    else:
                        hit = kind[p] == which
                    if hit:
                        options[depth, n] = p
                        n += 1
            option_count[depth] = n
            option_next[depth] = 0
            fresh = False
        if option_next[depth] == option_count[depth]:
            if depth == 0:
                return FAILED
            depth -= 1
            p = chosen[depth]
            used0 ^= masks[p, 0]
            used1 ^= masks[p, 1]
            left[kind[p]] += 1
            continue
        p = options[depth, option_next[depth]]
        option_next[depth] += 1
        chosen[depth] = p
        used0 |= masks[p, 0]
        used1 |= masks[p, 1]
        left[kind[p]] -= 1
        n = 0
        for a in range(size[depth]):
            q = alive[depth, a]
            if left[kind[q]] > 0 and masks[q, 0] & used0 == 0 and masks[q, 1] & used1 == 0:
                alive[depth + 1, n] = q
                n += 1
        size[depth + 1] = n
        depth += 1
        fresh = True


def _luby(i: int) -> int:
    """1 1 2 1 1 2 4 1 1 2 ..., i from 1."""
    k = i.bit_length()
    return 1 << (k - 1) if i == (1 << k) - 1 else _luby(i - (1 << (k - 1)) + 1)


def solve_cover(cover: Cover, part: Ints, stop: Stop, rng: np.random.Generator) -> Layout | None:
    """A layout that fills the space exactly; None when there is none or `stop` ended the search."""
    demand = np.bincount(part, minlength=int(part.max()) + 1).astype(np.int64)
    chosen = np.full(len(part), -1, np.int64)
    for turn in range(1, 1_000_000):
        rank = rng.permutation(len(cover.kind)).astype(np.int64)
        nodes = int(COVER_NODES.value) * _luby(turn)
        answer = _solve(cover.kind, cover.cells, cover.masks, demand, cover.cells_total, rank, nodes, chosen)
        if answer == SOLVED:
            return _layout(cover, part, chosen)
        if answer == FAILED or stop(turn, float("inf")):
            return None
    return None


def _layout(cover: Cover, part: Ints, chosen: Ints) -> Layout:
    layout = Layout.empty(part)
    free = {k: list(np.flatnonzero(part == k)) for k in set(part.tolist())}
    for p in chosen:
        i = free[int(cover.kind[p])].pop(0)
        layout.pose[i] = cover.pose[p]
        layout.at[i] = cover.at[p]
    return layout
