"""Places that a nest keeps free, and the specimens that stand in them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cakewright.errors import DoesNotFitError, InputError
from cakewright.model.build import Placement
from cakewright.nesting.bank import Words
from cakewright.nesting.separable import Block, block_of
from cakewright.nesting.task import NestTask
from cakewright.nesting.voxels import grid_near, without_hollows
from cakewright.nesting.wishes import ReservedPlace


def reserved_cells(places: Sequence[ReservedPlace], task: NestTask, shape: tuple[int, int, int]) -> Words:
    """(nx, ny, words): all cells nearer than the clearance to a reserved box, in the layout of the search."""
    taken = np.zeros(shape, np.uint64)
    margin = np.array([task.space.wall_margin_mm, task.space.wall_margin_mm, 0.0])
    for place in places:
        low = (np.array(place.low_mm) - task.clearance_mm - margin) / task.voxel_mm
        high = (np.array(place.high_mm) + task.clearance_mm - margin) / task.voxel_mm
        a = np.maximum(0, np.floor(low + 1e-6)).astype(int)
        b = np.ceil(high - 1e-6).astype(int)
        column = ((1 << int(b[2])) - 1) ^ ((1 << int(a[2])) - 1)
        words = [(column >> (64 * k)) & 0xFFFFFFFFFFFFFFFF for k in range(shape[2])]
        taken[a[0] : b[0], a[1] : b[1]] |= np.array(words, np.uint64)
    return taken


def fixed_cells(task: NestTask, shape: tuple[int, int, int]) -> Words:
    """(nx, ny, words): all cells nearer than the clearance to a piece that stands fixed, as the search keeps them."""
    taken = np.zeros(shape, np.uint64)
    reach = max(0.0, task.clearance_mm / task.voxel_mm - 1e-6)
    wide = int(np.ceil(reach)) + 1 if reach > 0 else 0
    for placed in task.fixed:
        block = block_of(task.meshes[placed.part_key], placed, task.space, task.voxel_mm)
        grid = np.pad(without_hollows(block.grid), wide)
        if wide:
            grid = grid_near(grid, wide, reach**2)
        i, j, k = np.nonzero(grid)
        at = np.stack([i, j, k]) + np.array(block.at)[:, None] - wide
        at = at[:, (at >= 0).all(axis=0) & (at < np.array([shape[0], shape[1], 64 * shape[2]])[:, None]).all(axis=0)]
        np.bitwise_or.at(taken, (at[0], at[1], at[2] >> 6), np.uint64(1) << (at[2] & 63).astype(np.uint64))
    return taken


def specimens(task: NestTask) -> tuple[Placement, ...]:
    """The specimens of the reserved places, each in the middle of its place and on its floor.

    DoesNotFitError when a specimen is larger than its place in each of its rotations.
    """
    return tuple(_stand(place, task) for place in task.reserved if place.part_key)


def _stand(place: ReservedPlace, task: NestTask) -> Placement:
    mesh = task.meshes[place.part_key]
    low, high = np.array(place.low_mm), np.array(place.high_mm)
    used = mesh.vertices[mesh.faces.reshape(-1)]
    rotations = np.asarray(task.rotations.get(place.part_key, np.eye(3)[None]), dtype=np.float64)
    for rotation in rotations:
        turned = used @ rotation.T
        size = np.ptp(turned, axis=0)
        if (size <= high - low + 1e-6).all():
            shift = (low + high - size) / 2 - turned.min(axis=0)
            shift[2] = low[2] - turned[:, 2].min()
            z = float(turned[:, 2].min() + shift[2])
            return Placement(place.name, place.part_key, place.line, rotation, shift, z, z + float(size[2]))
    raise DoesNotFitError(
        f"the specimen is larger than its place of {' x '.join(f'{v:g}' for v in high - low)} mm",
        where=f"reserved place {place.name}",
        remedy="make the place larger or allow other orientations",
    )


def fixed_blocks(task: NestTask, placed: Sequence[Placement]) -> list[Block]:
    """Specimens as cells, for judging who can leave."""
    return [block_of(task.meshes[p.part_key], p, task.space, task.voxel_mm) for p in placed]


def check_names(task: NestTask) -> None:
    """A specimen is named unlike every piece."""
    names = [p.name for p in task.reserved]
    twice = sorted({n for n in names if names.count(n) > 1} | (set(names) & {p.piece for p in task.pieces}))
    if twice:
        raise InputError(f"reserved places share a name: {', '.join(twice)}", remedy="name each once")
