"""From coarse cells to fine ones: a build is first found on large cells, then built again on small ones.

Each contact of two pieces loses about one cell edge to rounding, so smaller cells make lower builds; the work
grows with more than the third power of their number. A clearance that is a whole number of cells loses nothing
by itself, and parts drawn in whole millimetres lie on a lattice of one millimetre without loss.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Bank, Ints
from cakewright.nesting.construct import NO_LIMIT, Layout, Workspace, orders, sizes
from cakewright.nesting.task import NestTask
from cakewright.sources.nesting import FINE_VOXEL, FINE_WORK, ORDER_NOISE, RESTARTS


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


def doubled(task: NestTask) -> NestTask:
    """The task on cells of twice the edge."""
    return replace(task, voxel_mm=2 * task.voxel_mm)


def rebuilt(
    spaces: Sequence[Workspace],
    part: Ints,
    priority: FloatArray,
    old: Layout,
    old_bank: Bank,
    enough: Callable[[], bool],
    rng: np.random.Generator,
    tired: Callable[[], bool] | None = None,
) -> Layout | None:
    """The lowest of some constructions on other cells; None when `enough` says stop before one is complete.

    Tried are the usual orders, the order in which `old` is piled up, and orders by size times a random factor for
    each part or piece. One that becomes higher than the best so far is given up. Each of `spaces` works at the same
    time, so the answer depends on their number. `tired` is asked between builds whether there were enough of them.
    """
    low = old.at[:, 2] * old_bank.voxel_mm + old_bank.low_mm[np.maximum(old.pose, 0)]
    usual = [*orders(spaces[0].bank, part, priority)[:2], np.lexsort((part, low)).astype(np.int64)]
    tries = usual + [_disturbed(spaces[0].bank, part, priority, rng) for _ in range(int(RESTARTS.value) * len(spaces))]
    bank = spaces[0].bank
    best: Layout | None = None
    with ThreadPoolExecutor(len(spaces)) as pool:
        for at in range(0, len(tries), len(spaces)):
            limit = NO_LIMIT if best is None or (best.pose < 0).any() else best.height_mm(bank)
            now = [(work, part, order, limit, enough) for work, order in zip(spaces, tries[at:], strict=False)]
            for made in pool.map(lambda job: _built(*job), now):
                if made is not None and (best is None or _worth(made, bank) < _worth(best, bank)):
                    best = made
            if enough() or (tired is not None and tired()):
                break
    return best


def _worth(layout: Layout, bank: Bank) -> tuple[int, float]:
    """Pieces without a place, then height."""
    return int((layout.pose < 0).sum()), layout.height_mm(bank)


def _built(work: Workspace, part: Ints, order: Ints, limit_mm: float, enough: Callable[[], bool]) -> Layout | None:
    """Pieces placed in `order`; None when one is not below the limit or `enough` says stop."""
    return filled_up(work, Layout.empty(part), order, limit_mm, enough)


def filled_up(
    work: Workspace, layout: Layout, order: Ints, limit_mm: float, enough: Callable[[], bool]
) -> Layout | None:
    """`layout` with the pieces of `order` added in turn; None when one is not below the limit or `enough` says stop."""
    work.reload(layout)
    floor = np.zeros(len(work.bank.cells), np.int64)  # what is known to be blocked stays known from piece to piece
    for i in order:
        if enough():
            return None
        if work.insert(layout, np.array([i], np.int64), floor, None, limit_mm) and limit_mm < NO_LIMIT:
            return None
    return layout


def _disturbed(bank: Bank, part: Ints, priority: FloatArray, rng: np.random.Generator) -> Ints:
    """Largest first, by box or solid, where sizes are off by a random factor for each part or each piece."""
    size = sizes(bank, part)[:, int(rng.integers(2))]
    alike = rng.random() < 0.5
    off = rng.normal(size=len(bank.keys))[part] if alike else rng.normal(size=len(part))
    factor = np.exp(rng.uniform(0.0, ORDER_NOISE.value) * off)
    return np.lexsort((part, -size * factor, -priority)).astype(np.int64)
