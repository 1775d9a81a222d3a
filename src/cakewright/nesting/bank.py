"""Every part in every allowed orientation as bit columns, in flat arrays that compiled code reads.

A pose is one part in one orientation. Its `bare` cells are kept as runs along z (for the search) and
as 64-bit words (for counting overlap), its `fat` cells as words (to mark what is taken). Orientations
that differ by a cube rotation share one voxelisation; orientations that look the same are kept once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.known_shapes import known_shape
from cakewright.nesting.task import NestSpace, NestTask
from cakewright.nesting.voxels import Grid, Shape

Words = NDArray[np.uint64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Bank:
    """All poses of a task.

    Per pose: `cells` (p, 3) size in cells, `last` (p, 3) highest allowed position (negative when the
    pose does not fit), `origin_mm` (p, 3) so that a mesh point stands at rotation @ point + origin +
    position * voxel, `top_mm` (p,) height of the true top over its own lowest cell, `low_mm` (p,) of
    the true bottom. Cells are in `bare`, `runs` and `fat` from `bare_at`, `run_at`, `fat_at` on.
    Poses of part number i are `first[i]` to `first[i + 1]`.
    """

    voxel_mm: float
    pad: int
    grid: tuple[int, int, int]
    keys: tuple[str, ...]
    first: Ints
    rotation: FloatArray
    cells: Ints
    last: Ints
    origin_mm: FloatArray
    top_mm: FloatArray
    low_mm: FloatArray
    bare: Words
    bare_at: Ints
    fat: Words
    fat_at: Ints
    runs: NDArray[np.int32]
    run_at: Ints
    count: Ints

    def poses_of(self, part: int) -> range:
        """Pose numbers of one part."""
        return range(int(self.first[part]), int(self.first[part + 1]))


def pack(grid: Grid) -> Words:
    """(nx, ny, nz) of 0/1 as (nx, ny, ceil(nz/64)) words, lowest cell in the lowest bit."""
    nx, ny, nz = grid.shape
    words = (nz + 63) // 64
    padded = np.zeros((nx, ny, words * 64), np.uint8)
    padded[:, :, :nz] = grid
    return np.packbits(padded, axis=2, bitorder="little").view("<u8").astype(np.uint64)


@kernel
def _runs(grid: Grid, out: NDArray[np.int32]) -> int:
    """Write the vertical runs of a grid to `out`, as far as there is room; returns how many there are."""
    count = 0
    nx, ny, nz = grid.shape
    for i in range(nx):
        for j in range(ny):
            length = 0
            for k in range(nz + 1):
                filled = k < nz and grid[i, j, k] != 0
                if length > 0 and (not filled or length == 64):
                    if count < len(out):
                        out[count, 0], out[count, 1], out[count, 2], out[count, 3] = i, j, k - length, length
                    count += 1
                    length = 0
                if filled:
                    length += 1
    return count


def runs_of(grid: Grid) -> NDArray[np.int32]:
    """(r, 4) of i, j, first k, length: the set cells as vertical runs of at most 64, longest first."""
    runs = np.empty((2 * grid.shape[0] * grid.shape[1] + 64, 4), np.int32)
    count = _runs(grid, runs)
    if count > len(runs):
        runs = np.empty((count, 4), np.int32)
        _runs(grid, runs)
    runs = runs[:count]
    # a scattered order among runs of similar length finds a collision sooner than a row-wise one
    scatter = (np.arange(count) * 7919) % max(1, count)
    return np.ascontiguousarray(runs[np.lexsort((scatter, -(runs[:, 3] // 4)))])


def _turned(shape: Shape, turn: FloatArray, voxel_mm: float) -> Shape:
    """The shape after a rotation that maps axes to axes."""
    source = [int(np.argmax(np.abs(row))) for row in turn]
    flip = [a for a in range(3) if turn[a, source[a]] < 0]
    bare = np.ascontiguousarray(np.flip(shape.bare.transpose(source), tuple(flip)))
    fat = np.ascontiguousarray(np.flip(shape.fat.transpose(source), tuple(flip)))
    corner, low = turn @ shape.corner_mm, turn @ shape.low_mm
    size = shape.size_mm[source]
    for a in flip:
        corner[a] -= bare.shape[a] * voxel_mm
        low[a] -= size[a]
    return Shape(bare, fat, shape.pad, corner, low, size)


def _fits(shape: Shape, space: NestSpace, voxel_mm: float) -> NDArray[np.int64]:
    """Highest position per axis at which the true box is still inside; negative when there is none."""
    room = np.array([*space.inner_mm, space.height_mm])
    return np.floor((room - (shape.low_mm - shape.corner_mm) - shape.size_mm) / voxel_mm + 1e-6).astype(np.int64)


def shapes_of(
    mesh: Mesh, rotations: FloatArray, task: NestTask, *, corner: bool = False
) -> Iterator[tuple[FloatArray, Shape, Ints]]:
    """The different shapes of one part that fit the space, with rotation and highest position; see `make_bank`."""
    room = np.array([*task.space.inner_mm, task.space.height_mm])
    known: list[tuple[FloatArray, Shape]] = []
    seen: set[bytes] = set()
    for rotation in np.asarray(rotations, dtype=np.float64):
        size = np.ptp(mesh.vertices[mesh.faces.reshape(-1)] @ rotation.T, axis=0)
        if (size > room + 1e-6).any():
            continue
        shape = None
        for base, base_shape in known:
            turn = np.round(rotation @ base.T)
            if np.abs(rotation @ base.T - turn).max() < 1e-9:
                shape = _turned(base_shape, turn, task.voxel_mm)
                break
        if shape is None:
            shape = known_shape(mesh, rotation, task.voxel_mm, task.clearance_mm, low=corner)
            known.append((rotation, shape))
        last = _fits(shape, task.space, task.voxel_mm)
        if (last < 0).any():
            shape = known_shape(mesh, rotation, task.voxel_mm, task.clearance_mm, low=True)
            last = _fits(shape, task.space, task.voxel_mm)
        mark = shape.bare.tobytes() + bytes(str(shape.bare.shape), "ascii")
        if mark in seen or (last < 0).any():
            continue
        seen.add(mark)
        yield rotation, shape, last


def make_bank(task: NestTask, keys: Sequence[str], *, corner: bool = False) -> Bank:
    """Voxelise every part of the task in every allowed orientation that fits the space.

    With `corner` the lattice begins at a corner of each part, so that cells of half the edge lie in those of the whole
    one; else the part stands in the middle of its cells.
    """
    first, rotation, cells, last, origin, top, low = [0], [], [], [], [], [], []
    bare, fat, runs, counts = [], [], [], []
    pad = 0
    margin = np.array([task.space.wall_margin_mm, task.space.wall_margin_mm, 0.0])
    for key in keys:
        for turn, shape, highest in shapes_of(task.meshes[key], task.rotations[key], task, corner=corner):
            rotation.append(turn)
            cells.append(shape.bare.shape)
            last.append(highest)
            origin.append(margin - shape.corner_mm)
            low.append(float(shape.low_mm[2] - shape.corner_mm[2]))
            top.append(float(shape.low_mm[2] + shape.size_mm[2] - shape.corner_mm[2]))
            bare.append(pack(shape.bare).reshape(-1))
            fat.append(pack(shape.fat).reshape(-1))
            runs.append(runs_of(shape.bare))
            counts.append(int(shape.bare.sum()))
            pad = shape.pad
        first.append(len(cells))
    room = np.array([*task.space.inner_mm, task.space.height_mm])
    grid = np.ceil(room / task.voxel_mm - 1e-6).astype(int) + 1
    return Bank(
        task.voxel_mm,
        pad,
        (int(grid[0]), int(grid[1]), int(grid[2])),
        tuple(keys),
        np.array(first, np.int64),
        np.array(rotation, np.float64).reshape(-1, 3, 3),
        np.array(cells, np.int64).reshape(-1, 3),
        np.array(last, np.int64).reshape(-1, 3),
        np.array(origin, np.float64).reshape(-1, 3),
        np.array(top, np.float64),
        np.array(low, np.float64),
        *_flat(bare, np.dtype(np.uint64)),
        *_flat(fat, np.dtype(np.uint64)),
        *_flat(runs, np.dtype(np.int32), (0, 4)),
        np.array(counts, np.int64),
    )


def _flat(pieces: Sequence[NDArray[Any]], kind: Any, empty: tuple[int, ...] = (0,)) -> tuple[NDArray[Any], Ints]:
    at = np.cumsum([0] + [len(p) for p in pieces]).astype(np.int64)
    return (np.concatenate(pieces).astype(kind) if pieces else np.zeros(empty, kind)), at
