"""Several builds at once: which line goes into which chamber, with real nests as the judge.

Lines are placed one after the other, largest first, into the chamber where they cost least; a line is
split only when it fits nowhere whole. Then lines move to other chambers or change places with others as
long as that lowers the price. Every answer is a nest in which all its pieces stand.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np

from cakewright.errors import InputError
from cakewright.model.build import Nest
from cakewright.nesting.search import TOO_LARGE, nest, volume_mm3
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.sources.wishes import SPLIT_PRICE, TALLER
from cakewright.stopping import MaxSteps, Stop

S = TypeVar("S")
Shares = list[list[S]]


@dataclass(frozen=True, slots=True)
class Chamber:
    """A chamber to fill once. `lines` may go into it (None: all), for material, quality or dates."""

    name: str
    space: NestSpace
    lines: frozenset[int] | None = None

    def takes(self, line: int) -> bool:
        """True when a line is allowed here."""
        return self.lines is None or line in self.lines


@dataclass(frozen=True, slots=True)
class NotPlaced:
    """Pieces of a line that went into no chamber, and why in words."""

    line: int
    pieces: int
    reason: str


@dataclass(frozen=True, eq=False)
class Distribution:
    """A nest for each chamber (None: stays empty), what is left over, and the price in points."""

    chambers: tuple[Chamber, ...]
    nests: tuple[Nest | None, ...]
    not_placed: tuple[NotPlaced, ...]
    price: float

    def lines_of(self, chamber: str) -> tuple[int, ...]:
        """Lines with pieces in a chamber."""
        made = dict(zip((c.name for c in self.chambers), self.nests, strict=True))[chamber]
        return tuple(sorted({p.line for p in made.placements})) if made else ()


@dataclass(eq=False)
class _Judge:
    """Nests by chamber and pieces, each made once."""

    task: NestTask
    chambers: Sequence[Chamber]
    seed: int
    steps: int
    _known: dict[tuple[NestSpace, frozenset[str]], Nest] = field(default_factory=dict)

    def nest(self, chamber: int, pieces: Sequence[NestPiece], space: NestSpace | None = None) -> Nest:
        room = space or self.chambers[chamber].space
        key = (room, frozenset(p.piece for p in pieces))
        if key not in self._known:
            task = replace(self.task, pieces=tuple(pieces), space=room)
            self._known[key] = nest(task, stop=MaxSteps(self.steps), seed=self.seed, arrange_stop=MaxSteps(0))
        return self._known[key]

    def price(self, shares: Shares[tuple[NestPiece, ...]]) -> float:
        """Heights of the builds, plus a price for each line that is split; infinite when something has no place."""
        total = 0.0
        homes: dict[int, int] = {}
        for chamber, content in enumerate(shares):
            pieces = _flat(content)
            if not pieces:
                continue
            made = self.nest(chamber, pieces)
            if made.left_out:
                return float("inf")
            total += made.height_mm
            for line in {p.line for p in pieces}:
                homes[line] = homes.get(line, 0) + 1
        return total + SPLIT_PRICE.value * sum(n - 1 for n in homes.values())


def distribute(
    task: NestTask, chambers: Sequence[Chamber], *, stop: Stop, seed: int, steps: int = 0, may_split: bool = True
) -> Distribution:
    """Distribute the pieces of `task` over chambers, each filled at most once; the space of `task` is not used.

    `stop` rules the improvement (counted in moves tried), `steps` the search of each nest on the way. Lines
    stay whole unless they fit nowhere and `may_split`. What has no place is named with the reason: too large,
    not allowed anywhere, or how much higher the best chamber would have to be.
    """
    if not chambers:
        raise InputError("there is no chamber to fill", remedy="give at least one")
    judge = _Judge(task, chambers, seed, steps)
    shares: Shares[tuple[NestPiece, ...]] = [[] for _ in chambers]
    left: list[NotPlaced] = []
    for pieces in _largest_first(task):
        rest = _put(shares, pieces, judge, may_split)
        if rest:
            left.append(NotPlaced(rest[0].line, len(rest), _why(shares, rest, judge)))
    shares, price = improve_shares(
        shares,
        lambda chamber, share: chambers[chamber].takes(share[0].line),
        judge.price,
        stop,
        np.random.default_rng(seed),
    )
    nests = [judge.nest(k, _flat(content)) if content else None for k, content in enumerate(shares)]
    return Distribution(tuple(chambers), tuple(nests), tuple(left), price)


def _flat(shares: Sequence[tuple[NestPiece, ...]]) -> tuple[NestPiece, ...]:
    return tuple(p for share in shares for p in share)


def _largest_first(task: NestTask) -> list[tuple[NestPiece, ...]]:
    """The pieces of each line; lines with priority first, then by solid volume."""
    lines: dict[int, list[NestPiece]] = {}
    for p in task.pieces:
        lines.setdefault(p.line, []).append(p)
    solid = {key: volume_mm3(task.meshes[key]) for key in {p.part_key for p in task.pieces}}
    weight = {n: sum(solid[p.part_key] for p in pieces) for n, pieces in lines.items()}
    first = {n: max(p.priority for p in pieces) for n, pieces in lines.items()}
    return [tuple(lines[n]) for n in sorted(lines, key=lambda n: (-first[n], -weight[n], n))]


def _put(
    shares: Shares[tuple[NestPiece, ...]], pieces: tuple[NestPiece, ...], judge: _Judge, may_split: bool
) -> tuple[NestPiece, ...]:
    """Put a line where it costs least, whole if possible; returns the pieces without a place."""
    allowed = [k for k, c in enumerate(judge.chambers) if c.takes(pieces[0].line)]
    whole = []
    for k in allowed:
        made = judge.nest(k, (*_flat(shares[k]), *pieces))
        if not made.left_out:
            before = judge.nest(k, _flat(shares[k])).height_mm if shares[k] else 0.0
            whole.append((made.height_mm - before, k))
    if whole:
        shares[min(whole)[1]].append(pieces)
        return ()
    rest = pieces
    for k in allowed if may_split else ():
        fits = _as_many(shares[k], rest, k, judge)
        if fits:
            shares[k].append(fits)
            rest = tuple(p for p in rest if p not in fits)
        if not rest:
            break
    return rest


def _as_many(
    content: Sequence[tuple[NestPiece, ...]], pieces: tuple[NestPiece, ...], chamber: int, judge: _Judge
) -> tuple[NestPiece, ...]:
    """As many pieces as a chamber takes beside what it holds: halving between what fits and what does not."""
    low, high = 0, len(pieces) + 1
    while low + 1 < high:
        middle = (low + high) // 2
        made = judge.nest(chamber, (*_flat(content), *pieces[:middle]))
        low, high = (middle, high) if not made.left_out else (low, middle)
    return pieces[:low]


def _why(shares: Shares[tuple[NestPiece, ...]], pieces: tuple[NestPiece, ...], judge: _Judge) -> str:
    """Why pieces found no place, in words."""
    allowed = [k for k, c in enumerate(judge.chambers) if c.takes(pieces[0].line)]
    if not allowed:
        return "allowed in none of these chambers"
    alone = [judge.nest(k, pieces[:1]).left_out for k in allowed]
    if all(left and left[0].reason == TOO_LARGE for left in alone):
        return TOO_LARGE
    missing = []
    for k in allowed:
        room = judge.chambers[k].space
        tall = replace(room, height_mm=room.height_mm * TALLER.value)
        made = judge.nest(k, (*_flat(shares[k]), *pieces), tall)
        if not made.left_out:
            missing.append((made.height_mm - room.height_mm, judge.chambers[k].name))
    if not missing:
        return f"chambers are full: more than {TALLER.value:g} times the height would be needed"
    more, name = min(missing)
    return f"chambers are full: {name} would have to be {max(more, 1.0):.0f} mm higher"


def improve_shares(
    shares: Sequence[Sequence[S]],
    allowed: Callable[[int, S], bool],
    price: Callable[[Shares[S]], float],
    stop: Stop,
    rng: np.random.Generator,
) -> tuple[Shares[S], float]:
    """Move shares to other places, or swap two, while that lowers the price; the shares and their price.

    `allowed(place, share)` says what may go where; `price` is infinite for what cannot be. Each move tried
    counts as a step; a full round of all moves without success ends the search before `stop` does.
    """
    best = [list(content) for content in shares]
    best_price = price(best)
    steps, untried = 0, _moves(best, allowed, rng)
    while untried and not stop(steps, best_price):
        steps += 1
        trial = _done(best, untried.pop())
        value = price(trial)
        if value < best_price - 1e-9:
            best, best_price = trial, value
            untried = _moves(best, allowed, rng)
    return best, best_price


Move = tuple[int, int, int, int]  # share k of place i goes to place j, in exchange for its share m (-1: for nothing)


def _moves(shares: Shares[S], allowed: Callable[[int, S], bool], rng: np.random.Generator) -> list[Move]:
    """Every move and swap that is allowed, shuffled."""
    out = []
    for i, content in enumerate(shares):
        for j, other in enumerate(shares):
            for k, share in enumerate(content):
                if i == j or not allowed(j, share):
                    continue
                out.append((i, k, j, -1))
                out += [(i, k, j, m) for m, back in enumerate(other) if i < j and allowed(i, back)]
    return [out[n] for n in rng.permutation(len(out))]


def _done(shares: Shares[S], move: Move) -> Shares[S]:
    i, k, j, m = move
    out = [list(content) for content in shares]
    share = out[i].pop(k)
    if m >= 0:
        out[i].append(out[j].pop(m))
    out[j].append(share)
    return out
