"""The nest: construct, make removable, improve until told to stop."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from cakewright.model.build import LeftOut, Nest, Placement
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.bank import Bank, Ints, make_bank
from cakewright.nesting.construct import Layout, Workspace, construct, orders
from cakewright.nesting.exact import cover_of, solve_cover
from cakewright.nesting.fulfil import arranged, unreached
from cakewright.nesting.improve import cost, improve
from cakewright.nesting.objective import Objective
from cakewright.nesting.release import make_removable
from cakewright.nesting.reserve import fixed_blocks, reserved_cells, specimens
from cakewright.nesting.separable import Block
from cakewright.nesting.task import NestPiece, NestTask
from cakewright.nesting.thick import widened
from cakewright.nesting.voxels import is_closed
from cakewright.stopping import Stop

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
) -> Nest:
    """Place the pieces of `task` as low as possible, clear of each other and removable, then as its wishes ask.

    `stop` rules the improvement; a complete construction is always made first. `progress(step, height)`
    is called for each better build. `arrange_stop` rules the arranging under the height found, when the
    task has wishes (default: `wishes.arrange_steps`). Pieces without a place are in `left_out` with the
    reason. The result depends on task, seed and stop rules only (a rule that reads a clock makes it
    depend on the machine).
    """
    keys = sorted({p.part_key for p in task.pieces})
    solid = {k: volume_mm3(mesh) for k, mesh in task.meshes.items()}
    part = np.array([keys.index(p.part_key) for p in task.pieces], np.int64)
    stands = specimens(task)
    plain = make_bank(task, keys)
    bank = widened(plain, task.wishes.extra_mm) if task.wishes is not None else plain
    layout, notes = _layout(task, bank, part, solid, stands, stop, arrange_stop, seed, progress)
    if bank is not plain and (layout.pose < 0).any():  # a piece without a place is worse than a narrow gap
        bank = plain
        layout, notes = _layout(task, bank, part, solid, stands, stop, arrange_stop, seed, progress)
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
        voxel_mm=task.voxel_mm,
        seed=seed,
        notes=(*_notes(task, keys), *notes, *unreached(task, placements)),
    )


def _layout(
    task: NestTask,
    bank: Bank,
    part: Ints,
    solid_mm3: Mapping[str, float],
    stands: Sequence[Placement],
    stop: Stop,
    arrange_stop: Stop | None,
    seed: int,
    progress: Callable[[int, float], None] | None,
) -> tuple[Layout, tuple[str, ...]]:
    """Search for the lowest layout, then arrange it; with notes on what was wished."""
    layout = Layout.empty(part)
    if not len(bank.cells):
        return layout, ()
    rng = np.random.default_rng(seed)
    work = Workspace(bank)
    if task.reserved:
        work.kept_free = reserved_cells(task.reserved, task, work.taken.shape)
    fixed = fixed_blocks(task, stands)
    priority = np.array([p.priority for p in task.pieces], np.float64)
    layout = _filled(bank, part, task, stop, rng) or _search(work, part, priority, stop, rng, progress, fixed)
    if task.wishes is None:
        return layout, ()
    objective = Objective(task, bank, part, solid_mm3)
    return arranged(work, layout, objective, arrange_stop, rng, stands=stands, fixed=fixed)


def _filled(bank: Bank, part: Ints, task: NestTask, stop: Stop, rng: np.random.Generator) -> Layout | None:
    """The exact answer for pieces of whole cells that fill the space to the last cell, else None."""
    room = np.array([*task.space.inner_mm, task.space.height_mm]) / task.voxel_mm
    whole = np.round(room).astype(int)
    if task.clearance_mm > 0 or task.reserved or np.abs(room - whole).max() > 1e-6:
        return None
    cover = cover_of(bank, part, (int(whole[0]), int(whole[1]), int(whole[2])))
    return None if cover is None else solve_cover(cover, part, stop, rng)


def _search(
    work: Workspace,
    part: Ints,
    priority: FloatArray,
    stop: Stop,
    rng: np.random.Generator,
    progress: Callable[[int, float], None] | None,
    fixed: Sequence[Block] = (),
) -> Layout:
    bank = work.bank
    best: Layout | None = None
    best_cost = float("inf")
    for step, order in enumerate(orders(bank, part, priority)):
        trial = construct(work, part, order)
        value = cost(trial, bank, priority)
        if value < best_cost:
            best, best_cost = trial, value
            if progress is not None:
                progress(step, best_cost)
        if stop(step, best_cost):
            break
    assert best is not None
    safe = make_removable(work, best, fixed)
    better, _ = improve(work, safe, priority, stop, rng, progress)
    better = make_removable(work, better, fixed)
    return better if cost(better, bank, priority) <= cost(safe, bank, priority) else safe
