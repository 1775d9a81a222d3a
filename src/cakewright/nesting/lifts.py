"""Who must be lifted before whom, and places from which everything can still be lifted straight out.

For each pose two maps tell the lowest and the highest cell over each cell of its footprint. Piece b must leave
before piece a when over some footprint cell the highest cell of b is above the lowest of a. While these relations
have no ring, the build comes apart by straight lifts; a new piece is only put where it closes no ring.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.nesting.bank import Bank, Ints, Words
from cakewright.nesting.bits import blocked, mark

Heights = NDArray[np.int32]
Flags = NDArray[np.uint8]
_ALL = np.uint64(0xFFFFFFFFFFFFFFFF)
_ONE = np.uint64(1)
_EMPTY = 1 << 30


@kernel
def _fill_maps(bare: Words, bare_at: Ints, cells: Ints, map_at: Ints, low: Heights, top: Heights) -> None:
    for p in range(len(cells)):
        words = (cells[p, 2] + 63) // 64
        for c in range(cells[p, 0] * cells[p, 1]):
            lowest, highest = _EMPTY, -_EMPTY
            for a in range(words):
                word = bare[bare_at[p] + c * words + a]
                if word == 0:
                    continue
                if lowest == _EMPTY:
                    t = 0
                    while (word >> np.uint64(t)) & _ONE == 0:
                        t += 1
                    lowest = 64 * a + t
                t = 63
                while (word >> np.uint64(t)) & _ONE == 0:
                    t -= 1
                highest = 64 * a + t
            low[map_at[p] + c] = lowest
            top[map_at[p] + c] = highest


class Maps:
    """Lowest and highest cell of every pose over its footprint; pose p from `at[p]` on, rows along y."""

    def __init__(self, bank: Bank) -> None:
        self.at = np.concatenate([[0], np.cumsum(bank.cells[:, 0] * bank.cells[:, 1])]).astype(np.int64)
        self.low = np.empty(self.at[-1], np.int32)
        self.top = np.empty(self.at[-1], np.int32)
        _fill_maps(bank.bare, bank.bare_at, bank.cells, self.at, self.low, self.top)


@kernel
def _relation(
    p: int, x: int, y: int, z: int, q: int, u: int, v: int, w: int,
    cells: Ints, map_at: Ints, low: Heights, top: Heights,
) -> int:  # fmt: skip
    """1 when q at (u, v, w) must leave before p at (x, y, z), 2 when p before q, 3 both, 0 neither."""
    x0, x1 = max(x, u), min(x + cells[p, 0], u + cells[q, 0])
    y0, y1 = max(y, v), min(y + cells[p, 1], v + cells[q, 1])
    if x0 >= x1 or y0 >= y1:
        return 0
    may = 3
    if w >= z + cells[p, 2]:
        may = 1
    elif z >= w + cells[q, 2]:
        may = 2
    found = 0
    lift = w - z
    for i in range(x0, x1):
        a = map_at[p] + (i - x) * cells[p, 1] - y
        b = map_at[q] + (i - u) * cells[q, 1] - v
        for j in range(y0, y1):
            if top[b + j] + lift > low[a + j]:
                found |= 1
            if top[a + j] > low[b + j] + lift:
                found |= 2
            if found == may:
                return found
    return found


@kernel
def _relate(
    changed: Ints, pose: Ints, at: Ints, cells: Ints, map_at: Ints, low: Heights, top: Heights, above: Flags
) -> None:
    """Renew the rows and columns of `above` for the pieces in `changed`."""
    for i in changed:
        for k in range(len(pose)):
            found = 0
            if k != i and pose[i] >= 0 and pose[k] >= 0:
                found = _relation(pose[i], at[i, 0], at[i, 1], at[i, 2], pose[k], at[k, 0], at[k, 1], at[k, 2],
                                  cells, map_at, low, top)  # fmt: skip
            above[i, k] = found & 1
            above[k, i] = found >> 1


@kernel
def _closure(above: Flags, reach: Words) -> None:
    """reach[i] has bit k when k must leave before i, directly or through others."""
    n = len(above)
    reach[:] = np.uint64(0)
    for i in range(n):
        for k in range(n):
            if above[i, k]:
                reach[i, k >> 6] |= _ONE << np.uint64(k & 63)
    for k in range(n):
        for i in range(n):
            if (reach[i, k >> 6] >> np.uint64(k & 63)) & _ONE:
                for a in range(reach.shape[1]):
                    reach[i, a] |= reach[k, a]


@kernel
def _rings(
    i: int, p: int, x: int, y: int, z: int, pose: Ints, at: Ints, cells: Ints, map_at: Ints,
    low: Heights, top: Heights, reach: Words, before: Words, after: Words,
) -> bool:  # fmt: skip
    """True when piece i in this place would close a ring; `before` and `after` receive its relations."""
    nx, ny, nz = cells[p, 0], cells[p, 1], cells[p, 2]
    for k in range(len(pose)):  # most rings are closed by the piece around the place: look there first
        q = pose[k]
        if q < 0 or k == i or at[k, 2] >= z + nz or z >= at[k, 2] + cells[q, 2]:
            continue
        if _relation(p, x, y, z, q, at[k, 0], at[k, 1], at[k, 2], cells, map_at, low, top) == 3:
            return True
    before[:] = np.uint64(0)
    after[:] = np.uint64(0)
    for k in range(len(pose)):
        q = pose[k]
        if q < 0 or k == i or at[k, 0] >= x + nx or x >= at[k, 0] + cells[q, 0]:
            continue
        if at[k, 1] >= y + ny or y >= at[k, 1] + cells[q, 1]:
            continue
        found = _relation(p, x, y, z, pose[k], at[k, 0], at[k, 1], at[k, 2], cells, map_at, low, top)
        if found == 3:
            return True
        if found & 1:
            before[k >> 6] |= _ONE << np.uint64(k & 63)
            for a in range(len(before)):
                before[a] |= reach[k, a]
        if found & 2:
            after[k >> 6] |= _ONE << np.uint64(k & 63)
    shared = np.uint64(0)
    for a in range(len(before)):
        shared |= before[a] & after[a]
    return bool(shared != 0)


@kernel
def _join(i: int, pose: Ints, reach: Words, before: Words, after: Words) -> None:
    """Add piece i, with what leaves before and after it, to the relations."""
    for a in range(len(before)):
        reach[i, a] = before[a]
    for k in range(len(pose)):
        waits = (after[k >> 6] >> np.uint64(k & 63)) & _ONE != 0
        for a in range(len(after)):
            waits = waits or reach[k, a] & after[a] != 0
        if waits:
            for a in range(len(before)):
                reach[k, a] |= before[a]
            reach[k, i >> 6] |= _ONE << np.uint64(i & 63)


@kernel
def place_liftable(
    order: Ints, part: Ints, pose: Ints, at: Ints, taken: Words, floor: Ints, window: Ints, first: Ints,
    runs: NDArray[np.int32], run_at: Ints, last: Ints, top_mm: NDArray[np.float64], voxel_mm: float,
    fat: Words, fat_at: Ints, cells: Ints, pad: int,
    map_at: Ints, low: Heights, top: Heights, reach: Words, limit_mm: float,
) -> int:  # fmt: skip
    """Place pieces, each with the lowest top from which all can still be lifted; returns how many found no place.

    With a finite `limit_mm` every top must be below it, and the first piece without a place ends the work.
    `floor[pose]` is a height below which the pose is known to meet something or to close a ring; it is raised on
    the way, for pieces that are added change neither.
    """
    missing = 0
    before = np.zeros(reach.shape[1], np.uint64)
    after = np.zeros(reach.shape[1], np.uint64)
    for i in order:
        pose[i] = -1
        best = -1
        best_top = limit_mm
        for p in range(first[part[i]], first[part[i] + 1]):
            z0 = floor[p]
            while z0 <= last[p, 2] and z0 * voxel_mm + top_mm[p] < best_top - 1e-9:
                reach_z = min(last[p, 2] - z0, 63)
                if best_top < 1e299:
                    reach_z = min(reach_z, int(np.ceil((best_top - 1e-9 - top_mm[p]) / voxel_mm)) - 1 - z0)
                if reach_z < 0:
                    break
                care = _ALL >> np.uint64(63 - reach_z)
                lowest = reach_z + 1
                done = False
                for x in range(max(0, window[0]), min(last[p, 0], window[1]) + 1):
                    for y in range(max(0, window[2]), min(last[p, 1], window[3]) + 1):
                        free = ~blocked(taken, runs, run_at[p], run_at[p + 1], x, y, z0, care) & care
                        t = 0
                        while free != 0:
                            while free & _ONE == 0:
                                free = free >> _ONE
                                t += 1
                            if not _rings(i, p, x, y, z0 + t, pose, at, cells, map_at, low, top, reach, before, after):
                                lowest = t
                                best = p
                                best_top = (z0 + t) * voxel_mm + top_mm[p]
                                at[i, 0], at[i, 1], at[i, 2] = x, y, z0 + t
                                if t == 0:
                                    done = True
                                else:
                                    care = _ALL >> np.uint64(64 - t)
                                break
                            while free & _ONE != 0:  # straight up from here nothing changes: the same ring
                                free = free >> _ONE
                                t += 1
                        if done:
                            break
                    if done:
                        break
                z0 += lowest
                if lowest <= reach_z:
                    break
            floor[p] = max(floor[p], z0)
        if best < 0:
            missing += 1
            if limit_mm < 1e299:
                return missing
            continue
        x, y, z = at[i, 0], at[i, 1], at[i, 2]
        _rings(i, best, x, y, z, pose, at, cells, map_at, low, top, reach, before, after)
        pose[i] = best
        _join(i, pose, reach, before, after)
        mark(taken, fat, fat_at[best], cells[best], pad, x, y, z)
    return missing


class Lifts:
    """The relations of a layout, kept up to date from one insertion to the next."""

    def __init__(self, bank: Bank, pieces: int) -> None:
        self.bank = bank
        self.maps = Maps(bank)
        self.above = np.zeros((pieces, pieces), np.uint8)
        self.reach = np.zeros((pieces, (pieces + 63) // 64), np.uint64)
        self._pose = np.full(pieces, -1, np.int64)
        self._at = np.zeros((pieces, 3), np.int64)

    def update(self, pose: Ints, at: Ints) -> None:
        """Renew what has changed since the last call."""
        moved = (self._pose != pose) | ((self._at != at).any(axis=1) & (pose >= 0))
        changed = np.flatnonzero(moved).astype(np.int64)
        m = self.maps
        _relate(changed, pose, at, self.bank.cells, m.at, m.low, m.top, self.above)
        _closure(self.above, self.reach)
        self._pose[:], self._at[:] = pose, at
