"""The nest: construct, make removable, improve until told to stop."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cakewright.model.build import LeftOut, Nest, Placement
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.bank import Bank, Ints, make_bank
from cakewright.nesting.construct import Layout, Workspace, construct, orders
from cakewright.nesting.exact import cover_of, solve_cover
from cakewright.nesting.fulfil import arranged, unreached
from cakewright.nesting.improve import Count, cost, improve
from cakewright.nesting.levels import doubled, finer, rebuilt
from cakewright.nesting.objective import Objective
from cakewright.nesting.release import make_removable
from cakewright.nesting.reserve import fixed_blocks, fixed_cells, reserved_cells, specimens
from cakewright.nesting.separable import Block
from cakewright.nesting.stages import large_first
from cakewright.nesting.task import NestPiece, NestTask
from cakewright.nesting.thick import widened
from cakewright.nesting.voxels import is_closed
from cakewright.sources.nesting import COARSE_STEPS, STAGE_FROM, STAGE_LEAST, STAGE_UNTIL
from cakewright.stopping import Stop, used

TOO_LARGE = "larger than the chamber in every allowed orientation"
FULL = "chamber is full"


def volume_mm3(mesh: Mesh) -> float:
    """Enclosed volume from signed tetrahedra, without sign."""
    t = mesh.triangles - mesh.vertices.mean(axis=0)
    return abs(float(np.einsum("ij,ij->i", t[:, 0], np.cross(t[:, 1], t[:, 2])).sum()) / 6.0)


def _placements(layout: Layout, bank: Bank, pieces: Sequence[NestPiece], task: NestTask) -> tuple[Placement, ...]:
    out = []
    for i in layout.placed:
        p = layout.pose[i]
        shift = bank.origin_mm[p] + layout.at[i] * bank.voxel_mm
        out.append(_placement(pieces[int(i)], bank.rotation[p], shift, task.meshes[pieces[int(i)].part_key]))
    return tuple(out)


def _placement(piece: NestPiece, rotation: FloatArray, shift: FloatArray, mesh: Mesh) -> Placement:
    z = mesh.vertices[mesh.faces.reshape(-1)] @ rotation[2] + shift[2]
    return Placement(piece.piece, piece.part_key, piece.line, rotation, shift, float(z.min()), float(z.max()))


def _left_out(layout: Layout, bank: Bank, pieces: Sequence[NestPiece]) -> tuple[LeftOut, ...]:
    out = []
    for i in np.flatnonzero(layout.pose < 0):
        piece = pieces[int(i)]
        reason = FULL if len(bank.poses_of(int(layout.part[i]))) else TOO_LARGE
        out.append(LeftOut(piece.piece, piece.line, reason))
    return tuple(out)


def _notes(task: NestTask, keys: Sequence[str]) -> tuple[str, ...]:
    open_parts = [k for k in keys if not is_closed(task.meshes[k])]
    return tuple(f"{k}: the mesh is not closed; its outer shell was nested as if it were solid" for k in open_parts)


def nest(
    task: NestTask,
    *,
    stop: Stop,
    seed: int,
    progress: Callable[[int, float], None] | None = None,
    arrange_stop: Stop | None = None,
    workers: int = 1,
) -> Nest:
    """Place the pieces of `task` as low as possible, clear of each other and removable, then as its wishes ask.

    `stop` rules the improvement; a complete construction is always made first. `progress(step, height)`
    is called for each better build. `arrange_stop` rules the arranging under the height found, when the
    task has wishes (default: `wishes.arrange_steps`). Pieces without a place are in `left_out` with the
    reason. `workers` threads search at once. The result depends on task, seed, workers and stop rules only
    (a rule that reads a clock makes it depend on the machine).
    """
    stop(0, float("inf"))  # a rule with a clock counts from here, not from the first build on
    keys = sorted({p.part_key for p in task.pieces})
    solid = {k: volume_mm3(mesh) for k, mesh in task.meshes.items()}
    part = np.array([keys.index(p.part_key) for p in task.pieces], np.int64)
    stands = (*specimens(task), *task.fixed)
    extra = task.wishes.extra_mm if task.wishes is not None else {}
    found = _found(task, keys, part, stands, extra, stop, seed, progress, workers)
    if extra and (found.layout.pose < 0).any():  # a piece without a place is worse than a narrow gap
        found = _found(task, keys, part, stands, {}, stop, seed, progress, workers)
    layout, bank, notes = found.layout, found.work.bank, tuple[str, ...]()
    if task.wishes is not None and len(bank.cells):
        objective = Objective(found.task, bank, part, solid)
        fixed = fixed_blocks(found.task, stands)
        rng = np.random.default_rng(seed)
        layout, notes = arranged(found.work, layout, objective, arrange_stop, rng, stands=stands, fixed=fixed)
    placements = (*_placements(layout, bank, task.pieces, task), *stands)
    height = max((p.z_max_mm for p in placements), default=0.0)
    base = (task.space.x_mm, task.space.y_mm)
    filled = sum(solid[p.part_key] for p in placements)
    return Nest(
        placements=placements,
        left_out=_left_out(layout, bank, task.pieces),
        base_mm=base,
        height_mm=height,
        density=filled / (base[0] * base[1] * height) if height > 0 else 0.0,
        clearance_mm=task.clearance_mm,
        voxel_mm=bank.voxel_mm,
        seed=seed,
        notes=(*_notes(task, keys), *notes, *unreached(task, placements)),
    )


@dataclass(frozen=True, eq=False)
class _Found:
    """A layout, with the space and the task (cells of its size) it was found in."""

    task: NestTask
    work: Workspace
    layout: Layout


def _workspace(
    task: NestTask, keys: Sequence[str], extra_mm: Mapping[str, float], *, corner: bool = False
) -> Workspace:
    work = Workspace(widened(make_bank(task, keys, corner=corner), extra_mm))
    if (task.reserved or task.fixed) and len(work.bank.cells):
        shape = work.taken.shape
        work.kept_free = reserved_cells(task.reserved, task, shape) | fixed_cells(task, shape)
    return work


def _found(
    task: NestTask,
    keys: Sequence[str],
    part: Ints,
    stands: Sequence[Placement],
    extra_mm: Mapping[str, float],
    stop: Stop,
    seed: int,
    progress: Callable[[int, float], None] | None,
    workers: int,
) -> _Found:
    """Search for the lowest layout: on large cells first, then on small ones."""
    work = _workspace(task, keys, extra_mm)
    rng = np.random.default_rng(seed)
    filled = _filled(work.bank, part, task, stop, rng) if len(work.bank.cells) else Layout.empty(part)
    if filled is not None:
        return _Found(task, work, filled)
    priority = np.array([p.priority for p in task.pieces], np.float64)
    count = Count(stop, rng, priority, progress)
    fixed = fixed_blocks(task, stands)
    first = _constructed(work, part, count, fixed)
    if not count.enough():
        first = _improved([work], first, count, fixed, most=int(COARSE_STEPS.value))
    found = _Found(task, work, first)
    again = None if count.enough() else _again(found, keys, part, extra_mm, count, workers)
    if again is not None and cost(again.layout, again.work.bank, priority) < cost(first, work.bank, priority):
        layout = make_removable(again.work, again.layout, fixed_blocks(again.task, stands))
        found = replace(again, layout=layout)
        count.is_best(cost(layout, found.work.bank, priority))
    if count.enough():
        return found
    spaces = [found.work, *(found.work.beside() for _ in range(workers - 1))]
    better = _improved(spaces, found.layout, count, fixed_blocks(found.task, stands))
    return replace(found, layout=better)


def _again(
    found: _Found, keys: Sequence[str], part: Ints, extra_mm: Mapping[str, float], count: Count, workers: int
) -> _Found | None:
    """The lowest build made anew: whole ones on small cells, where those are bearable, and one by stages, if worth it.

    None when there is nothing to try or the rule says stop before one is complete.
    """
    fine = finer(found.task, found.work.bank, part)
    task = found.task if fine is None else fine
    if fine is None and len(part) < STAGE_LEAST.value:
        return None
    small = _workspace(task, keys, extra_mm, corner=True)
    spaces = [small, *(small.beside() for _ in range(workers - 1))]
    made = []
    if fine is not None:
        tired = _from(STAGE_FROM.value, count)
        old = found.layout, found.work.bank
        made.append(rebuilt(spaces, part, count.priority, *old, count.enough, count.rng, tired))
    if len(part) >= STAGE_LEAST.value and not _from(STAGE_UNTIL.value, count)():
        large = _workspace(doubled(task), keys, extra_mm, corner=True)
        made.append(large_first(large, spaces, part, count))
    whole = [layout for layout in made if layout is not None]
    if not whole:
        return None
    return _Found(task, small, min(whole, key=lambda layout: cost(layout, small.bank, count.priority)))


def _from(share: float, count: Count) -> Callable[[], bool]:
    """Is at least a share of what the stop rule allows used up? No, where the rule cannot tell."""
    return lambda: (used(count.stop, count.steps) or 0.0) >= share


def _filled(bank: Bank, part: Ints, task: NestTask, stop: Stop, rng: np.random.Generator) -> Layout | None:
    """The exact answer for pieces of whole cells that fill the space to the last cell, else None."""
    room = np.array([*task.space.inner_mm, task.space.height_mm]) / task.voxel_mm
    whole = np.round(room).astype(int)
    if task.clearance_mm > 0 or task.reserved or task.fixed or np.abs(room - whole).max() > 1e-6:
        return None
    cover = cover_of(bank, part, (int(whole[0]), int(whole[1]), int(whole[2])))
    return None if cover is None else solve_cover(cover, part, stop, rng)


def _constructed(work: Workspace, part: Ints, count: Count, fixed: Sequence[Block]) -> Layout:
    """The best of some constructions (at least one), made removable."""
    best: Layout | None = None
    for order in orders(work.bank, part, count.priority):
        trial = construct(work, part, order)
        if count.is_best(cost(trial, work.bank, count.priority)):
            best = trial
        if count.enough():
            break
        count.steps += 1
    assert best is not None
    return make_removable(work, best, fixed)


def _improved(
    spaces: Sequence[Workspace], layout: Layout, count: Count, fixed: Sequence[Block], most: int | None = None
) -> Layout:
    """The layout after improvement, removable again; the old one when that is lower."""
    better = improve(spaces, layout, count, most)
    if better is layout:
        return layout
    better = make_removable(spaces[0], better, fixed)
    before, after = (cost(each, spaces[0].bank, count.priority) for each in (layout, better))
    return better if after <= before else layout
