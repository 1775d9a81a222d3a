"""A tree of boxes over triangles: who is near whom, without asking every pair."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray, Mesh

LEAF = 6  # triangles in a leaf


@dataclass(frozen=True, eq=False)
class BoxTree:
    """Binary tree in arrays: node k has `low[k]`, `high[k]` (3,), children `left[k]` and `left[k] + 1`, or, when
    `left[k]` is -1, the triangles `order[first[k] : first[k] + count[k]]`.
    """

    low: FloatArray
    high: FloatArray
    left: IntArray
    first: IntArray
    count: IntArray
    order: IntArray


@lru_cache(maxsize=1)  # the checks of one part ask for the same tree, one after the other
def box_tree(mesh: Mesh) -> BoxTree:
    """Build the tree by splitting the widest side at the middle triangle. O(m log m)."""
    corners = mesh.triangles
    low, high = corners.min(axis=1), corners.max(axis=1)
    nodes = 4 * (len(corners) // LEAF + 1) + 8
    order = np.arange(len(corners), dtype=np.int32)
    tree = _build(low, high, order, nodes)
    return BoxTree(*tree, order)


@kernel
def _build(
    low: FloatArray, high: FloatArray, order: IntArray, nodes: int
) -> tuple[FloatArray, FloatArray, IntArray, IntArray, IntArray]:
    lo, hi = np.empty((nodes, 3)), np.empty((nodes, 3))
    left, first, count = np.full(nodes, -1, np.int32), np.zeros(nodes, np.int32), np.zeros(nodes, np.int32)
    first[0], count[0] = 0, len(order)
    made = 1
    k = 0
    while k < made:
        a, n = first[k], count[k]
        for axis in range(3):
            lo[k, axis], hi[k, axis] = np.inf, -np.inf
        for i in range(a, a + n):
            for axis in range(3):
                lo[k, axis] = min(lo[k, axis], low[order[i], axis])
                hi[k, axis] = max(hi[k, axis], high[order[i], axis])
        if n > LEAF and made + 2 <= nodes:
            axis = 0
            for other in range(1, 3):
                if hi[k, other] - lo[k, other] > hi[k, axis] - lo[k, axis]:
                    axis = other
            piece = order[a : a + n]
            middle = np.empty(n)
            for i in range(n):
                middle[i] = low[piece[i], axis] + high[piece[i], axis]
            ranked = piece[np.argsort(middle)]
            for i in range(n):
                order[a + i] = ranked[i]
            left[k] = made
            half = n // 2
            first[made], count[made] = a, half
            first[made + 1], count[made + 1] = a + half, n - half
            made += 2
        k += 1
    return lo[:made].copy(), hi[:made].copy(), left[:made].copy(), first[:made].copy(), count[:made].copy()


@kernel
def overlapping_boxes(
    tree_low: FloatArray,
    tree_high: FloatArray,
    left: IntArray,
    first: IntArray,
    count: IntArray,
    order: IntArray,
    low: FloatArray,
    high: FloatArray,
    me: int,
    out: NDArray[np.int64],
) -> int:
    """Numbers of the triangles above `me` whose boxes overlap its box, into `out`; returns how many."""
    stack = np.empty(128, np.int64)
    stack[0] = 0
    depth, found = 1, 0
    while depth > 0:
        depth -= 1
        k = stack[depth]
        apart = False
        for axis in range(3):
            if tree_low[k, axis] > high[me, axis] or tree_high[k, axis] < low[me, axis]:
                apart = True
        if apart:
            continue
        if left[k] >= 0:
            stack[depth], stack[depth + 1] = left[k], left[k] + 1
            depth += 2
            continue
        for i in range(first[k], first[k] + count[k]):
            j = order[i]
            if j <= me:
                continue
            apart = False
            for axis in range(3):
                if low[j, axis] > high[me, axis] or high[j, axis] < low[me, axis]:
                    apart = True
            if not apart and found < len(out):
                out[found] = j
                found += 1
    return found
