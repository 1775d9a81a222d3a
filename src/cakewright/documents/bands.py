"""The cake cut into depth bands for break-out: what is met when, what is announced before, what hangs on what."""

from __future__ import annotations

import math
from dataclasses import dataclass

from cakewright.documents.words import trays
from cakewright.model.build import Build, Placement
from cakewright.model.plan import WeekPlan
from cakewright.sources.safety import FRAGILE_WARNING

_ABOUT_BANDS = 8
_ROUND_MM = 10.0


@dataclass(frozen=True, slots=True)
class Group:
    """Pieces of one line whose tops lie in one band."""

    line: int
    letter: str
    pieces: tuple[Placement, ...]
    is_delicate: bool


@dataclass(frozen=True, slots=True)
class Band:
    """Depths are mm below the surface of the cake, [top, bottom).

    `coming` are fragile pieces announced here: each is met at least the warning depth below `top_mm`,
    or, in the first band, straight away. `waits` pairs a piece with those that must leave before it.
    """

    top_mm: float
    bottom_mm: float
    groups: tuple[Group, ...]
    coming: tuple[tuple[Placement, float], ...]
    waits: tuple[tuple[str, tuple[str, ...]], ...]
    stuck: tuple[tuple[str, ...], ...]

    @property
    def pieces(self) -> tuple[Placement, ...]:
        """All pieces of the band."""
        return tuple(p for g in self.groups for p in g.pieces)


def surface_mm(plan: WeekPlan, build: Build) -> float:
    """Height of the cake's surface in chamber coordinates: the nest and the cover powder over it."""
    return build.nest.height_mm + plan.cell.chamber_type(build.chamber_type).cover_mm


def depth_of(plan: WeekPlan, build: Build, piece: Placement) -> float:
    """Depth of a piece's highest point below the surface of the cake, mm."""
    return surface_mm(plan, build) - piece.z_max_mm


def band_mm(cake_mm: float) -> float:
    """Thickness of a band: about eight to a cake, whole centimetres, never less than the fragile warning."""
    rounded = math.ceil(cake_mm / _ABOUT_BANDS / _ROUND_MM) * _ROUND_MM
    return max(rounded, FRAGILE_WARNING.value)


def bands(plan: WeekPlan, build: Build) -> tuple[Band, ...]:
    """Bands from the top of the cake down; bands without anything to say are left out."""
    thick = band_mm(surface_mm(plan, build))
    depth = {p.piece: depth_of(plan, build, p) for p in build.nest.placements}
    deepest = max(depth.values(), default=0.0)
    cut = [(k * thick, (k + 1) * thick) for k in range(int(deepest // thick) + 1)]
    made = [_band(plan, build, depth, top, bottom) for top, bottom in cut]
    return tuple(b for b in made if b.groups or b.coming)


def _band(plan: WeekPlan, build: Build, depth: dict[str, float], top: float, bottom: float) -> Band:
    here = [p for p in build.nest.placements if top <= depth[p.piece] < bottom]
    names = {p.piece for p in here}
    return Band(
        top,
        bottom,
        _groups(plan, build, here, depth),
        _coming(plan, build, depth, top, bottom),
        tuple((piece, before) for piece, before in build.removal.hooked if piece in names),
        tuple(group for group in build.removal.stuck if names & set(group)),
    )


def _groups(plan: WeekPlan, build: Build, here: list[Placement], depth: dict[str, float]) -> tuple[Group, ...]:
    order = {piece: i for i, piece in enumerate(build.removal.order)}
    here = sorted(here, key=lambda p: (order.get(p.piece, len(order)), depth[p.piece], p.piece))
    letters = trays(build)
    return tuple(
        Group(
            line,
            letters[line],
            tuple(p for p in here if p.line == line),
            any(plan.parts[p.part_key].is_delicate for p in here if p.line == line),
        )
        for line in dict.fromkeys(p.line for p in here)
    )


def _coming(
    plan: WeekPlan, build: Build, depth: dict[str, float], top: float, bottom: float
) -> tuple[tuple[Placement, float], ...]:
    warn = FRAGILE_WARNING.value
    first = -math.inf if top == 0 else top + warn
    fragile = [p for p in build.nest.placements if plan.parts[p.part_key].is_delicate]
    soon = [(p, depth[p.piece]) for p in fragile if first <= depth[p.piece] < bottom + warn]
    return tuple(sorted(soon, key=lambda item: (item[1], item[0].piece)))
