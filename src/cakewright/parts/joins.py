"""Things that belong together: a forest of parents, joined pair by pair, numbered at the end."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel


@kernel
def join(parent: NDArray[np.intp], a: int, b: int) -> None:
    """Put a and b into one group; the smallest member stays its root. `parent` (m,) begins as 0 .. m - 1."""
    while parent[a] != a:
        parent[a] = parent[parent[a]]
        a = parent[a]
    while parent[b] != b:
        parent[b] = parent[parent[b]]
        b = parent[b]
    if a < b:
        parent[b] = a
    elif b < a:
        parent[a] = b


@kernel
def numbered(parent: NDArray[np.intp]) -> tuple[NDArray[np.int32], int]:
    """Group numbers (m,), counted in the order of their smallest members, and how many there are."""
    number = np.empty(len(parent), np.int32)
    found = 0
    for t in range(len(parent)):
        a = t
        while parent[a] != a:
            a = parent[a]
        if a == t:
            number[t] = found
            found += 1
        else:
            number[t] = number[a]
    return number, found
