"""A mesh as conservative voxels: every cell the solid touches is set, so a collision is never missed.

Two grids describe a part in one orientation. `bare` holds the cells the solid touches. `fat` holds
the cells nearer to the solid than the clearance. If `bare` of one part and `fat` of another have no
cell in common, the two solids keep the clearance. `fat` is computed on a finer lattice and rounded
up once, so only one of the two parts pays a whole search voxel.

Faces that lie on the lattice must not spill into the next cell: cells are shrunk by a millionth of
their size before the test. Cells are never used to measure volume.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.sources.nesting import FINE_CELLS, FINE_SPLITS, FINE_STEP, LATTICE_SHRINK

Grid = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Shape:
    """One part in one orientation as cells of `voxel_mm`.

    `bare` (nx, ny, nz); `fat` is larger by `pad` cells on each side; `corner_mm` is where cell
    (0, 0, 0) of `bare` begins, in the coordinates of the turned mesh; `low_mm` and `size_mm` the true box.
    """

    bare: Grid
    fat: Grid
    pad: int
    corner_mm: FloatArray
    low_mm: FloatArray
    size_mm: FloatArray


@kernel
def _touch(triangles: FloatArray, grid: Grid, eps: float) -> None:
    """Set every cell whose shrunk box meets a triangle. `triangles` (m, 3, 3) in cells.

    Over the square of one column the triangle is a convex polygon, so the cells it meets there are
    one run in z: clip to the square, take the lowest and highest point.
    """
    nx, ny, nz = grid.shape
    a = np.empty((16, 3))
    b = np.empty((16, 3))
    for t in range(triangles.shape[0]):
        lo0 = min(triangles[t, 0, 0], triangles[t, 1, 0], triangles[t, 2, 0])
        hi0 = max(triangles[t, 0, 0], triangles[t, 1, 0], triangles[t, 2, 0])
        lo1 = min(triangles[t, 0, 1], triangles[t, 1, 1], triangles[t, 2, 1])
        hi1 = max(triangles[t, 0, 1], triangles[t, 1, 1], triangles[t, 2, 1])
        for i in range(max(0, int(np.floor(lo0))), min(nx - 1, int(np.floor(hi0))) + 1):
            for j in range(max(0, int(np.floor(lo1))), min(ny - 1, int(np.floor(hi1))) + 1):
                n = 3
                for v in range(3):
                    for c in range(3):
                        a[v, c] = triangles[t, v, c]
                for side in range(4):
                    axis = side // 2
                    sign = 1.0 if side % 2 == 0 else -1.0
                    cell = i if axis == 0 else j
                    limit = cell + eps if sign > 0 else -(cell + 1 - eps)
                    m = 0
                    for v in range(n):
                        w = v + 1 if v + 1 < n else 0
                        dv = sign * a[v, axis] - limit
                        dw = sign * a[w, axis] - limit
                        if dv >= 0:
                            b[m, 0], b[m, 1], b[m, 2] = a[v, 0], a[v, 1], a[v, 2]
                            m += 1
                        if (dv >= 0) != (dw >= 0):
                            s = dv / (dv - dw)
                            for c in range(3):
                                b[m, c] = a[v, c] + s * (a[w, c] - a[v, c])
                            m += 1
                    n = m
                    if n == 0:
                        break
                    for v in range(n):
                        a[v, 0], a[v, 1], a[v, 2] = b[v, 0], b[v, 1], b[v, 2]
                if n == 0:
                    continue
                low = a[0, 2]
                high = a[0, 2]
                for v in range(1, n):
                    low = min(low, a[v, 2])
                    high = max(high, a[v, 2])
                first = max(0, int(np.ceil(low + eps)) - 1)
                last = min(nz - 1, int(np.floor(high - eps)) if high - eps >= 0 else -1)
                for k in range(first, last + 1):
                    grid[i, j, k] = 1


@kernel
def _windings(triangles: FloatArray, crossings: NDArray[np.int16]) -> None:
    """Add +1/-1 where a vertical line through each column enters or leaves. `triangles` in cells.

    Lines run beside the column centre so that they meet no edge of a lattice-aligned mesh; any line
    within the column gives the same answer for cells the surface does not meet.
    """
    ox, oy, oz = 0.5 + 0.01237, 0.5 + 0.00719, 0.5
    nx, ny, nz1 = crossings.shape
    for t in range(triangles.shape[0]):
        ax, ay, az = triangles[t, 0, 0], triangles[t, 0, 1], triangles[t, 0, 2]
        bx, by, bz = triangles[t, 1, 0], triangles[t, 1, 1], triangles[t, 1, 2]
        cx, cy, cz = triangles[t, 2, 0], triangles[t, 2, 1], triangles[t, 2, 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0:
            continue
        sign = 1 if area > 0 else -1
        for i in range(
            max(0, int(np.ceil(min(ax, bx, cx) - ox))), min(nx - 1, int(np.floor(max(ax, bx, cx) - ox))) + 1
        ):
            px = i + ox
            for j in range(
                max(0, int(np.ceil(min(ay, by, cy) - oy))), min(ny - 1, int(np.floor(max(ay, by, cy) - oy))) + 1
            ):
                py = j + oy
                u = sign * ((bx - ax) * (py - ay) - (by - ay) * (px - ax))
                v = sign * ((cx - bx) * (py - by) - (cy - by) * (px - bx))
                w = sign * ((ax - cx) * (py - cy) - (ay - cy) * (px - cx))
                if u < 0 or v < 0 or w < 0:
                    continue
                z = (v * az + w * bz + u * cz) / (u + v + w)
                k = min(nz1 - 1, max(0, int(np.ceil(z - oz))))
                crossings[i, j, k] += sign


def is_closed(mesh: Mesh) -> bool:
    """True when every edge is used as often in one direction as in the other (vertices joined by position)."""
    _, same = np.unique(mesh.vertices, axis=0, return_inverse=True)
    f = same.reshape(-1)[mesh.faces].astype(np.int64)
    start = f.reshape(-1)
    end = f[:, [1, 2, 0]].reshape(-1)
    keep = start != end
    start, end = start[keep], end[keep]
    n = len(mesh.vertices)
    codes, which = np.unique(np.minimum(start, end) * n + np.maximum(start, end), return_inverse=True)
    balance = np.bincount(which.reshape(-1), weights=np.where(start < end, 1, -1), minlength=len(codes))
    return bool((balance == 0).all())


def solid_cells(triangles: FloatArray, shape: tuple[int, int, int], *, closed: bool, hollows: bool = True) -> Grid:
    """Cells of a unit lattice that the solid touches: (nx, ny, nz) of 0/1; with `hollows`, enclosed ones too.

    A mesh that is not closed has no inside; its shell is widened to all cells it meets, and what the
    shell encloses counts as solid.
    """
    grid = np.zeros(shape, np.uint8)
    eps = LATTICE_SHRINK.value
    _touch(triangles, grid, eps if closed else -eps)
    if closed:
        crossings = np.zeros((*shape[:2], shape[2] + 1), np.int16)
        _windings(triangles, crossings)
        grid |= (np.cumsum(crossings[:, :, :-1], axis=2) != 0).astype(np.uint8)
    return without_hollows(grid) if hollows or not closed else grid


def without_hollows(grid: Grid) -> Grid:
    """The grid with every pocket filled that cannot be reached from outside through cell faces."""
    free = np.pad(grid == 0, 1, constant_values=True)
    labels, count = ndimage.label(free)
    if count == 1:
        return grid
    inner = (labels != labels[0, 0, 0])[1:-1, 1:-1, 1:-1]
    return np.asarray(inner, dtype=np.uint8)


@kernel
def grid_near(grid: Grid, reach: int, limit: float) -> Grid:
    """Cells whose box is nearer than sqrt(limit) cells to a set cell, three passes, one axis each."""
    nx, ny, nz = grid.shape
    far = np.float32(1e9)
    d = np.full((nx, ny, nz), far, np.float32)
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                if grid[i, j, k]:
                    for s in range(-reach, reach + 1):
                        if 0 <= k + s < nz:
                            g = max(abs(s) - 1, 0)
                            d[i, j, k + s] = min(d[i, j, k + s], np.float32(g * g))
    e = np.full((nx, ny, nz), far, np.float32)
    for i in range(nx):
        for j in range(ny):
            for s in range(-reach, reach + 1):
                if 0 <= j + s < ny:
                    g = max(abs(s) - 1, 0)
                    gg = np.float32(g * g)
                    for k in range(nz):
                        e[i, j, k] = min(e[i, j, k], d[i, j + s, k] + gg)
    out = np.zeros((nx, ny, nz), np.uint8)
    for i in range(nx):
        for s in range(-reach, reach + 1):
            if 0 <= i + s < nx:
                g = max(abs(s) - 1, 0)
                gg = np.float32(g * g)
                for j in range(ny):
                    for k in range(nz):
                        if e[i + s, j, k] + gg < limit:
                            out[i, j, k] = 1
    return out


@kernel
def _coarser(grid: Grid, factor: int) -> Grid:
    """Cells `factor` times as large; set when any of the small ones is."""
    nx, ny, nz = grid.shape
    out = np.zeros((nx // factor, ny // factor, nz // factor), np.uint8)
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                if grid[i, j, k]:
                    out[i // factor, j // factor, k // factor] = 1
    return out


def cells_for(size_mm: FloatArray, voxel_mm: float) -> tuple[int, int, int]:
    """Number of cells along each axis that hold `size_mm`; sizes on the lattice get no extra cell."""
    n = np.maximum(1, np.ceil(np.asarray(size_mm) / voxel_mm - 1e-6).astype(int))
    return int(n[0]), int(n[1]), int(n[2])


def _splits(cells: tuple[int, int, int], voxel_mm: float, clearance_mm: float) -> int:
    if clearance_mm <= 0:
        return 1
    s = int(min(FINE_SPLITS.value, max(1, np.ceil(voxel_mm / FINE_STEP.value - 1e-9))))
    while s > 1 and float(np.prod(cells)) * s**3 > FINE_CELLS.value:
        s -= 1
    return s


def shape_of(mesh: Mesh, rotation: FloatArray, voxel_mm: float, clearance_mm: float, *, low: bool = False) -> Shape:
    """Voxelise `mesh` turned by `rotation`; `low` starts the lattice at the box, else the box is centred in it."""
    turned = mesh.vertices @ np.asarray(rotation, dtype=np.float64).T
    used = turned[mesh.faces.reshape(-1)]
    lowest, size = used.min(axis=0), used.max(axis=0) - used.min(axis=0)
    cells = cells_for(size, voxel_mm)
    corner = lowest if low else lowest + size / 2 - np.array(cells) * voxel_mm / 2
    split = _splits(cells, voxel_mm, clearance_mm)
    fine_mm = voxel_mm / split
    fine = (cells[0] * split, cells[1] * split, cells[2] * split)
    solid = solid_cells((turned[mesh.faces] - corner) / fine_mm, fine, closed=is_closed(mesh))
    bare = without_hollows(_coarser(solid, split))
    if clearance_mm <= 0:
        return Shape(bare, bare, 0, corner, lowest, size)
    pad = int(np.ceil(clearance_mm / voxel_mm - 1e-6)) + 1
    reach = int(np.ceil(clearance_mm / fine_mm - 1e-6))
    limit = (clearance_mm / fine_mm - 1e-6) ** 2
    fat = _coarser(grid_near(np.pad(solid, pad * split), reach, limit), split)
    return Shape(bare, without_hollows(fat), pad, corner, lowest, size)
