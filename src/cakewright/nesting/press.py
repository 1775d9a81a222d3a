"""One safe step of a pile: a linear program, exact distances afterwards, more rows where they fall short."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from cakewright.model.mesh import FloatArray
from cakewright.nesting.pile import Facing, Pile, Step
from cakewright.nesting.squeeze import push
from cakewright.nesting.task import NestSpace
from cakewright.sources.nesting_exact import (
    SETTLE_CUTS,
    SETTLE_HALVES,
    SETTLE_REACH,
    SETTLE_SLACK,
    SETTLE_TURN,
    SETTLE_TURN_REACH,
)

_ROUGH = 0.81
_ALL = 1e300


def next_step(
    pile: Pile, space: NestSpace, pulls: FloatArray, *, turning: bool, enough: Callable[[], bool]
) -> Step | None:
    """A safe step of all pieces; None when the program finds none, or when `enough` says so between two programs.

    `pulls` (n, 3) are mm of height that a mm along an axis is worth. With `turning` the pieces that may turn about the
    vertical do so by at most `nesting.settle_turn`, and shifts are shorter.
    """
    reach = SETTLE_TURN_REACH.value if turning else SETTLE_REACH.value
    gaps = _gaps(pile, reach, turning)
    fine: dict[tuple[int, int], FloatArray] = {}
    low, high = pile.boxes()
    m = space.wall_margin_mm
    below = np.clip(np.array([m, m, 0.0]) - low, -reach, 0.0)
    above = np.clip(np.array([space.x_mm - m, space.y_mm - m, space.height_mm]) - high, 0.0, reach)
    below[pile.is_still] = above[pile.is_still] = 0.0
    tops = np.where(pile.is_still, 0.0, high[:, 2])  # what stays put does not hold up the others
    above[:, 2] = np.minimum(above[:, 2], np.maximum(tops.max(initial=0.0) - high[:, 2], 0.0))
    if turning:  # their walls are rows: a turn brings corners nearer
        free = pile.most > 0
        below[free, :2], above[free, :2] = -reach, reach
    walls = pile.wall_rows(space) if turning else None
    step = Step(np.zeros_like(low), np.zeros(len(low)))
    for _ in range(int(SETTLE_CUTS.value)):
        rows = pile.rows(reach, turning=turning)
        answer = push(
            rows if walls is None else rows.and_also(walls), below, above, tops, pulls=pulls,
            most_turn=pile.most if turning else None,
        )  # fmt: skip
        if answer is None:
            return None
        step = Step(answer[0], np.where(np.abs(answer[1]) > SETTLE_SLACK.value, answer[1], 0.0))
        short = _short(pile, gaps, step, fine)
        if not short:
            return step
        if enough():
            return None
        pile.facing.update(dict.fromkeys(short))
    for _ in range(int(SETTLE_HALVES.value)):
        step = step.scaled(0.5)
        if not _short(pile, gaps, step, fine):
            return step
    return None


def _gaps(pile: Pile, reach_mm: float, turning: bool) -> dict[tuple[int, int], float]:
    """A lower bound of the distance of all pairs that could meet in this round; the nearest triangles get a row."""
    more = SETTLE_TURN.value if turning else 0.0
    gaps: dict[tuple[int, int], float] = {}
    for i, j in pile.pairs(pile.widest + 2 * (3**0.5 * reach_mm + more)):
        wanted = pile.wanted(i, j)
        apart = pile.shift[j] - pile.shift[i]
        before = pile.known.get((i, j))
        moved = _ALL if before is None else float(np.linalg.norm(apart - before[1]))
        if before is not None and moved < SETTLE_SLACK.value:
            gaps[i, j] = before[0] - moved
            continue
        gap, found = pile.near(i, j, wanted + reach_mm, _ROUGH)
        gaps[i, j] = gap
        if found:
            gaps[i, j] = _ROUGH**0.5 * gap
            if gaps[i, j] < wanted:
                gaps[i, j], found = pile.near(i, j, gap + SETTLE_SLACK.value, 1.0)
            pile.facing[found[-1]] = None
        pile.known[i, j] = gaps[i, j], apart
    return gaps


def _short(
    pile: Pile, gaps: Mapping[tuple[int, int], float], step: Step, fine: dict[tuple[int, int], FloatArray]
) -> list[Facing]:
    """Triangles that come too near after a step, some for each two pieces.

    `fine` remembers by how much pieces may change against each other: what was looked at is not looked at again.
    """
    out: list[Facing] = []
    bodies = pile.after(step.turn)
    for (i, j), gap in gaps.items():
        move = step.between(i, j)
        wanted = pile.wanted(i, j)
        if gap - float(np.linalg.norm(move[:3])) - float(np.abs(move[3:]).sum()) >= wanted:
            continue
        if (i, j) in fine and float(np.abs(move - fine[i, j]).max()) < SETTLE_SLACK.value / 8:
            continue
        least = min(wanted, gap) - SETTLE_SLACK.value / 2
        if least > 0:
            _, found = pile.near(i, j, least, _ALL, step, bodies)
        else:
            after, found = pile.near(i, j, SETTLE_SLACK.value, _ALL, step, bodies)
            found = [f for f in found if after <= 0 and f not in pile.facing]
        if not found:
            fine[i, j] = move
        out += found[:: max(1, len(found) // 4)]
    return out
