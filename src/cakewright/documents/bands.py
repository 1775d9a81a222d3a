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
    """Pieces of one line whose tops lie in one band; those in one of the `cages` come out with it."""

    line: int
    letter: str
    pieces: tuple[Placement, ...]
    is_delicate: bool
    cages: int = 0


@dataclass(frozen=True, slots=True)
class Waits:
    """A piece that must stay when it is met, what it hangs under, and the depth at which it comes free."""

    piece: str
    before: tuple[str, ...]
    until_mm: float


@dataclass(frozen=True, slots=True)
class Band:
    """Depths are mm below the surface of the cake, [top, bottom).

    `coming` are fragile pieces announced here: each is met at least the warning depth below `top_mm`,
    or, in the first band, straight away. `waits` pairs a piece of this band with pieces of deeper bands
    that must leave before it: it stays, and leaves with the band in `until_mm`. `first` pairs a piece
    with pieces of this band that go first. Pieces of bands above are out by then and not mentioned.
    """

    top_mm: float
    bottom_mm: float
    groups: tuple[Group, ...]
    coming: tuple[tuple[Placement, float], ...]
    waits: tuple[Waits, ...]
    first: tuple[tuple[str, tuple[str, ...]], ...]
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
    depth = _met_at(plan, build)
    deepest = max(depth.values(), default=0.0)
    leaves = leaving_bands({piece: int(d // thick) for piece, d in depth.items()}, dict(build.removal.hooked))
    made = [_band(plan, build, depth, k, thick, leaves) for k in range(int(deepest // thick) + 1)]
    return tuple(b for b in made if b.groups or b.coming)


def _met_at(plan: WeekPlan, build: Build) -> dict[str, float]:
    """Depth at which each piece is met; what stands in a cage comes out with the cage."""
    depth = {p.piece: depth_of(plan, build, p) for p in build.nest.placements}
    for cage, inside in build.caged.items():
        depth.update(dict.fromkeys(inside, depth[cage]))
    return depth


def leaving_bands(met: dict[str, int], hooked: dict[str, tuple[str, ...]]) -> dict[str, int]:
    """Number of the band in which each piece can leave: where it is met, or later when it hangs under others."""
    leaves = dict(met)
    for _ in range(len(hooked)):  # each round settles at least one piece of a chain
        moved = False
        for piece, before in hooked.items():
            last = max((leaves[b] for b in before if b in leaves), default=0)
            if piece in leaves and last > leaves[piece]:
                leaves[piece], moved = last, True
        if not moved:
            break
    return leaves


def _band(
    plan: WeekPlan, build: Build, depth: dict[str, float], number: int, thick: float, leaves: dict[str, int]
) -> Band:
    top, bottom = number * thick, (number + 1) * thick
    here = [p for p in build.nest.placements if int(depth[p.piece] // thick) == number]
    names = {p.piece for p in here}
    hooked = {piece: before for piece, before in build.removal.hooked if piece in names}
    later = {piece: tuple(b for b in before if leaves.get(b, 0) > number) for piece, before in hooked.items()}
    same = {piece: tuple(b for b in before if leaves.get(b, -1) == number) for piece, before in hooked.items()}
    return Band(
        top,
        bottom,
        _groups(plan, build, here, depth),
        _coming(plan, build, depth, top, bottom),
        tuple(Waits(piece, before, leaves[piece] * thick) for piece, before in later.items() if before),
        tuple((piece, before) for piece, before in same.items() if before and not later[piece]),
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
            tuple(p for p in here if p.line == line and not p.is_cage),
            any(plan.parts[p.part_key].is_delicate for p in here if p.line == line),
            sum(p.is_cage for p in here if p.line == line),
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
