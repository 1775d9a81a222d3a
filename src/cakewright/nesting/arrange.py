"""After the height: the same pieces under the same ceiling, arranged as the wishes ask.

Moves: pieces of the same shape change lines (costs nothing), two pieces change places, a piece goes to
another free place, neighbours or the pieces of a part are put in anew, the pile is turned upside down.
Every layout on the way keeps clearance and ceiling; whether all can be taken out is checked every so
many moves, and a layout that is stuck is given up for the last one that was not.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from cakewright.nesting.bank import Bank, Ints
from cakewright.nesting.construct import Layout, Workspace
from cakewright.nesting.objective import Objective
from cakewright.nesting.release import is_removable
from cakewright.nesting.separable import Block
from cakewright.nesting.thick import bare_grid
from cakewright.sources.wishes import ARRANGE_COOLING, ARRANGE_HEAT, CHECK_EVERY
from cakewright.stopping import Stop

_GATHERED = 12  # pieces of a part put in anew at once
Move = Callable[["Arranger", Layout], Layout | None]


class Arranger:
    """What the moves need: the space, the ceiling, who looks like whom, and chance."""

    def __init__(
        self, work: Workspace, part: Ints, ceiling_mm: float, rng: np.random.Generator, concerned: Ints | None = None
    ) -> None:
        """`concerned` are pieces that a wish names: half of the moves begin with one of them."""
        self.work, self.bank, self.rng = work, work.bank, rng
        self.concerned = np.zeros(0, np.int64) if concerned is None else concerned
        self.ceiling_mm = ceiling_mm + 1e-6
        self.shape = shapes(self.bank)
        twins = [np.flatnonzero(self.shape[part] == s) for s in np.unique(self.shape[part])]
        self.twins = [t for t in twins if len(t) > 1 and len(np.unique(part[t])) > 1]
        self.volume = np.array([self.bank.count[self.bank.first[p]] if self.bank.poses_of(int(p)) else 0 for p in part])

    def one_of(self, placed: Ints) -> int:
        """A piece by lot, every other time one that a wish names."""
        named = np.intersect1d(self.concerned, placed)
        return int(self.rng.choice(named if len(named) and self.rng.random() < 0.5 else placed))

    def fits(self, layout: Layout) -> bool:
        """True when nothing is missing and nothing is over the ceiling."""
        return bool((layout.pose >= 0).all()) and layout.height_mm(self.bank) <= self.ceiling_mm

    def near(self, layout: Layout, piece: int, reach: int) -> tuple[Ints, Ints]:
        """Floor for every pose and window of x and y around where a piece stands."""
        x, y, z = (int(v) for v in layout.at[piece])
        floor = np.full(len(self.bank.cells), max(0, z - reach), np.int64)
        return floor, np.array([x - reach, x + reach, y - reach, y + reach], np.int64)


def shapes(bank: Bank) -> Ints:
    """A number for each part, equal for parts that have the same cells and skins in the same orientations."""
    known: dict[bytes, int] = {}
    out = []
    for part in range(len(bank.keys)):
        span = bank.poses_of(part)
        a, b = bank.bare_at[span.start], bank.bare_at[span.stop]
        text = bank.cells[span.start : span.stop].tobytes() + bank.bare[a:b].tobytes()
        text += bank.fat[bank.fat_at[span.start] : bank.fat_at[span.stop]].tobytes()
        text += np.round(bank.origin_mm[span.start : span.stop], 6).tobytes()
        out.append(known.setdefault(text, len(known)))
    return np.array(out, np.int64)


def swap_twins(a: Arranger, layout: Layout) -> Layout | None:
    """Two pieces of the same shape on different lines change places: nothing moves but the names."""
    if not a.twins:
        return None
    group = a.twins[a.rng.integers(len(a.twins))]
    i, j = (int(v) for v in a.rng.choice(group, 2, replace=False))
    if layout.part[i] == layout.part[j] or layout.pose[i] < 0 or layout.pose[j] < 0:
        return None
    trial = layout.copy()
    first = a.bank.first[layout.part]
    trial.pose[i] = layout.pose[j] - first[j] + first[i]
    trial.pose[j] = layout.pose[i] - first[i] + first[j]
    trial.at[[i, j]] = layout.at[[j, i]]
    return trial


def swap_places(a: Arranger, layout: Layout) -> Layout | None:
    """A piece and one of about its size change places."""
    placed = layout.placed
    if len(placed) < 2:
        return None
    i = a.one_of(placed)
    order = placed[np.argsort(np.abs(np.log(a.volume[placed] / a.volume[i])), kind="stable")]
    others = order[order != i][:8]
    j = int(a.rng.choice(others))
    trial = layout.copy()
    trial.pose[[i, j]] = -1
    a.work.reload(trial)
    reach = int(a.rng.integers(0, 6))
    larger, smaller = (i, j) if a.volume[i] >= a.volume[j] else (j, i)
    for piece, place in ((larger, smaller), (smaller, larger)):
        floor, window = a.near(layout, place, reach)
        if a.work.insert(trial, np.array([piece]), floor, window):
            return None
    return trial


def move(a: Arranger, layout: Layout) -> Layout | None:
    """A piece goes to the lowest free place above a height and within a window, both drawn by lot."""
    placed = layout.placed
    if not len(placed):
        return None
    i = a.one_of(placed)
    trial = layout.copy()
    trial.pose[i] = -1
    a.work.reload(trial)
    highest = max(0, int(a.ceiling_mm / a.bank.voxel_mm) - int(a.bank.cells[layout.pose[i], 2]))
    floor = np.full(len(a.bank.cells), int(a.rng.integers(0, highest + 1)), np.int64)
    nx, ny, _ = a.bank.grid
    wide = max(4, int(max(nx, ny) * a.rng.uniform(0.2, 1.0)))
    x, y = int(a.rng.integers(-wide // 2, nx)), int(a.rng.integers(-wide // 2, ny))
    window = np.array([x, x + wide, y, y + wide], np.int64)
    return None if a.work.insert(trial, np.array([i]), floor, window) else trial


def reshuffle(a: Arranger, layout: Layout) -> Layout | None:
    """Some pieces near each other come out and go in again in another order, each as low as it can."""
    placed = layout.placed
    if len(placed) < 2:
        return None
    middle = layout.at[placed] + a.bank.cells[layout.pose[placed]] / 2
    centre = middle[a.rng.integers(len(placed))]
    stretch = np.exp(a.rng.normal(0.0, 1.0, 3))  # flat, tall or round neighbourhoods
    count = int(a.rng.integers(2, 9))
    out = placed[np.argsort((np.abs(middle - centre) * stretch).sum(axis=1), kind="stable")[:count]]
    low = int(layout.at[out, 2].min())
    floor = np.maximum(0, low - a.bank.cells[:, 2]).astype(np.int64)
    return _put_back(a, layout, np.asarray(a.rng.permutation(out), np.int64), floor)


def gather(a: Arranger, layout: Layout) -> Layout | None:
    """Pieces of one part come out, and all go in again from a height drawn by lot upwards."""
    placed = layout.placed
    if not len(placed):
        return None
    mine = placed[layout.part[placed] == layout.part[a.rng.choice(placed)]][:_GATHERED]
    highest = int(layout.at[placed, 2].max())
    floor = np.full(len(a.bank.cells), int(a.rng.integers(0, highest + 1)), np.int64)
    return _put_back(a, layout, mine, floor)


def _put_back(a: Arranger, layout: Layout, out: Ints, floor: Ints) -> Layout | None:
    trial = layout.copy()
    trial.pose[out] = -1
    a.work.reload(trial)
    return None if a.work.insert(trial, out, floor) else trial


def turn_over(a: Arranger, layout: Layout) -> Layout | None:
    """The whole pile upside down about x, when every piece is allowed to stand so."""
    bank = a.bank
    top = layout.at[:, 2] + bank.cells[np.maximum(layout.pose, 0), 2]
    roof = int(top[layout.placed].max(initial=0))
    trial = layout.copy()
    partner: dict[int, int | None] = {}
    for i in layout.placed:
        p = int(layout.pose[i])
        if p not in partner:
            partner[p] = _turned_pose(bank, p, int(layout.part[i]))
        q = partner[p]
        if q is None:
            return None
        trial.pose[i] = q
        trial.at[i, 1] = bank.grid[1] - 1 - layout.at[i, 1] - bank.cells[p, 1]
        trial.at[i, 2] = roof - top[i]
    return trial if _stands_free(a.work, trial) else None


def _turned_pose(bank: Bank, pose: int, part: int) -> int | None:
    """The pose of the same part whose cells are those of `pose` turned by half a turn about x."""
    wanted = np.flip(bare_grid(bank, pose), (1, 2))
    for q in bank.poses_of(part):
        if (bank.cells[q] == bank.cells[pose]).all() and np.array_equal(bare_grid(bank, q), wanted):
            return q
    return None


def _stands_free(work: Workspace, layout: Layout) -> bool:
    """Each piece fits where it stands beside all others; the slow way, piece by piece."""
    trial = Layout(layout.part, np.full(len(layout.part), -1, np.int64), layout.at.copy())
    work.reload(trial)
    for i in layout.placed:
        x, y, z = (int(v) for v in layout.at[i])
        if (layout.at[i] < 0).any() or (layout.at[i] > work.bank.last[layout.pose[i]]).any():
            return False
        floor = np.full(len(work.bank.cells), work.bank.grid[2] + 1, np.int64)
        floor[layout.pose[i]] = z
        window = np.array([x, x, y, y], np.int64)
        if work.insert(trial, np.array([i]), floor, window) or int(trial.at[i, 2]) != z:
            return False
    return True


MOVES: tuple[tuple[Move, float], ...] = (
    (swap_twins, 0.3),
    (swap_places, 0.1),
    (move, 0.2),
    (reshuffle, 0.3),
    (gather, 0.09),
    (turn_over, 0.01),
)


def arrange(
    work: Workspace,
    layout: Layout,
    objective: Objective,
    stop: Stop,
    rng: np.random.Generator,
    *,
    ceiling_mm: float,
    fixed: Sequence[Block] = (),
    progress: Callable[[int, float], None] | None = None,
) -> tuple[Layout, int]:
    """The best arrangement found under the ceiling before `stop`, and the steps done.

    `layout` must be clear, complete and removable, and so is the answer; pieces without a place stay out.
    """
    out = np.flatnonzero(layout.pose < 0)
    arranger = Arranger(work, layout.part, ceiling_mm, rng, objective.concerned)
    chance = np.array([w if arranger.twins or m is not swap_twins else 0.0 for m, w in MOVES])
    safe = best = current = layout
    safe_price = best_price = current_price = objective.price(layout)
    heat, usual = ARRANGE_HEAT.value, 0.0
    steps = accepted = 0
    while not stop(steps, best_price):
        steps += 1
        trial = MOVES[int(rng.choice(len(MOVES), p=chance / chance.sum()))][0](arranger, current)
        heat *= ARRANGE_COOLING.value
        if trial is None or (not len(out) and not arranger.fits(trial)) or _is_over(arranger, trial):
            continue
        price = objective.price(trial)
        change = abs(price - current_price)
        usual = 0.9 * usual + 0.1 * change if usual else change
        if price >= current_price + heat * usual * rng.exponential():
            continue
        current, current_price = trial, price
        accepted += 1
        if price < best_price - 1e-9:
            best, best_price = trial, price
            if progress is not None:
                progress(steps, price)
        if accepted % int(CHECK_EVERY.value) == 0 and best is not safe:
            if is_removable(best, work.bank, fixed):
                safe, safe_price = best, best_price
            else:
                best, best_price = safe, safe_price
                current, current_price = safe, safe_price
    if best is not safe and not is_removable(best, work.bank, fixed):
        best = safe
    return best, steps


def _is_over(a: Arranger, layout: Layout) -> bool:
    return layout.height_mm(a.bank) > a.ceiling_mm
