"""Arranging a nest as its wishes ask, and saying which of them were reached."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from cakewright.model.build import Nest, Placement
from cakewright.nesting.arrange import arrange
from cakewright.nesting.bank import Bank, make_bank
from cakewright.nesting.construct import Layout, Workspace
from cakewright.nesting.objective import SMALL, Objective, Term
from cakewright.nesting.separable import Block, removal
from cakewright.nesting.sideways import drawn_out
from cakewright.nesting.task import NestTask
from cakewright.nesting.thick import tightest_thick_pair
from cakewright.nesting.wishes import NestWishes, ceiling_mm
from cakewright.nesting.worth import poses_of, stand_of
from cakewright.sources.nesting import GAP_TOLERANCE
from cakewright.sources.wishes import ARRANGE_STEPS
from cakewright.stopping import MaxSteps, Stop

TOLD = ("end", "evenness", "crowding", "early", "fragile", "together", "apart")


def arranged(
    work: Workspace,
    layout: Layout,
    objective: Objective,
    stop: Stop | None,
    rng: np.random.Generator,
    *,
    stands: Sequence[Placement] = (),
    fixed: Sequence[Block] = (),
) -> tuple[Layout, tuple[str, ...]]:
    """The layout arranged under its own height (or as high as costs nothing more), with a note on each wish."""
    task, wishes = objective.task, objective.wishes
    height = max(layout.height_mm(work.bank), _top(stands))
    ceiling = ceiling_mm(height, wishes.windows, task.space.height_mm)
    before = objective.terms(layout)
    stop = stop or MaxSteps(int(ARRANGE_STEPS.value))
    if not stop(0, height):
        layout = drawn_out(work, layout, objective, fixed)
        ceiling = min(ceiling, ceiling_mm(max(layout.height_mm(work.bank), _top(stands)), wishes.windows, ceiling))
    layout, _ = arrange(work, layout, objective, stop, rng, ceiling_mm=ceiling, fixed=fixed)
    return layout, _notes(before, objective.terms(layout), frozenset(TOLD) - not_asked(task))


def _top(stands: Sequence[Placement]) -> float:
    return max((p.z_max_mm for p in stands), default=0.0)


def not_asked(task: NestTask) -> frozenset[str]:
    """Wishes that do not concern a task: nobody is told that no look-alikes stand apart."""
    wishes = task.wishes or NestWishes()
    silent = {
        "clearance": not wishes.extra_mm,
        "end": not wishes.windows,
        "early": not any(p.priority > 0 for p in task.pieces),
        "fragile": not wishes.fragile,
        "together": not wishes.together,
        "apart": not wishes.apart,
        "reserved": not wishes.reserved,
    }
    return frozenset(name for name, is_silent in silent.items() if is_silent)


def _notes(before: Sequence[Term], after: Sequence[Term], told: frozenset[str]) -> tuple[str, ...]:
    """Two sentences: what was reached, what was not and how far it got."""
    asked = [(a, b) for a, b in zip(before, after, strict=True) if a.name in told and b.weight > 0]
    reached = [b.words for _, b in asked if b.value < SMALL]
    short = [f"{b.words}: {_change(a, b)}" for a, b in asked if b.value >= SMALL]
    said = [f"wishes reached: {', '.join(reached)}"] if reached else []
    return (*said, *([f"wishes not wholly reached: {'; '.join(short)}"] if short else []))


def _change(before: Term, after: Term) -> str:
    if abs(before.value - after.value) < SMALL:
        return f"{after.value:.1f} {after.unit}"
    return f"{before.value:.1f} to {after.value:.1f} {after.unit}"


def unreached(task: NestTask, placements: Sequence[Placement]) -> tuple[str, ...]:
    """A note when two thick parts are nearer than wished, measured on the exact meshes."""
    if task.wishes is None or not task.wishes.extra_mm:
        return ()
    short = clearance_short(task, placements)
    if short is None:
        return ()
    first, second, gap, wished = short
    return (f"wish not reached: {first} and {second} are thick and {gap:.1f} mm apart, {wished:.1f} mm were asked",)


def clearance_short(task: NestTask, placements: Sequence[Placement]) -> tuple[str, str, float, float] | None:
    """The two thick pieces nearest to each other, when nearer than wished: names, gap and wished gap, mm."""
    extra = (task.wishes or NestWishes()).extra_mm
    reach = task.clearance_mm + max(extra.values(), default=0.0)
    pair = tightest_thick_pair(task.meshes, placements, extra, reach)
    if pair is None:
        return None
    key = {p.piece: p.part_key for p in placements}
    wished = task.clearance_mm + min(extra[key[pair.first]], extra[key[pair.second]])
    return (pair.first, pair.second, pair.gap_mm, wished) if pair.gap_mm < wished - GAP_TOLERANCE.value else None


def judge(task: NestTask, nested: Nest) -> tuple[Term, ...]:
    """Every wish of a task for a finished nest, most important first: value, unit, weight, price.

    Unlike the quick terms of the search it takes the build apart and measures thick pairs exactly. Placements
    that the task does not name, such as pieces inside cages, are left out of the removal.
    """
    from cakewright.nesting.search import volume_mm3

    task = replace(task, voxel_mm=nested.voxel_mm)  # the search may have gone on with smaller cells
    keys = sorted({p.part_key for p in task.pieces})
    bank = make_bank(task, keys)
    part = np.array([keys.index(p.part_key) for p in task.pieces], np.int64)
    objective = Objective(task, bank, part, {k: volume_mm3(m) for k, m in task.meshes.items()})
    numbered = {p.piece for p in task.pieces}
    ours = [p for p in nested.placements if p.piece in numbered]
    quick = {t.name: t for t in objective.terms_of(stand_of(task, bank, ours, poses_of(task, bank, ours)))}
    weights = objective.wishes.weights
    outer = [p for p in nested.placements if p.piece in numbered | {r.name for r in task.reserved}]
    way = removal(task.meshes, outer, task.space, voxel_mm=task.voxel_mm)
    stuck = float(sum(len(group) for group in way.stuck))
    short = clearance_short(task, nested.placements)
    gap = short[3] - short[2] if short else 0.0
    filled = {p.piece for p in nested.placements}
    open_places = float(sum(p.name not in filled for p in task.reserved if p.part_key))
    slow = {
        "interlocked": Term("interlocked", "nothing interlocked", stuck, "pieces", weights.interlocked),
        "clearance": Term("clearance", "more room between thick parts", gap, "mm", weights.clearance),
        "reserved": Term("reserved", "places for specimens", open_places, "places", weights.reserved),
    }
    names = ("interlocked", "clearance", *list(quick)[:-1], "reserved", "density")
    return tuple((slow | quick)[name] for name in names)


def layout_of(task: NestTask, bank: Bank, placements: Sequence[Placement]) -> Layout:
    """The layout of the search in which the pieces of the task stand as placed."""
    keys = list(bank.keys)
    layout = Layout.empty(np.array([keys.index(p.part_key) for p in task.pieces], np.int64))
    number = {p.piece: i for i, p in enumerate(task.pieces)}
    ours = [p for p in placements if p.piece in number]
    for p, pose in zip(ours, poses_of(task, bank, ours), strict=True):
        i = number[p.piece]
        layout.pose[i] = pose
        layout.at[i] = np.round((p.translation - bank.origin_mm[pose]) / bank.voxel_mm).astype(np.int64)
    return layout
