"""The large pieces first: a few of them are searched for long on large cells, then the next join them.

The largest pieces set the height of a pile, the small ones find room between them; a search over all at once spends
most of its time on small pieces. So the pile grows by stages, each searched before the next pieces join. Large cells
(twice the edge) make that fast; both lattices begin at the corner of each part, so that a build on large cells stands
exactly on the small ones too, where it is then pressed together piece by piece.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Bank, Ints
from cakewright.nesting.construct import NO_LIMIT, Layout, Workspace, construct, orders, sizes
from cakewright.nesting.improve import Count, improve
from cakewright.nesting.levels import filled_up
from cakewright.sources.nesting import (
    PRESS_DOWN,
    PRESS_REACH,
    PRESS_SWEEPS,
    STAGE_EFFORT,
    STAGE_SHARES,
    STAGE_STEPS,
)
from cakewright.stopping import Stop, used


def largest_first(bank: Bank, part: Ints, priority: FloatArray) -> Ints:
    """Piece numbers: those with priority, then the largest smallest box first."""
    return np.lexsort((part, -sizes(bank, part)[:, 1], -priority)).astype(np.int64)


def staged(spaces: Sequence[Workspace], part: Ints, order: Ints, count: Count) -> Layout:
    """The largest pieces, searched by stages; pieces that belong to no stage, and all when stopped early, stay out."""
    work = spaces[0]
    layout = Layout.empty(part)
    before = 0
    boxes = np.cumsum(sizes(work.bank, part)[order, 1])
    for share, goal in zip(STAGE_SHARES, _goals(count), strict=True):
        upto = min(len(part), max(before + 1, int(np.searchsorted(boxes, share * boxes[-1] - 1e-9)) + 1))
        now = order[:upto]
        inner = Layout(part[now], layout.pose[now], layout.at[now])
        if before == 0:
            tries = [construct(work, part[now], each) for each in orders(work.bank, part[now], count.priority[now])]
            inner = min(tries, key=lambda each: (int((each.pose < 0).sum()), each.height_mm(work.bank)))
        else:
            work.reload(inner)
            work.insert(inner, np.arange(before, upto))
        if count.enough():
            break
        stage = Count(_until(goal, count.stop, count.steps), count.rng, count.priority[now])
        inner = improve(spaces, inner, stage, int(STAGE_STEPS.value * upto) if goal is None else None)
        count.steps += stage.steps
        layout.pose[now], layout.at[now] = inner.pose, inner.at
        before = upto
    return layout


def _goals(count: Count) -> list[float | None]:
    """What share of the stop rule may be used at the end of each stage, in proportion to its pieces."""
    now = used(count.stop, count.steps)
    if now is None:
        return [None] * len(STAGE_SHARES)
    parts = np.cumsum(STAGE_SHARES) / sum(STAGE_SHARES)
    return [now + STAGE_EFFORT.value * (1.0 - now) * float(part) for part in parts]


def _until(goal: float | None, stop: Stop, before: int) -> Stop:
    """A rule for steps after the first `before` that also ends when a share of `stop` is used."""

    def rule(steps: int, best: float) -> bool:
        share = None if goal is None else used(stop, before + steps)
        return stop(before + steps, best) or (share is not None and goal is not None and share >= goal)

    return rule


def on_small_cells(layout: Layout, large: Bank, work: Workspace) -> Layout:
    """The same places on cells of half the edge; both lattices begin at the corner of each part.

    A piece whose turn is not among those of the small cells, or whose place is not free on them, is left out.
    """
    small = work.bank
    out = Layout.empty(layout.part)
    work.reload(out)
    for i in layout.placed:
        turn = large.rotation[layout.pose[i]]
        where = large.origin_mm[layout.pose[i]] + layout.at[i] * large.voxel_mm
        for p in small.poses_of(int(layout.part[i])):
            if np.abs(small.rotation[p] - turn).max() < 1e-9:
                _stand(work, out, int(i), p, np.round((where - small.origin_mm[p]) / small.voxel_mm).astype(np.int64))
    return out


def _stand(work: Workspace, layout: Layout, piece: int, pose: int, at: Ints, reach: int = 0, down: int = 0) -> bool:
    """Add a piece in one pose at a place, or as low as it can near it; True when there was room.

    At most `reach` cells to the side and `down` cells below; with `down` strictly below.
    """
    bank = work.bank
    x, y, z = (int(v) for v in at)
    floor = np.full(len(bank.cells), bank.grid[2] + 1, np.int64)
    floor[pose] = max(0, z - down)
    window = np.array([x - reach, x + reach, y - reach, y + reach], np.int64)
    below = (z if down else z + 0.5) * bank.voxel_mm + bank.top_mm[pose]
    return work.insert(layout, np.array([piece]), floor, window, below) == 0


def pressed(work: Workspace, layout: Layout, count: Count) -> Layout:
    """Every piece, the lowest first, goes to the lowest place near where it stands, in the same turn, some times over.

    Nothing ever rises, and what cannot sink stays: a mere shift to the side would take room from others.
    """
    layout = layout.copy()
    for _ in range(int(PRESS_SWEEPS.value)):
        sunk = False
        for i in layout.placed[np.argsort(layout.at[layout.placed, 2], kind="stable")]:
            if count.enough():
                return layout
            trial = layout.copy()
            trial.pose[i] = -1
            work.reload(trial)
            near = int(PRESS_REACH.value), int(PRESS_DOWN.value)
            if layout.at[i, 2] > 0 and _stand(work, trial, int(i), int(layout.pose[i]), layout.at[i], *near):
                layout, sunk = trial, True
        if not sunk:
            break
    return layout


def large_first(large: Workspace, spaces: Sequence[Workspace], part: Ints, count: Count) -> Layout | None:
    """A build on the cells of `spaces`, half as large as those of `large`: staged, pressed, and all others added.

    None when the rule says stop before that is done.
    """
    beside = [large, *(large.beside() for _ in spaces[1:])]
    order = largest_first(spaces[0].bank, part, count.priority)
    layout = pressed(spaces[0], on_small_cells(staged(beside, part, order, count), large.bank, spaces[0]), count)
    return filled_up(spaces[0], layout, order[layout.pose[order] < 0], NO_LIMIT, count.enough)
