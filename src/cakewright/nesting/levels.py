"""From coarse cells to fine ones: a build is first found on large cells, then built again on small ones.

Each contact of two pieces loses about one cell edge to rounding, so smaller cells make lower builds; the work
grows with more than the third power of their number. A clearance that is a whole number of cells loses nothing
by itself, and parts drawn in whole millimetres lie on a lattice of one millimetre without loss.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Bank, Ints
from cakewright.nesting.construct import Layout, Workspace, orders
from cakewright.nesting.task import NestTask
from cakewright.sources.nesting import FINE_VOXEL, FINE_WORK


def fine_voxel_mm(task: NestTask) -> float:
    """Edge of the small cells: the largest one not above `nesting.fine_voxel` that divides the clearance."""
    limit = FINE_VOXEL.value
    if task.voxel_mm <= limit or task.clearance_mm <= 0:
        return task.voxel_mm
    return float(task.clearance_mm / np.ceil(task.clearance_mm / limit - 1e-9))


def finer(task: NestTask, bank: Bank, part: Ints) -> NestTask | None:
    """The task on small cells, None when that gains nothing or would be too much work to be of use."""
    voxel = fine_voxel_mm(task)
    # cells of all pieces times platform cells: what one construction has to look through
    work = float(bank.count[bank.first[part]].sum()) * bank.grid[0] * bank.grid[1] * (task.voxel_mm / voxel) ** 4
    if voxel >= task.voxel_mm or work > FINE_WORK.value:
        return None
    return replace(task, voxel_mm=voxel)


def rebuilt(
    work: Workspace, part: Ints, priority: FloatArray, old: Layout, old_bank: Bank, enough: Callable[[], bool]
) -> Layout | None:
    """The best construction on other cells: in the order in which `old` is piled up, or largest first.

    None when `enough` says stop before one is complete. A piece that finds no place makes a construction void.
    """
    low = old.at[:, 2] * old_bank.voxel_mm + old_bank.low_mm[np.maximum(old.pose, 0)]
    piled = np.lexsort((part, low)).astype(np.int64)
    best: Layout | None = None
    for order in (*orders(work.bank, part, priority)[:2], piled):
        trial = Layout.empty(part)
        work.reload(trial)
        floor = np.zeros(len(work.bank.cells), np.int64)  # what is known to be blocked stays known from piece to piece
        for i in order:
            if enough():
                return best
            if work.insert(trial, np.array([i], np.int64), floor):
                break
        else:
            if best is None or trial.height_mm(work.bank) < best.height_mm(work.bank):
                best = trial
    return best
