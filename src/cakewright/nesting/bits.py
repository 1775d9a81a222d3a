"""Compiled search over bit columns: where does a pose fit, lowest first.

`taken` (nx, ny, words) holds the cells nearer than the clearance to something placed, 64 cells of a
column in one word, with spare words on top so that a shifted read never leaves the array. One pass
over the runs of a pose tells for 64 heights at once whether it collides, and stops as soon as all
heights of interest are blocked.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.nesting.bank import Bank, Ints, Words

SPARE_WORDS = 4
_ALL = np.uint64(0xFFFFFFFFFFFFFFFF)


def empty_space(bank: Bank) -> Words:
    """A space with nothing in it."""
    nx, ny, nz = bank.grid
    tallest = int(bank.cells[:, 2].max()) if len(bank.cells) else 0
    return np.zeros((nx, ny, (nz + tallest) // 64 + SPARE_WORDS), np.uint64)


@kernel
def word_at(column: Words, bit: int) -> np.uint64:
    """64 cells of a column from cell `bit` >= 0 on."""
    a = bit >> 6
    s = np.uint64(bit & 63)
    if s == 0:
        return np.uint64(column[a])
    return np.uint64((column[a] >> s) | (column[a + 1] << (np.uint64(64) - s)))


@kernel
def blocked(
    taken: Words, runs: NDArray[np.int32], start: int, stop: int, x: int, y: int, z: int, care: np.uint64
) -> np.uint64:
    """Bit t is set when the pose at (x, y, z + t) meets a taken cell. Stops once all of `care` is set."""
    result = np.uint64(0)
    one = np.uint64(1)
    full = np.uint64(64)
    for r in range(start, stop):
        column = taken[x + runs[r, 0], y + runs[r, 1]]
        q = z + runs[r, 2]
        length = np.uint64(runs[r, 3])
        low = word_at(column, q)
        high = word_at(column, q + 64)
        if low == 0 and high == 0:
            continue
        step = one
        while step + step <= length:
            low |= (low >> step) | (high << (full - step))
            high |= high >> step
            step += step
        rest = length - step
        if rest > 0:
            low |= (low >> rest) | (high << (full - rest))
        result |= low
        if result & care == care:
            return result
    return result


@kernel
def lowest_place(
    taken: Words,
    runs: NDArray[np.int32],
    run_at: Ints,
    last: Ints,
    top_mm: NDArray[np.float64],
    voxel_mm: float,
    first_pose: int,
    last_pose: int,
    floor: Ints,
    window: Ints,
) -> tuple[int, int, int, int]:
    """The place with the lowest top over all poses of a part: (pose, x, y, z), pose -1 when there is none.

    `floor[pose]` is a height below which the pose is known not to fit; it is raised while nothing is
    taken out. `window` (4,) limits x and y: lowest x, highest x, lowest y, highest y.
    """
    best = (-1, 0, 0, 0)
    best_top = 1e300
    for pose in range(first_pose, last_pose):
        z0 = floor[pose]
        found = False
        while not found and z0 <= last[pose, 2] and z0 * voxel_mm + top_mm[pose] < best_top - 1e-9:
            reach = min(last[pose, 2] - z0, 63)
            if best_top < 1e299:
                reach = min(reach, int(np.ceil((best_top - 1e-9 - top_mm[pose]) / voxel_mm)) - 1 - z0)
            if reach < 0:
                break
            care = _ALL >> np.uint64(63 - reach)
            lowest = reach + 1
            for x in range(max(0, window[0]), min(last[pose, 0], window[1]) + 1):
                for y in range(max(0, window[2]), min(last[pose, 1], window[3]) + 1):
                    mask = blocked(taken, runs, run_at[pose], run_at[pose + 1], x, y, z0, care)
                    free = ~mask & care
                    if free != 0:
                        t = 0
                        while (free >> np.uint64(t)) & np.uint64(1) == 0:
                            t += 1
                        lowest = t
                        best = (pose, x, y, z0 + t)
                        best_top = (z0 + t) * voxel_mm + top_mm[pose]
                        found = True
                        if t == 0:
                            break
                        care = _ALL >> np.uint64(64 - t)
                if found and lowest == 0:
                    break
            z0 += lowest
        floor[pose] = max(floor[pose], z0)
    return best


@kernel
def mark(taken: Words, fat: Words, at: int, cells: Ints, pad: int, x: int, y: int, z: int) -> None:
    """Add the fat cells of a pose at (x, y, z) to `taken`; what lies outside the space is cut off."""
    nx, ny, nw = taken.shape
    words = (cells[2] + 2 * pad + 63) // 64
    wide = cells[1] + 2 * pad
    z -= pad
    for i in range(cells[0] + 2 * pad):
        gx = x - pad + i
        if gx < 0 or gx >= nx:
            continue
        for j in range(wide):
            gy = y - pad + j
            if gy < 0 or gy >= ny:
                continue
            for k in range(words):
                word = fat[at + (i * wide + j) * words + k]
                if word == 0:
                    continue
                q = z + 64 * k
                if q <= -64:
                    continue
                if q < 0:
                    word = word >> np.uint64(-q)
                    q = 0
                a = q >> 6
                s = np.uint64(q & 63)
                if a < nw:
                    taken[gx, gy, a] |= word << s
                if s != 0 and a + 1 < nw:
                    taken[gx, gy, a + 1] |= word >> (np.uint64(64) - s)


@kernel
def mark_all(taken: Words, fat: Words, fat_at: Ints, cells: Ints, pad: int, pose: Ints, at: Ints) -> None:
    """Clear the space and add every piece with pose >= 0."""
    taken[:] = np.uint64(0)
    for i in range(len(pose)):
        if pose[i] >= 0:
            p = pose[i]
            mark(taken, fat, fat_at[p], cells[p], pad, at[i, 0], at[i, 1], at[i, 2])


@kernel
def shade(taken: Words) -> None:
    """Take every cell that has a taken cell above it: what stays free can be reached from above."""
    for x in range(taken.shape[0]):
        for y in range(taken.shape[1]):
            covered = False
            for a in range(taken.shape[2] - 1, -1, -1):
                word = taken[x, y, a]
                if covered:
                    taken[x, y, a] = _ALL
                elif word != 0:
                    step = np.uint64(1)
                    while step < np.uint64(64):
                        word |= word >> step
                        step += step
                    taken[x, y, a] = word
                    covered = True
