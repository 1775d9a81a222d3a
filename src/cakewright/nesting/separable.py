"""Can the build be taken apart? Straight lifts first, then any path of straight moves, from the top down.

Pieces stand as cells on one lattice. Piece j blocks the lift of i when a cell of j lies above a cell
of i. Pieces without blockers leave first, the highest before the others. When nobody can be lifted,
the free positions of each remaining piece are flooded from where it stands, by steps along the axes,
to see whether it reaches the open top past those still there. What cannot leave even so is stuck.

Cells are conservative, so an opening narrower than two voxels more than the piece counts as closed:
a piece called free is free; one called stuck may need a finer voxel to be judged. A cell that two
pieces share (zero clearance only) is left out of the judgement.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.model.build import Placement, Removal
from cakewright.model.kept import Kept
from cakewright.model.mesh import Mesh
from cakewright.nesting.bank import Ints, Words, pack, runs_of
from cakewright.nesting.bits import SPARE_WORDS, blocked, mark
from cakewright.nesting.task import NestSpace
from cakewright.nesting.voxels import Grid, is_closed, solid_cells
from cakewright.sources.nesting_exact import CLOSER_MOST

Labels = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Block:
    """A piece as cells `grid` (nx, ny, nz) standing at `at` (3,) on the common lattice."""

    grid: Grid
    at: tuple[int, int, int]

    @property
    def top(self) -> int:
        """First cell above the piece."""
        return int(self.at[2] + self.grid.shape[2])


@kernel
def _label(labels: Labels, grid: Grid, x: int, y: int, z: int, name: int) -> None:
    """Write `name` into the cells of a piece; cells wanted twice become -1."""
    for i in range(grid.shape[0]):
        for j in range(grid.shape[1]):
            for k in range(grid.shape[2]):
                if grid[i, j, k]:
                    old = labels[x + i, y + j, z + k]
                    labels[x + i, y + j, z + k] = name if old == 0 else -1


@kernel
def _above(labels: Labels, grid: Grid, x: int, y: int, z: int, name: int, out: NDArray[np.uint8]) -> None:
    """Set out[j] for each piece j with a cell above a cell of piece `name`."""
    for i in range(grid.shape[0]):
        for j in range(grid.shape[1]):
            started = False
            for k in range(z, labels.shape[2]):
                if not started:
                    if k - z >= grid.shape[2]:
                        break
                    started = grid[i, j, k - z] != 0
                    continue
                other = labels[x + i, y + j, k]
                if other > 0 and other != name:
                    out[other - 1] = 1


@kernel
def _spread(seed: np.uint64, free: np.uint64) -> np.uint64:
    """All bits of `free` connected to `seed` within the word."""
    grown = seed & free
    while True:
        more = (grown | (grown << np.uint64(1)) | (grown >> np.uint64(1))) & free
        if more == grown:
            return grown
        grown = more


@kernel
def _fill_column(reach: Words, free: Words) -> bool:
    """Extend `reach` along the column within `free`, across words; True when something was added."""
    changed = False
    again = True
    while again:
        again = False
        for a in range(len(reach)):
            seed = reach[a]
            if a > 0 and reach[a - 1] >> np.uint64(63):
                seed |= np.uint64(1)
            if a + 1 < len(reach) and reach[a + 1] & np.uint64(1):
                seed |= np.uint64(1) << np.uint64(63)
            grown = _spread(seed, free[a])
            if grown != reach[a]:
                reach[a] = grown
                changed = again = True
    return changed


@kernel
def _reaches_top(taken: Words, runs: NDArray[np.int32], size: Ints, at: Ints, grid: Ints, everything_top: int) -> bool:
    """Flood the free positions of a piece from `at`; True when it gets above everything."""
    nx, ny = grid[0] - size[0] + 1, grid[1] - size[1] + 1
    words = (everything_top >> 6) + 1
    free = np.zeros((nx, ny, words), np.uint64)
    known = np.zeros((nx, ny), np.uint8)
    reach = np.zeros((nx, ny, words), np.uint64)
    queued = np.zeros((nx, ny), np.uint8)
    queue = [(at[0], at[1])]
    all_bits = np.uint64(0xFFFFFFFFFFFFFFFF)
    reach[at[0], at[1], at[2] >> 6] |= np.uint64(1) << np.uint64(at[2] & 63)
    queued[at[0], at[1]] = 1
    while len(queue) > 0:
        x, y = queue.pop()
        queued[x, y] = 0
        if not known[x, y]:
            known[x, y] = 1
            for a in range(words):
                free[x, y, a] = ~blocked(taken, runs, 0, len(runs), x, y, a * 64, all_bits)
        _fill_column(reach[x, y], free[x, y])
        if (reach[x, y, everything_top >> 6] >> np.uint64(everything_top & 63)) & np.uint64(1):
            return True
        for side in range(4):
            u = x + (1 if side == 0 else -1 if side == 1 else 0)
            v = y + (1 if side == 2 else -1 if side == 3 else 0)
            if u < 0 or v < 0 or u >= nx or v >= ny:
                continue
            if not known[u, v]:
                known[u, v] = 1
                for a in range(words):
                    free[u, v, a] = ~blocked(taken, runs, 0, len(runs), u, v, a * 64, all_bits)
            fresh = False
            for a in range(words):
                seed = reach[x, y, a] & free[u, v, a] & ~reach[u, v, a]
                if seed != 0:
                    reach[u, v, a] |= seed
                    fresh = True
            if fresh and not queued[u, v]:
                queued[u, v] = 1
                queue.append((u, v))
    return False


class _Cake:
    """The pieces still in the cake, and who blocks whom from above."""

    def __init__(self, blocks: Sequence[Block], grid: tuple[int, int, int]) -> None:
        self.blocks = blocks
        self.top = max(b.top for b in blocks)
        self.grid = (grid[0], grid[1], max(grid[2], self.top))
        self.labels = np.zeros(self.grid, np.int32)
        for name, b in enumerate(blocks, start=1):
            _label(self.labels, b.grid, *b.at, name)
        self.above = np.zeros((len(blocks), len(blocks)), np.uint8)
        for i, b in enumerate(blocks):
            _above(self.labels, b.grid, *b.at, i + 1, self.above[i])
        self.inside = np.ones(len(blocks), bool)
        self._bits: dict[int, tuple[Words, Ints]] = {}
        self._runs: dict[int, NDArray[np.int32]] = {}

    def blockers(self, i: int) -> Ints:
        """Pieces still there that lie above some cell of i."""
        return np.flatnonzero((self.above[i] > 0) & self.inside)

    def own_cells(self, i: int) -> Grid:
        """Cells of i that it shares with nobody."""
        b = self.blocks[i]
        (x, y, z), (nx, ny, nz) = b.at, b.grid.shape
        return np.asarray(self.labels[x : x + nx, y : y + ny, z : z + nz] == i + 1).astype(np.uint8)

    def bits(self, i: int) -> tuple[Words, Ints]:
        """Own cells of i as words, and their extent."""
        if i not in self._bits:
            cells = self.own_cells(i)
            self._bits[i] = pack(cells).reshape(-1), np.array(cells.shape, np.int64)
        return self._bits[i]

    def finds_a_way(self, i: int) -> bool:
        """True when i reaches the top by moves along the axes past those still there."""
        if i not in self._runs:
            self._runs[i] = runs_of(self.own_cells(i))
        mine = self._runs[i]
        if not len(mine):
            return True
        nx, ny, _ = self.grid
        tallest = max(b.grid.shape[2] for b in self.blocks)
        taken = np.zeros((nx, ny, (self.top + tallest) // 64 + SPARE_WORDS), np.uint64)
        for j in np.flatnonzero(self.inside):
            if j != i:
                words, cells = self.bits(int(j))
                mark(taken, words, 0, cells, 0, *self.blocks[int(j)].at)
        _, size = self.bits(i)
        at = np.array(self.blocks[i].at, np.int64)
        return bool(_reaches_top(taken, mine, size, at, np.array(self.grid, np.int64), self.top))


def _knot(cake: _Cake) -> list[int]:
    """A smallest group that blocks only itself: found by following blockers from the highest piece."""
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import connected_components

    left = np.flatnonzero(cake.inside)
    graph = cake.above[np.ix_(left, left)]
    count, group = connected_components(csr_matrix(graph), directed=True, connection="strong")
    leaves = np.ones(count, bool)
    i, j = np.nonzero(graph)
    leaves[group[i[group[i] != group[j]]]] = False
    candidates = [left[group == g] for g in range(count) if leaves[g]]
    best = max(candidates, key=lambda c: (max(cake.blocks[int(k)].top for k in c), -len(c)))
    return [int(k) for k in best]


def take_apart(
    blocks: Sequence[Block], grid: tuple[int, int, int], *, release: bool = False
) -> tuple[list[int], list[list[int]], dict[int, list[int]]]:
    """Order of removal, groups that are stuck, and for each hooked piece those that must leave before it.

    With `release`, only the smallest piece of a stuck group is given up, alone, to see whether the
    others come free without it: what must be placed anew to make the build removable.
    """
    if not blocks:
        return [], [], {}
    cake = _Cake(blocks, grid)
    order: list[int] = []
    stuck: list[list[int]] = []
    hooked: dict[int, list[int]] = {}
    waiting = cake.above.sum(axis=1).astype(np.int64)
    ready = [(-b.top, i) for i, b in enumerate(blocks) if waiting[i] == 0]
    heapq.heapify(ready)

    def leave(i: int) -> None:
        cake.inside[i] = False
        for k in np.flatnonzero(cake.above[:, i]):
            waiting[k] -= 1
            if waiting[k] == 0 and cake.inside[k]:
                heapq.heappush(ready, (-blocks[int(k)].top, int(k)))

    while cake.inside.any():
        if ready:
            _, i = heapq.heappop(ready)
            if not cake.inside[i]:
                continue
            before = [int(j) for j in np.flatnonzero(cake.above[i]) if blocks[int(j)].at[2] < blocks[i].top]
            if before:
                hooked[i] = before
            order.append(i)
            leave(i)
            continue
        left = sorted((int(k) for k in np.flatnonzero(cake.inside)), key=lambda k: -blocks[k].top)
        if release:
            left = _knot(cake)
        for i in left:
            if cake.finds_a_way(i):
                order.append(i)
                leave(i)
                break
        else:
            group = _knot(cake)
            if release:
                group = [min(group, key=lambda k: int(blocks[k].grid.sum()))]
            stuck.append(group)
            for i in group:
                leave(i)
    return order, stuck, hooked


_blocks: Kept[Mesh, Block] = Kept(512)


def block_of(mesh: Mesh, placement: Placement, space: NestSpace, voxel_mm: float) -> Block:
    """A placed part as cells on the lattice of the space; its cavities stay open."""
    return _blocks.get(mesh, (placement, space, voxel_mm), lambda: _block(mesh, placement, space, voxel_mm))


def _block(mesh: Mesh, placement: Placement, space: NestSpace, voxel_mm: float) -> Block:
    placed = mesh.placed(placement.rotation, placement.translation)
    margin = np.array([space.wall_margin_mm, space.wall_margin_mm, 0.0])
    low = (placed.box_mm[0] - margin) / voxel_mm
    high = (placed.box_mm[1] - margin) / voxel_mm
    first = np.maximum(0, np.floor(low + 1e-6)).astype(int)
    cells = np.maximum(1, np.ceil(high - 1e-6).astype(int) - first)
    triangles = (placed.triangles - margin) / voxel_mm - first
    size = (int(cells[0]), int(cells[1]), int(cells[2]))
    # cavities stay open here: a piece in a sealed one must be seen to be caught
    grid = solid_cells(triangles, size, closed=is_closed(mesh), hollows=False)
    return Block(grid, (int(first[0]), int(first[1]), int(first[2])))


def removal(
    meshes: Mapping[str, Mesh], placements: Sequence[Placement], space: NestSpace, *, voxel_mm: float
) -> Removal:
    """The way out of the cake for every placed piece, or which pieces hold each other.

    `order` goes from the top of the cake down and skips stuck pieces; `hooked` names, for a piece that
    others reach over or into, those that leave before it. What seems stuck is looked at once more on cells half as
    large: pieces off the lattice come near each other by less than a cell.
    """
    found = _removal(meshes, placements, space, voxel_mm)
    count = np.prod([*space.inner_mm, max((p.z_max_mm for p in placements), default=0.0)]) / (voxel_mm / 2) ** 3
    if found.is_free or count > CLOSER_MOST.value:
        return found
    closer = _removal(meshes, placements, space, voxel_mm / 2)
    return closer if len(closer.order) > len(found.order) else found


def _removal(meshes: Mapping[str, Mesh], placements: Sequence[Placement], space: NestSpace, voxel_mm: float) -> Removal:
    blocks = [block_of(meshes[p.part_key], p, space, voxel_mm) for p in placements]
    room = [int(np.ceil(v / voxel_mm - 1e-6)) + 1 for v in (*space.inner_mm, space.height_mm)]
    for b in blocks:
        for a in range(3):
            room[a] = max(room[a], b.at[a] + b.grid.shape[a])
    order, stuck, hooked = take_apart(blocks, (room[0], room[1], 0))
    name = [p.piece for p in placements]
    return Removal(
        tuple(name[i] for i in order),
        tuple(tuple(name[i] for i in group) for group in stuck),
        tuple((name[i], tuple(name[j] for j in before)) for i, before in sorted(hooked.items())),
    )
