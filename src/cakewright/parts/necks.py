"""The narrowest place on the widest way out of a hollow, to a hundredth of a millimetre where voxels know a millimetre.

On the voxel grid the widest way is found by closing off ever narrower places; the places that close last are the
neck. There the largest ball is sought again with exact distances to the surface, across the way.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from cakewright.model.mesh import FloatArray
from cakewright.parts.balls import BallScene

STEPS = 6  # halvings of the search for the width at which the way closes
SECTIONS = 24  # places along the neck that are measured again
ZOOMS = 5  # each time the search for the largest ball is narrowed to a third
Bits = NDArray[np.bool_]
Voxel = tuple[int, int, int]
_ROUND = ndimage.generate_binary_structure(3, 3)


def neck_width(balls: BallScene, distance: FloatArray, seed: Voxel, origin: FloatArray, voxel: float) -> float:
    """Diameter in mm of the largest ball that gets from the voxel `seed` to the outside; 0 when no way was found.

    `distance` (x, y, z) holds for each voxel the distance to the nearest solid one, 0 inside; voxel (0, 0, 0) lies
    outside the part. `origin` is the corner of that voxel in part coordinates.
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
    inner, outer, bridge = _bridge(distance, seed, low, high)
    if len(bridge) == 0:
        return 2 * low
    at = (bridge + 0.5) * voxel + origin
    along = outer.mean(axis=0) - inner.mean(axis=0) if len(outer) and len(inner) else np.zeros(3)
    length = float(np.linalg.norm(along))
    if length == 0:
        return 2 * float(balls.clearance(at).max())
    return _narrowest(balls, at, along / length, voxel)


def _is_joined(distance: FloatArray, seed: Voxel, least: float) -> bool:
    label, _ = ndimage.label(distance >= least)
    return bool(label[seed] != 0 and label[seed] == label[0, 0, 0])


def _bridge(
    distance: FloatArray, seed: Voxel, joined: float, closed: float
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """Voxels that touch the hollow's side, the outer side, and all voxels of the neck between both, (n, 3) each."""
    label, _ = ndimage.label(distance >= closed)
    inside, outside = label == label[seed], label == label[0, 0, 0]
    between, _ = ndimage.label((distance >= joined) & ~inside & ~outside, structure=_ROUND)
    to_inside, to_outside = (ndimage.binary_dilation(side, _ROUND) & (between > 0) for side in (inside, outside))
    both = np.intersect1d(between[to_inside], between[to_outside])
    if len(both) == 0:
        none = np.empty((0, 3), np.intp)
        return none, none, none
    neck = between == both[0]
    return np.argwhere(neck & to_inside), np.argwhere(neck & to_outside), np.argwhere(neck)


def _narrowest(balls: BallScene, at: FloatArray, along: FloatArray, voxel: float) -> float:
    """The smallest over sections across the neck of the largest ball in each section, mm in diameter."""
    across = np.linalg.svd(np.eye(3) - np.outer(along, along))[0][:, :2]
    height = at @ along
    slices = np.floor((height - height.min()) / voxel).astype(int)
    wanted = np.unique(np.linspace(0, slices.max(), SECTIONS).round().astype(int))
    grid = np.linspace(-1.0, 1.0, 7)
    spread = np.column_stack([v.ravel() for v in np.meshgrid(grid, grid)]) @ across.T
    width = np.inf
    for number in wanted:
        here = at[slices == number]
        if len(here) == 0:
            continue
        clear = balls.clearance(here)
        best, size, reach = here[np.argmax(clear)], float(clear.max()), voxel
        for _ in range(ZOOMS):
            tried = best + reach * spread
            clear = balls.clearance(tried)
            best, size, reach = tried[np.argmax(clear)], max(size, float(clear.max())), reach / 3
        width = min(width, 2 * size)
    return float(width)
