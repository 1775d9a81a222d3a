"""What a planner asks of a nest beyond its height: the wishes, what each unit of them is worth, and their limits."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields

import numpy as np

from cakewright.errors import InputError
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.sources import wishes as numbers
from cakewright.sources.physics import AREA_JUMP

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Weights:
    """Points for one unit of each wish, most important first; 1 point is worth 1 mm of build height.

    Units: interlocked pieces; mm short of the wider gap between thick parts; mm of height; points of the
    priced heights; cm² of area jumps over the limit; cm³ too much in crowded zones; mm of mean top of
    early pieces; cm³ of heavier solid above fragile pieces; mm from the middle of the line; mm short of
    the distance between look-alikes; reserved places not free; % of the cake that is not part.
    """

    interlocked: float = numbers.WEIGHT_INTERLOCKED.value
    clearance: float = numbers.WEIGHT_CLEARANCE.value
    height: float = numbers.WEIGHT_HEIGHT.value
    end: float = numbers.WEIGHT_END.value
    evenness: float = numbers.WEIGHT_EVENNESS.value
    crowding: float = numbers.WEIGHT_CROWDING.value
    early: float = numbers.WEIGHT_EARLY.value
    fragile: float = numbers.WEIGHT_FRAGILE.value
    together: float = numbers.WEIGHT_TOGETHER.value
    apart: float = numbers.WEIGHT_APART.value
    reserved: float = numbers.WEIGHT_RESERVED.value
    density: float = numbers.WEIGHT_DENSITY.value

    def __post_init__(self) -> None:
        """A wish can be worthless, never worth avoiding."""
        wrong = [f.name for f in fields(self) if not getattr(self, f.name) >= 0]
        if wrong:
            raise InputError(f"weight of {', '.join(wrong)} below zero", remedy="use zero or more")


@dataclass(frozen=True, slots=True)
class HeightWindow:
    """Build heights in [low, high] mm and their price in points, for example 0 when the print then ends in a shift."""

    low_mm: float
    high_mm: float
    price: float = 0.0

    def __post_init__(self) -> None:
        """A window has a length and a price of zero or more."""
        if not 0 <= self.low_mm <= self.high_mm or not self.price >= 0:
            raise InputError(
                f"heights {self.low_mm} to {self.high_mm} mm at price {self.price}",
                remedy="give the lower height first, and a price of zero or more",
            )


def height_price(height_mm: float, windows: Sequence[HeightWindow]) -> float:
    """Points for ending a build at a height: the cheapest window that holds it.

    Outside all windows it is the dearest of them plus 1 point for each mm to the nearest one; 0 without windows.
    """
    if not windows:
        return 0.0
    inside = [w.price for w in windows if w.low_mm <= height_mm <= w.high_mm]
    if inside:
        return min(inside)
    away = min(max(w.low_mm - height_mm, height_mm - w.high_mm) for w in windows)
    return max(w.price for w in windows) + away


def ceiling_mm(height_mm: float, windows: Sequence[HeightWindow], highest_mm: float) -> float:
    """How high the build may become at no higher price than it has; `height_mm` itself without windows."""
    now = height_price(height_mm, windows)
    free = [min(w.high_mm, highest_mm) for w in windows if w.price <= now and w.low_mm <= height_mm <= w.high_mm]
    return max([height_mm, *free])


@dataclass(frozen=True, slots=True)
class ReservedPlace:
    """A box in chamber coordinates (mm) kept free, clearance included; a specimen may stand in it.

    The specimen is the part `part_key` of the task in the first of its rotations that fits the box,
    in the middle of it, on its floor; it is named `name` and belongs to order line `line` (0: to no line).
    """

    name: str
    low_mm: Point
    high_mm: Point
    part_key: str = ""
    line: int = 0

    def __post_init__(self) -> None:
        """A place has a size."""
        if not all(a < b for a, b in zip(self.low_mm, self.high_mm, strict=True)):
            raise InputError(
                f"reserved place {self.name}: {self.low_mm} to {self.high_mm} mm has no size",
                remedy="give the lowest corner first",
            )


@dataclass(frozen=True, eq=False)
class NestWishes:
    """What is asked of a nest beyond its height; everything may be left out.

    Parameters
    ----------
    weights
        What each wish is worth.
    extra_mm
        By part key: two parts that are both named keep the clearance plus the smaller of their extras.
    windows
        Priced build heights, see `height_price`.
    area_jump
        Change of sintered area from one search layer to the next that is accepted, share of the platform.
    fragile
        Part keys that should have nothing heavier above them.
    together
        Whether the pieces of a line are wanted near each other.
    apart
        Groups of order lines that look alike; pieces of different lines of a group are wanted `apart_mm` from each
        other.
    reserved
        Places kept free or for specimens.
    """

    weights: Weights = field(default_factory=Weights)
    extra_mm: Mapping[str, float] = field(default_factory=dict)
    windows: tuple[HeightWindow, ...] = ()
    area_jump: float = AREA_JUMP.value
    fragile: frozenset[str] = frozenset()
    together: bool = True
    apart: tuple[frozenset[int], ...] = ()
    apart_mm: float = numbers.APART.value
    reserved: tuple[ReservedPlace, ...] = ()

    def check(self, keys: Collection[str], box_mm: tuple[FloatArray, FloatArray]) -> None:
        """Refuse unknown parts and places that cross a wall or each other; `box_mm` is the free room."""
        named = set(self.extra_mm) | self.fragile | {r.part_key for r in self.reserved if r.part_key}
        unknown = sorted(named - set(keys))
        if unknown:
            raise InputError(f"wishes name unknown parts: {', '.join(unknown)}", remedy="give their meshes")
        if any(not v >= 0 for v in self.extra_mm.values()):
            raise InputError("an extra clearance is below zero", remedy="use zero or more")
        for i, place in enumerate(self.reserved):
            low, high = np.array(place.low_mm), np.array(place.high_mm)
            if (low < box_mm[0] - 1e-6).any() or (high > box_mm[1] + 1e-6).any():
                raise InputError(
                    f"reserved place {place.name} crosses a wall margin, the floor or the ceiling",
                    remedy="move it inside, or take a smaller specimen",
                )
            for other in self.reserved[:i]:
                if (low < np.array(other.high_mm)).all() and (high > np.array(other.low_mm)).all():
                    raise InputError(
                        f"reserved places {other.name} and {place.name} overlap", remedy="move one of them"
                    )


def mean_thickness_mm(mesh: Mesh, volume_mm3: float) -> float:
    """2 x volume / area: the thickness of a plate, a third of the edge of a cube, a third of a sphere's diameter."""
    t = mesh.triangles
    area = float(np.linalg.norm(np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]), axis=1).sum() / 2)
    return 2 * volume_mm3 / area if area > 0 else 0.0
