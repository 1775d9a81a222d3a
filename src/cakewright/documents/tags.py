"""Place tags on a picture so that none covers another, with a line to the spot that each belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_PT_MM = 0.3528
_ROUNDS = 120
_AIR_MM = 0.5


@dataclass(frozen=True, slots=True)
class Tag:
    """A tag with its middle and the spot that it names, both as shares of width and height of the picture."""

    text: str
    at: tuple[float, float]
    spot: tuple[float, float]

    @property
    def is_moved(self) -> bool:
        """True when it does not lie on its spot."""
        return max(abs(a - b) for a, b in zip(self.at, self.spot, strict=True)) > 0.02


def size_of(count: int) -> float:
    """Type size in points for so many tags on one picture: as large as there is room for."""
    return 18.0 if count <= 12 else 14.0 if count <= 24 else 10.0


def box_mm(text: str, pt: float) -> tuple[float, float]:
    """Width and height of a tag in mm, its frame included."""
    return 0.68 * pt * _PT_MM * len(text) + 1.8, pt * _PT_MM + 1.2


def spread_tags(
    named: Sequence[tuple[str, float, float]], width_mm: float, height_mm: float, pt: float
) -> tuple[Tag, ...]:
    """(text, x, y) moved apart until no two overlap, or as far as the picture has room; they stay inside it."""
    if not named:
        return ()
    scale = np.array([width_mm, height_mm])
    spots = np.array([(x, y) for _, x, y in named]) * scale
    half = np.array([box_mm(text, pt) for text, _, _ in named]) / 2.0 + _AIR_MM / 2.0
    at = np.clip(spots, half, np.maximum(scale - half, half))
    for _ in range(_ROUNDS):
        if not _push(at, half):
            break
        at = np.clip(at, half, np.maximum(scale - half, half))
    return tuple(
        Tag(text, (float(a[0] / width_mm), float(a[1] / height_mm)), (float(s[0] / width_mm), float(s[1] / height_mm)))
        for (text, _, _), a, s in zip(named, at, spots, strict=True)
    )


def _push(at: FloatArray, half: FloatArray) -> bool:
    """Move every overlapping pair apart along the shorter way, in place; True while something overlapped."""
    moved = False
    for i in range(len(at)):
        for j in range(i + 1, len(at)):
            gap = at[j] - at[i]
            over = half[i] + half[j] - np.abs(gap)
            if (over <= 1e-6).any():
                continue
            moved = True
            axis = int(np.argmin(over))
            way = 1.0 if gap[axis] > 0 or (gap[axis] == 0 and j % 2) else -1.0
            at[i, axis] -= way * over[axis] / 2.0
            at[j, axis] += way * over[axis] / 2.0
    return moved
