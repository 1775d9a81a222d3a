"""The last millimetres: small exact shifts and turns that lower a finished nest and keep every clearance.

The nest by cells leaves about a cell of air at every contact. Here all pieces are shifted at once by a linear
program. For two triangles the direction between their nearest points separates them, so a row along it keeps
their distance for any shift. Only the nearest triangles of near pairs get a row at first; after each program
the exact distances are looked at again and rows are added where they fall short, until none does. Then
what the wishes pull at moves sideways too, and at last what may turn about the vertical turns a little, see `spin`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import partial
from typing import Protocol

import numpy as np

from cakewright.model.build import Placement
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.bank import Ints
from cakewright.nesting.pile import Hold, Pile, Step, shifted
from cakewright.nesting.polytopes import convex_pieces
from cakewright.nesting.press import next_step
from cakewright.nesting.shifts import make_shifts
from cakewright.nesting.squeeze import squeeze
from cakewright.nesting.task import NestSpace
from cakewright.nesting.verify import verify_nest
from cakewright.sources.nesting_exact import MOST_FEW, SETTLE_GAIN, SETTLE_ROUNDS, SETTLE_SHARES
from cakewright.stopping import Stop

Placed = tuple[Placement, ...]


class Way(Enum):
    """How pieces are pushed: down; down and as the wishes pull; down with turns about the vertical."""

    DOWN = 1
    WISHES = 2
    TURN = 3


class Price(Protocol):
    """What a nest is worth to whoever has it settled."""

    def points(self, placements: Sequence[Placement]) -> float:
        """Lower is better."""
        ...

    def pulls(self, placements: Sequence[Placement]) -> FloatArray:
        """(n, 3) what a mm along an axis is worth for each piece, in mm of height."""
        ...

    def is_kept(self, before: Sequence[Placement], after: Sequence[Placement]) -> bool:
        """True when nothing that counts is worse after than before."""
        ...


@dataclass(frozen=True, slots=True)
class HeightOnly:
    """Only the height counts, in mm."""

    def points(self, placements: Sequence[Placement]) -> float:
        """The height."""
        return max((p.z_max_mm for p in placements), default=0.0)

    def pulls(self, placements: Sequence[Placement]) -> FloatArray:
        """Nothing pulls sideways."""
        return np.zeros((len(placements), 3))

    def is_kept(self, before: Sequence[Placement], after: Sequence[Placement]) -> bool:
        """Not higher than before."""
        return self.points(after) <= self.points(before)


def settle(
    meshes: Mapping[str, Mesh],
    placements: Sequence[Placement],
    space: NestSpace,
    clearance_mm: float,
    *,
    stop: Stop,
    keep: Callable[[Sequence[Placement]], bool] | None = None,
    hold: Hold | None = None,
    price: Price | None = None,
) -> Placed:
    """Shift, and where `hold` allows it turn, the pieces of a nest by small amounts so that it becomes lower.

    The result is at no higher `price` (default: the height) than the input, inside the walls, and proven clear by
    `verify.verify_nest`; where that fails, or `keep` (for example: can everything still be taken out?) says no, an
    earlier stage or the input itself comes back. `stop` is asked with the rounds done and the price before each
    round and within it. The same input gives the same output. At zero clearance pieces that are unions of few convex
    ones are settled on those, see `squeeze`, when nothing else is asked.
    """
    hold, value = hold or Hold(), price or HeightOnly()
    first = tuple(placements)
    if len(first) == 0 or stop(0, value.points(first)):
        return first
    convex = None
    if clearance_mm <= 0 and price is None and not (hold.still or hold.extra_mm or hold.turning):
        convex = _by_pieces(meshes, first, space)
    stages = [convex] if convex is not None else [*_stages(meshes, first, space, clearance_mm, stop, hold, value)]
    at = len(stages)
    while at > 0:  # the last that can be kept, looked for in ever earlier halves: each look takes a proof
        last = stages[at - 1]
        clear = (
            value.is_kept(first, last) and verify_nest(meshes, last, space, clearance_mm, clock=lambda: 0.0).is_clear
        )
        if clear and (keep is None or keep(last)):
            return last
        at //= 2
    return first


def _stages(
    meshes: Mapping[str, Mesh],
    first: Placed,
    space: NestSpace,
    clearance_mm: float,
    stop: Stop,
    hold: Hold,
    price: Price,
) -> Iterator[Placed]:
    """The nest after each round that made it better; when one way of stepping gains no more, the next is tried."""
    pile = Pile(meshes, first, clearance_mm, hold)
    now, best = first, price.points(first)
    ways = [w for w in Way if w is not Way.TURN or (pile.most > 0).any()]
    for turn in range(1, int(SETTLE_ROUNDS.value) + 1):
        pulls = price.pulls(now) if ways[0] is Way.WISHES else np.zeros_like(pile.shift)
        found = None
        if ways[0] is not Way.WISHES or pulls.any():
            enough = partial(stop, turn - 1, best)
            found = next_step(pile, space, pulls, turning=ways[0] is Way.TURN, enough=enough)
        step, points = (None, best) if found is None else _best_share(pile, found, first, price)
        gain = best - points
        if step is not None and gain > 0:
            pile.go(step)
            now, best = pile.moved(), points
            yield now
        if gain < SETTLE_GAIN.value:
            ways.pop(0)
        if not ways or stop(turn, best):
            return


def _best_share(pile: Pile, step: Step, first: Placed, price: Price) -> tuple[Step | None, float]:
    """How far a step is best taken, and the price then: half of it may keep a wish that all of it breaks."""
    at = [(share, pile.moved(step.scaled(share))) for share in SETTLE_SHARES]
    good = [(price.points(placed), -share) for share, placed in at if price.is_kept(first, placed)]
    if not good:
        return None, np.inf
    points, share = min(good)
    return step.scaled(-share), points


def _by_pieces(meshes: Mapping[str, Mesh], placements: Placed, space: NestSpace) -> Placed | None:
    """Settled on convex pieces; None when there are too many or a part is no union of few."""
    if len(placements) > MOST_FEW.value:
        return None
    keys = sorted({p.part_key for p in placements})
    solids = []
    for k in keys:
        pieces = convex_pieces(meshes[k])
        if pieces is None:
            return None
        solids.append(pieces)
    turns: list[list[FloatArray]] = [[] for _ in keys]
    where: list[tuple[int, int]] = []
    for p in placements:
        part = keys.index(p.part_key)
        turn = np.asarray(p.rotation, np.float64)
        known = [n for n, t in enumerate(turns[part]) if np.array_equal(t, turn)]
        where.append((part, known[0] if known else len(turns[part])))
        if not known:
            turns[part].append(turn)
    shifts = make_shifts(solids, [np.array(t) for t in turns], 0.0)
    pose: Ints = np.array([shifts.first[part] + n for part, n in where], np.int64)
    margin = np.array([space.wall_margin_mm, space.wall_margin_mm, 0.0])
    at = np.array([np.asarray(p.translation) for p in placements]) - margin
    low, _ = squeeze(shifts, at, pose, np.array([*space.inner_mm, space.height_mm]))
    return tuple(shifted(p, d) for p, d in zip(placements, low - at, strict=True))
