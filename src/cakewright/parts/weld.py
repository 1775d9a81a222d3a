"""Joining corners that are the same point."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray


def weld_exact(points: FloatArray) -> tuple[FloatArray, IntArray]:
    """Join points with exactly equal coordinates (-0 counts as 0).

    Returns the distinct points in order of first appearance, (k, 3), and for each input point its
    index among them, (n,).
    """
    clean = np.ascontiguousarray(points, dtype=np.float64) + 0.0  # -0.0 + 0.0 is 0.0
    first, index = _number(clean.view(np.uint64))
    return clean[first], index


def weld_near(points: FloatArray, distance_mm: float) -> tuple[FloatArray, IntArray]:
    """Join points that fall within `distance_mm` of an earlier one, by chains; each keeps the place of the first.

    A chain of close points becomes one point, so `distance_mm` must stay far below the finest detail.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(points).query_pairs(distance_mm, output_type="ndarray")
    n = len(points)
    links = coo_array((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(links, directed=False)
    _, first, index = np.unique(label, return_index=True, return_inverse=True)
    return np.asarray(points[first]), index.astype(np.int32)


@kernel
def _number(bits: NDArray[np.uint64]) -> tuple[NDArray[np.int64], IntArray]:
    """Open-addressed table over the 192 bits of each point."""
    n = bits.shape[0]
    size = 16
    while size < 2 * n:
        size *= 2
    table = np.full(size, -1, np.int64)
    first = np.empty(n, np.int64)
    index = np.empty(n, np.int32)
    found = 0
    for i in range(n):
        h = bits[i, 0] * np.uint64(0x9E3779B97F4A7C15)
        h = (h ^ (h >> np.uint64(29)) ^ bits[i, 1]) * np.uint64(0xBF58476D1CE4E5B9)
        h = (h ^ (h >> np.uint64(32)) ^ bits[i, 2]) * np.uint64(0x94D049BB133111EB)
        h ^= h >> np.uint64(31)
        slot = np.int64(h & np.uint64(size - 1))
        while True:
            other = table[slot]
            if other < 0:
                table[slot] = found
                first[found] = i
                index[i] = found
                found += 1
                break
            j = first[other]
            if bits[j, 0] == bits[i, 0] and bits[j, 1] == bits[i, 1] and bits[j, 2] == bits[i, 2]:
                index[i] = other
                break
            slot = (slot + 1) & (size - 1)
    return first[:found].copy(), index
