"""The narrowest place on the widest way out of a hollow, to hundredths of a millimetre where voxels know a millimetre.

On the voxel grid the widest way is found by closing off ever narrower places. Along it, wherever it is narrow, the
largest ball is sought again with exact distances to the surface, across the way.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray
from cakewright.parts.balls import BallScene

STEPS = 6  # halvings of the search for the width at which the way closes
SECTIONS = 40  # narrow places along the way that are measured again
AHEAD = 4  # voxels before and behind that tell its direction
MOVES, ZOOMS = 8, 5  # looks that may shift by a voxel, then each a third as wide as the one before
_GRID = np.linspace(-1.0, 1.0, 7)
_PATTERN = np.column_stack([v.ravel() for v in np.meshgrid(_GRID, _GRID)])
_RIM = np.abs(_PATTERN).max(axis=1) > 0.99
Voxel = tuple[int, int, int]


def neck_width(
    balls: BallScene, distance: FloatArray, seed: Voxel, origin: FloatArray, voxel: float, enough_mm: float
) -> float:
    """Diameter in mm of the largest ball that gets from the voxel `seed` to the outside; 0 when no way was found.

    `distance` (x, y, z) holds for each voxel the distance to the nearest solid one, 0 inside; voxel (0, 0, 0) lies
    outside the part. `origin` is the corner of that voxel in part coordinates. Of a way wider than `enough_mm` only
    that is known.
    """
    # at half a voxel or below the grid sees no wall: such ways are not told from none
    low, high = 0.5 * voxel, float(distance[seed])
    if not _is_joined(distance, seed, low):
        return 0.0
    for _ in range(STEPS):
        middle = 0.5 * (low + high)
        if _is_joined(distance, seed, middle):
            low = middle
        else:
            high = middle
    way = _way_out(distance, seed[0], seed[1], seed[2], low)
    width = np.inf
    here = distance[tuple(way.T)]
    narrow = np.flatnonzero(here < low + 0.75 * voxel)
    for k in narrow[:: len(narrow) // SECTIONS + 1]:
        along = (way[min(k + AHEAD, len(way) - 1)] - way[max(k - AHEAD, 0)]).astype(np.float64)
        at = (way[k] + 0.5) * voxel + origin
        width = min(width, _widest(balls, at, along / np.linalg.norm(along), voxel, enough_mm))
    return float(width) if np.isfinite(width) else 2 * low


def _is_joined(distance: FloatArray, seed: Voxel, least: float) -> bool:
    label, _ = ndimage.label(distance >= least)
    return bool(label[seed] != 0 and label[seed] == label[0, 0, 0])


def _widest(balls: BallScene, at: FloatArray, along: FloatArray, voxel: float, enough_mm: float) -> float:
    """Diameter of the largest ball with its middle in the plane across `along`, climbing from a place near it."""
    across = np.linalg.svd(np.eye(3) - np.outer(along, along))[0][:, :2]
    spread = _PATTERN @ across.T
    size, reach, moves = 0.0, voxel, 0
    for _ in range(MOVES + ZOOMS):
        tried = at + reach * spread
        clear = balls.clearance(tried)
        best = int(np.argmax(clear))
        climbed = clear[best] > size + 1e-9
        if climbed:
            at, size = tried[best], float(clear[best])
        if 2 * size > enough_mm:
            return 2 * size
        if climbed and _RIM[best] and moves < MOVES:
            moves += 1
        else:
            reach /= 3
    return 2 * size


@kernel
def _way_out(distance: FloatArray, i: int, j: int, k: int, least: float) -> IntArray:
    """The shortest way from a voxel to (0, 0, 0) over voxels at least so far from the solid, (n, 3), over faces."""
    nx, ny, nz = distance.shape
    came = np.full(nx * ny * nz, -1, np.int32)
    queue = np.empty(nx * ny * nz, np.int32)
    first = (i * ny + j) * nz + k
    queue[0] = first
    came[first] = first
    head, tail = 0, 1
    while head < tail and came[0] < 0:
        here = queue[head]
        head += 1
        x, y, z = here // (ny * nz), here // nz % ny, here % nz
        for a, b, c in ((x - 1, y, z), (x + 1, y, z), (x, y - 1, z), (x, y + 1, z), (x, y, z - 1), (x, y, z + 1)):
            if a < 0 or b < 0 or c < 0 or a >= nx or b >= ny or c >= nz or distance[a, b, c] < least:
                continue
            there = (a * ny + b) * nz + c
            if came[there] < 0:
                came[there] = here
                queue[tail] = there
                tail += 1
    count, at = 1, 0
    while came[at] != at:
        at = came[at]
        count += 1
    way = np.empty((count, 3), np.int32)
    at = 0
    for n in range(count - 1, -1, -1):
        way[n, 0], way[n, 1], way[n, 2] = at // (ny * nz), at // nz % ny, at % nz
        at = came[at]
    return way
