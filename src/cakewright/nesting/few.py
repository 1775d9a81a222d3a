"""The nest for few pieces of simple shape: exact, without cells, by taking overlap out at ever lower heights.

For parts that are unions of some convex pieces. A height is set a little below the best known one, the
pieces are pressed into it, overlap is taken out by guided local search, and what comes out free of overlap
is pushed together by linear programs. Then the next height is set.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cakewright.errors import InputError
from cakewright.model.build import LeftOut, Nest, Placement
from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Ints
from cakewright.nesting.guided import separate
from cakewright.nesting.polytopes import Convex, convex_pieces
from cakewright.nesting.search import nest, volume_mm3
from cakewright.nesting.separable import removal
from cakewright.nesting.shifts import Shifts, different, make_shifts
from cakewright.nesting.squeeze import squeeze
from cakewright.nesting.task import NestTask
from cakewright.nesting.voxels import is_closed
from cakewright.sources.nesting_exact import (
    CLEAR_ENOUGH,
    FRESH_SHARE,
    LEAST_STEP,
    LOOSE_START,
    MOST_FEW,
    MOST_STEP,
    PATIENCE,
    ROUNDS,
    SAMPLES,
    TRIES,
)
from cakewright.stopping import MaxSteps, Stop

Free = Callable[[Sequence[Placement]], bool]


@dataclass(eq=False)
class _Pile:
    """Where each piece stands: places (n, 3), poses (n,), and how much they overlap."""

    at: FloatArray
    pose: Ints
    overlap: float = float("inf")

    def copy(self) -> _Pile:
        return _Pile(self.at.copy(), self.pose.copy(), self.overlap)


class _Room:
    """The search state: shapes, sizes, and the moves on piles."""

    def __init__(self, shifts: Shifts, part: Ints, base: tuple[float, float], rng: np.random.Generator) -> None:
        self.shifts, self.part, self.base, self.rng = shifts, part, base, rng
        self.weight = np.ones((len(part), len(part)))
        self.state = rng.integers(0, 2**63, 1).astype(np.uint64)

    def limits(self, pose: Ints, height: float) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest place of each piece in a space of this height."""
        room = np.array([*self.base, height])
        low = -self.shifts.low[pose]
        return low, np.maximum(low, room - self.shifts.high[pose])

    def scatter(self, height: float) -> _Pile:
        """Every piece anywhere, in any pose that fits."""
        s = self.shifts
        room = np.array([*self.base, height])
        fits = np.asarray(np.all(s.high - s.low <= room + 1e-9, axis=1))
        pose = np.empty(len(self.part), np.int64)
        for i, part in enumerate(self.part):
            poses = np.arange(s.first[part], s.first[part + 1])
            usable = poses[fits[poses]]
            pose[i] = self.rng.choice(usable if len(usable) else poses)
        low, high = self.limits(pose, height)
        return _Pile(low + self.rng.random(low.shape) * (high - low), pose)

    def press(self, pile: _Pile, height: float) -> _Pile:
        """The pile with everything moved inside this height; what is too tall as it stands is thrown anywhere."""
        s = self.shifts
        pile = pile.copy()
        tall = np.flatnonzero(s.high[pile.pose, 2] - s.low[pile.pose, 2] > height + 1e-9)
        if len(tall):
            fresh = self.scatter(height)
            pile.at[tall], pile.pose[tall] = fresh.at[tall], fresh.pose[tall]
        low, high = self.limits(pile.pose, height)
        return _Pile(np.clip(pile.at, low, high), pile.pose)

    def least_height(self) -> float:
        """No build can be lower: each piece in its lowest pose that fits the base."""
        s = self.shifts
        size = s.high - s.low
        fits = np.asarray(np.all(size[:, :2] <= np.array(self.base) + 1e-9, axis=1))
        poses = (slice(int(a), int(b)) for a, b in itertools.pairwise(s.first))
        return max((float(size[p, 2][fits[p]].min()) for p in poses if fits[p].any()), default=0.0)

    def shake(self, pile: _Pile, height: float) -> _Pile:
        """Swap the places of two pieces, or throw a few anywhere."""
        pile = pile.copy()
        n = len(self.part)
        if n > 1 and self.rng.random() < 0.6:
            i, j = self.rng.choice(n, 2, replace=False)
            s = self.shifts
            middle = pile.at + (s.low[pile.pose] + s.high[pile.pose]) / 2
            shift = middle[j] - middle[i]
            pile.at[i] += shift
            pile.at[j] -= shift
        else:
            some = self.rng.choice(n, min(n, int(self.rng.integers(1, 4))), replace=False)
            fresh = self.scatter(height)
            pile.at[some], pile.pose[some] = fresh.at[some], fresh.pose[some]
        return self.press(pile, height)

    def untangle(self, pile: _Pile, height: float, stop: Callable[[float], bool]) -> _Pile:
        """Take overlap out until there is none, or patience or time is at an end; the best pile seen."""
        s = self.shifts
        self.weight[:] = 1.0
        best, trial = pile.copy(), _Pile(pile.at.copy(), pile.pose.copy())
        best.overlap = np.inf
        idle = 0
        while best.overlap > CLEAR_ENOUGH.value and idle < PATIENCE.value:
            overlap, _ = separate(
                pile.at, pile.pose, trial.at, trial.pose, self.part, self.weight, np.array([*self.base, height]),
                s.first, s.frame, s.low, s.high, s.pair, s.poly_at, s.plane_at, s.planes, s.box, s.hull,
                int(ROUNDS.value), int(SAMPLES.value), CLEAR_ENOUGH.value, self.state,
            )  # fmt: skip
            idle = 0 if overlap < 0.98 * best.overlap else idle + 1
            if overlap < best.overlap:
                best = _Pile(trial.at.copy(), trial.pose.copy(), overlap)
            if stop(height):
                break
        return best

    def squeezed(self, pile: _Pile, height: float) -> tuple[_Pile, float]:
        """The pile pushed together by linear programs, and its height."""
        at, low = squeeze(self.shifts, pile.at, pile.pose, np.array([*self.base, height]))
        return _Pile(at, pile.pose.copy(), 0.0), low


def few_pieces(task: NestTask, keys: Sequence[str]) -> list[tuple[Convex, ...]] | None:
    """The parts of a task as convex pieces, when they are few and simple and only the height counts, else None."""
    if len(task.pieces) > MOST_FEW.value or task.wishes is not None:
        return None
    solids = [convex_pieces(task.meshes[k]) for k in keys]
    if any(s is None for s in solids):
        return None
    return [s for s in solids if s is not None]


def is_few(task: NestTask) -> bool:
    """True when `nest_few` can take the task: few pieces, each a union of some convex ones, and no wishes."""
    return few_pieces(task, sorted({p.part_key for p in task.pieces})) is not None


def nest_few(
    task: NestTask,
    *,
    stop: Stop,
    seed: int,
    progress: Callable[[int, float], None] | None = None,
    removable: bool = True,
) -> Nest:
    """Place the pieces of `task` as low as possible on exact geometry; the same promise as `search.nest`.

    Steps of `stop` are batches of overlap removal. With `removable` only builds whose pieces can all be taken
    out are kept. Raises InputError when a part is no union of a few convex pieces, see `is_few`.
    The result depends on task, seed and stop rule only.
    """
    keys = sorted({p.part_key for p in task.pieces})
    solids = few_pieces(task, keys)
    if solids is None:
        raise InputError(
            f"{len(task.pieces)} pieces, a part that is no union of few convex pieces, or wishes beyond the height: "
            "not for the exact nest",
            remedy="use the nest by cells",
        )
    start = nest(task, stop=MaxSteps(0), seed=seed)
    if not solids or (start.left_out and not start.placements):
        return start
    rotations = [different(s, task.rotations[k]) for s, k in zip(solids, keys, strict=True)]
    shifts = make_shifts(solids, rotations, task.clearance_mm)
    return _lowered(task, keys, shifts, start, stop, np.random.default_rng(seed), progress, removable)


def _lowered(
    task: NestTask,
    keys: Sequence[str],
    shifts: Shifts,
    start: Nest,
    stop: Stop,
    rng: np.random.Generator,
    progress: Callable[[int, float], None] | None,
    removable: bool,
) -> Nest:
    gone = {left.piece for left in start.left_out}
    room = _Room(shifts, np.array([keys.index(p.part_key) for p in task.pieces], np.int64), task.space.inner_mm, rng)
    best = start
    top = task.space.height_mm
    height = min(top, start.height_mm)
    if gone:
        fitting = [p for p in task.pieces if not _too_large(p.part_key, keys, shifts, task)]
        if len(fitting) < len(task.pieces):
            task = replace(task, pieces=fitting)
            room.part = np.array([keys.index(p.part_key) for p in fitting], np.int64)
            room.weight = np.ones((len(fitting), len(fitting)))
        height = top
    else:
        height = min(top, height * LOOSE_START.value)
    never = tuple(left for left in start.left_out if left.piece not in {p.piece for p in task.pieces})

    steps = 0
    done = False

    def ended(_: float) -> bool:
        nonlocal steps, done
        steps += 1
        done = done or stop(steps, best.height_mm)
        return done

    least = room.least_height()
    done = stop(0, best.height_mm)
    pool: list[_Pile] = []
    good: _Pile | None = None
    share = MOST_STEP.value
    while not done:
        begin = _next_pile(room, good, pool, height)
        pile = room.untangle(begin, height, ended)
        if pile.overlap > CLEAR_ENOUGH.value:
            pool = sorted([*pool, pile], key=lambda p: p.overlap)[:20]
            if good is not None and len(pool) >= TRIES.value:
                share = share / 3 if share > LEAST_STEP.value else MOST_STEP.value / 2
                low = good.at[:, 2] + shifts.high[good.pose][:, 2]
                height, pool = max(least, float(low.max()) * (1 - share)), []
            continue
        squeezed, low_mm = room.squeezed(pile, height)
        found = _nest_of(task, keys, shifts, squeezed, start, never)
        good, pool = squeezed, []
        if (found.height_mm < best.height_mm or len(found.left_out) < len(best.left_out)) and (
            not removable or _is_free(task, found.placements)
        ):
            best = found
            if progress is not None:
                progress(steps, best.height_mm)
        share = min(MOST_STEP.value, share * 1.5)
        height = max(least, low_mm * (1 - share))
        done = done or low_mm <= least + CLEAR_ENOUGH.value
    return best


def _next_pile(room: _Room, good: _Pile | None, pool: Sequence[_Pile], height: float) -> _Pile:
    """Where to begin: the last good pile pressed lower; after failures a shaken near miss, or from nothing."""
    rng = room.rng
    if good is None or (pool and rng.random() < FRESH_SHARE.value):
        return room.scatter(height)
    if not pool:
        return room.press(good, height)
    rank = min(len(pool) - 1, int(abs(rng.normal()) * 0.25 * len(pool)))
    return room.shake(pool[rank], height)


def _too_large(key: str, keys: Sequence[str], shifts: Shifts, task: NestTask) -> bool:
    part = keys.index(key)
    poses = slice(int(shifts.first[part]), int(shifts.first[part + 1]))
    room = np.array([*task.space.inner_mm, task.space.height_mm])
    return not bool((shifts.high[poses] - shifts.low[poses] <= room + 1e-9).all(axis=1).any())


def _is_free(task: NestTask, placements: Sequence[Placement]) -> bool:
    return removal(task.meshes, placements, task.space, voxel_mm=task.voxel_mm).is_free


def _nest_of(
    task: NestTask, keys: Sequence[str], shifts: Shifts, pile: _Pile, start: Nest, never: tuple[LeftOut, ...]
) -> Nest:
    margin = np.array([task.space.wall_margin_mm, task.space.wall_margin_mm, 0.0])
    placements = []
    for i, piece in enumerate(task.pieces):
        turn, shift = shifts.frame[pile.pose[i]], pile.at[i] + margin
        mesh = task.meshes[piece.part_key]
        z = mesh.vertices[mesh.faces.reshape(-1)] @ turn[2] + shift[2]
        placements.append(
            Placement(piece.piece, piece.part_key, piece.line, turn, shift, float(z.min()), float(z.max()))
        )
    height = max(p.z_max_mm for p in placements)
    filled = sum(volume_mm3(task.meshes[p.part_key]) for p in task.pieces)
    open_parts = [k for k in keys if not is_closed(task.meshes[k])]
    notes = tuple(f"{k}: the mesh is not closed; it was nested as repaired" for k in open_parts)
    return replace(
        start,
        placements=tuple(placements),
        left_out=never,
        height_mm=height,
        density=filled / (start.base_mm[0] * start.base_mm[1] * height),
        notes=notes,
    )
