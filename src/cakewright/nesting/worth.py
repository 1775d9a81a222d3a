"""What a nest is worth where it stands: the wishes of a task for pieces that are no longer on the lattice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from cakewright.model.build import Placement
from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Bank, Ints, make_bank
from cakewright.nesting.objective import SMALL, Objective, Stand, Term
from cakewright.nesting.task import NestTask


class Worth:
    """The wishes of a task, valued for a nest that is being moved: points as in `Objective`, exact in height.

    A piece that was turned a little is valued by the cells it had before, about the middle of its box. Made for the
    pieces of the task; what stands fixed or in a reserved place counts for the height only.
    """

    def __init__(self, task: NestTask, placements: Sequence[Placement], voxel_mm: float, solid: Mapping[str, float]):
        """`voxel_mm` is that of the nest, `solid` the volume of each part in mm³."""
        named = {p.piece for p in task.pieces}
        self._ours = [n for n, p in enumerate(placements) if p.piece in named]
        ours = [placements[n] for n in self._ours]
        keys = sorted({p.part_key for p in task.pieces})
        standing = {**task.rotations, **standing_rotations(ours)}
        self._task = replace(task, rotations=standing, voxel_mm=voxel_mm)
        self._bank = make_bank(self._task, keys)
        part = np.array([keys.index(p.part_key) for p in task.pieces], np.int64)
        self._objective = Objective(self._task, self._bank, part, solid)
        self._pose = poses_of(self._task, self._bank, ours)

    def terms(self, placements: Sequence[Placement]) -> tuple[Term, ...]:
        """Every wish that can be told from boxes and cells."""
        found = self._objective.terms_of(self._stand(placements))
        height = max((p.z_max_mm for p in placements), default=0.0)
        return tuple(replace(t, value=height) if t.name == "height" else t for t in found)

    def points(self, placements: Sequence[Placement]) -> float:
        """The price of all of them; lower is better."""
        return sum(t.price for t in self.terms(placements))

    def pulls(self, placements: Sequence[Placement]) -> FloatArray:
        """(n, 3) mm of height that a piece is worth more for each mm along an axis; see `Objective.pulls`."""
        out = np.zeros((len(placements), 3))
        unit = max(self._objective.wishes.weights.height, 1e-6)
        out[self._ours] = self._objective.pulls(self._stand(placements)) / unit
        return out

    def is_kept(self, before: Sequence[Placement], after: Sequence[Placement]) -> bool:
        """True when the price is not higher after and no wish that was fulfilled is not any more."""
        old, new = self.terms(before), self.terms(after)
        lost = any(a.weight > 0 and a.value < SMALL <= b.value for a, b in zip(old, new, strict=True))
        return not lost and sum(t.price for t in new) <= sum(t.price for t in old) + 1e-9

    def _stand(self, placements: Sequence[Placement]) -> Stand:
        return stand_of(self._task, self._bank, [placements[n] for n in self._ours], self._pose)


def standing_rotations(placements: Sequence[Placement], within: float = 1e-6) -> dict[str, FloatArray]:
    """The different rotations in which each part stands, (k, 3, 3); entries that differ less than `within` are one."""
    found: dict[str, list[FloatArray]] = {}
    for p in placements:
        known = found.setdefault(p.part_key, [])
        if not any(np.abs(p.rotation - r).max() < within for r in known):
            known.append(p.rotation)
    return {key: np.array(turns) for key, turns in found.items()}


def poses_of(task: NestTask, bank: Bank, placements: Sequence[Placement]) -> Ints:
    """The pose of the bank, for each placement, that is turned most like it."""
    keys = list(bank.keys)
    out = []
    for p in placements:
        poses = bank.poses_of(keys.index(p.part_key))
        turned = [float(np.abs(bank.rotation[q] - p.rotation).max()) for q in poses]
        out.append(poses[int(np.argmin(turned))])
    return np.array(out, np.int64)


def stand_of(task: NestTask, bank: Bank, placements: Sequence[Placement], pose: Ints) -> Stand:
    """Where pieces of the task stand; the cells of one turned a little are laid about the middle of its part."""
    number = {p.piece: i for i, p in enumerate(task.pieces)}
    corner = np.empty((len(placements), 3))
    tops = np.zeros(len(task.pieces))
    for n, (p, q) in enumerate(zip(placements, pose, strict=True)):
        middle = task.meshes[p.part_key].box_mm.mean(axis=0)
        corner[n] = (p.rotation - bank.rotation[q]) @ middle + p.translation - bank.origin_mm[q]
        tops[number[p.piece]] = p.z_max_mm
    return Stand(np.array([number[p.piece] for p in placements], np.int64), pose, corner, tops)
