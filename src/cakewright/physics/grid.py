"""How much plastic is where: solid share of each cell of the cake, and the cells that each piece fills."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.errors import GeometryError
from cakewright.model.build import Placement
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.sources.physics import COLUMNS_PER_CELL

_NEGLIGIBLE = 1e-6  # share of a cell below which a piece is not in it


@dataclass(frozen=True, slots=True)
class CakeGrid:
    """Cells of a cake. `cells` and `size_mm` in order (z, y, x); z = 0 of the chamber is `base_powder_mm` up."""

    cells: tuple[int, int, int]
    size_mm: tuple[float, float, float]
    base_powder_mm: float

    @classmethod
    def over(
        cls,
        base_mm: tuple[float, float],
        height_mm: float,
        base_powder_mm: float,
        cell_mm: float | tuple[float, float, float],
    ) -> CakeGrid:
        """Cells of about `cell_mm` (one size, or z, y, x) over a cake `height_mm` high; at least four each way."""
        each = (cell_mm,) * 3 if isinstance(cell_mm, int | float) else cell_mm
        if min(*base_mm, height_mm, *each) <= 0:
            raise GeometryError(
                f"cake {base_mm[0]} x {base_mm[1]} x {height_mm} mm in cells of {cell_mm} mm",
                remedy="all must be above zero",
            )
        sides = (height_mm, base_mm[1], base_mm[0])
        cells = tuple(max(4, round(side / d)) for side, d in zip(sides, each, strict=True))
        size = tuple(side / n for side, n in zip(sides, cells, strict=True))
        return cls((cells[0], cells[1], cells[2]), (size[0], size[1], size[2]), base_powder_mm)

    def centre_mm(self, cell: tuple[int, int, int]) -> tuple[float, float, float]:
        """Middle of a cell (z, y, x) in chamber coordinates (x, y, z)."""
        z, y, x = ((i + 0.5) * d for i, d in zip(cell, self.size_mm, strict=True))
        return (x, y, z - self.base_powder_mm)

    def cell_of(self, at_mm: tuple[float, float, float]) -> tuple[int, int, int]:
        """The cell that holds a place in chamber coordinates; GeometryError outside the cake."""
        found = tuple(
            int(np.floor(v / d))
            for v, d in zip((at_mm[2] + self.base_powder_mm, at_mm[1], at_mm[0]), self.size_mm, strict=True)
        )
        if not all(0 <= i < n for i, n in zip(found, self.cells, strict=True)):
            raise GeometryError(f"{at_mm} mm is outside the cake", remedy="give a place inside, chamber coordinates")
        return (found[0], found[1], found[2])

    @property
    def sides_mm(self) -> tuple[float, float, float]:
        """Height, depth and width of the cake."""
        z, y, x = (n * d for n, d in zip(self.cells, self.size_mm, strict=True))
        return (z, y, x)

    @property
    def cell_m(self) -> tuple[float, float, float]:
        """Edge lengths in m, order (z, y, x)."""
        return (self.size_mm[0] * 1e-3, self.size_mm[1] * 1e-3, self.size_mm[2] * 1e-3)

    @property
    def cell_mm3(self) -> float:
        """Volume of a cell."""
        return self.size_mm[0] * self.size_mm[1] * self.size_mm[2]


@dataclass(frozen=True, eq=False)
class SolidGrid:
    """Solid share of each cell, (nz, ny, nx) 0..1, and for each piece its cells (flat) and mm³ in them."""

    grid: CakeGrid
    share: FloatArray
    pieces: tuple[str, ...]
    cells: tuple[NDArray[np.int64], ...]
    volume_mm3: tuple[FloatArray, ...]


def solid_grid(meshes: Mapping[str, Mesh], placements: Sequence[Placement], grid: CakeGrid) -> SolidGrid:
    """Fill the cells with the placed pieces.

    Each piece is cut into vertical columns, `physics.columns_per_cell` across a cell, exact in height; its
    volume in the cells is then scaled to the volume of its mesh. Shares above 1 (touching pieces) are cut.
    """
    nz, ny, nx = grid.cells
    flat = np.zeros(nz * ny * nx)
    cells, volumes = [], []
    for p in placements:
        if p.part_key not in meshes:
            raise GeometryError(f"no mesh for part {p.part_key!r}", remedy="give the mesh", where=p.piece)
        where, filled = _fill(meshes[p.part_key], p, grid)
        np.add.at(flat, where, filled / grid.cell_mm3)
        cells.append(where)
        volumes.append(filled)
    share = np.clip(flat, 0.0, 1.0).reshape(nz, ny, nx)
    return SolidGrid(grid, share, tuple(p.piece for p in placements), tuple(cells), tuple(volumes))


def _fill(mesh: Mesh, placement: Placement, grid: CakeGrid) -> tuple[NDArray[np.int64], FloatArray]:
    vertices = mesh.vertices @ np.asarray(placement.rotation).T + np.asarray(placement.translation)
    vertices[:, 2] += grid.base_powder_mm
    scaled = np.ascontiguousarray(vertices / np.array(grid.size_mm)[::-1])  # lengths in cells
    used = scaled[np.unique(mesh.faces)]
    first = np.floor(used.min(axis=0) + _NEGLIGIBLE).astype(np.int64)
    last = np.maximum(np.ceil(used.max(axis=0) - _NEGLIGIBLE).astype(np.int64), first + 1)
    if (first < 0).any() or (last > np.array(grid.cells)[::-1]).any():
        raise GeometryError("the piece leaves the cake", remedy="check placement and cake size", where=placement.piece)
    box = np.zeros((last - first)[::-1])
    volume = _columns(np.ascontiguousarray(scaled - first), mesh.faces, int(COLUMNS_PER_CELL.value), box)
    total = box.sum()
    if volume <= 0:
        raise GeometryError("the surface is inside out or open", remedy="repair the mesh", where=placement.piece)
    if total <= 0:  # thinner than the columns and missed by all of them: keep its volume where its corners are
        box[tuple(np.clip((used - first).astype(int), 0, (last - first) - 1).T[::-1])] = 1.0
        total = box.sum()
    z, y, x = np.nonzero(box > _NEGLIGIBLE)
    flat = ((z + first[2]) * grid.cells[1] + y + first[1]) * grid.cells[2] + x + first[0]
    return flat.astype(np.int64), box[z, y, x] * (volume / total) * grid.cell_mm3


@kernel
def _columns(vertices: FloatArray, faces: IntArray, per_cell: int, box: FloatArray) -> float:
    """Add to `box` (nz, ny, nx) the solid share seen by vertical columns; return the exact volume, in cells.

    An upward triangle over a column fills everything below it, a downward one empties everything below.
    A column on an edge belongs to one side only (half-open rule), so closed surfaces leave nothing over.
    """
    nz, ny, nx = box.shape
    volume = 0.0
    each = 1.0 / (per_cell * per_cell)
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = vertices[a, 0], vertices[a, 1], vertices[a, 2]
        bx, by, bz = vertices[b, 0], vertices[b, 1], vertices[b, 2]
        cx, cy, cz = vertices[c, 0], vertices[c, 1], vertices[c, 2]
        cross = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if cross == 0.0:
            continue
        volume += cross * (az + bz + cz) / 6.0
        sign = 1.0 if cross > 0 else -1.0
        j0 = max(int(np.ceil(min(ay, by, cy) * per_cell - 0.5)), 0)
        j1 = min(int(np.floor(max(ay, by, cy) * per_cell - 0.5)), ny * per_cell - 1)
        for j in range(j0, j1 + 1):
            y = (j + 0.5) / per_cell
            # where the row crosses the triangle: each edge is cut by the half-open rule
            x0, x1 = np.inf, -np.inf
            for e in range(3):
                if e == 0:
                    px, py, qx, qy = ax, ay, bx, by
                elif e == 1:
                    px, py, qx, qy = bx, by, cx, cy
                else:
                    px, py, qx, qy = cx, cy, ax, ay
                if (py > y) != (qy > y):
                    if py > qy:  # same rounding for both triangles that share the edge
                        px, py, qx, qy = qx, qy, px, py
                    x = px + (y - py) / (qy - py) * (qx - px)
                    x0, x1 = min(x0, x), max(x1, x)
            if x0 >= x1:
                continue
            i0 = max(int(np.ceil(x0 * per_cell - 0.5)), 0)
            i1 = min(int(np.ceil(x1 * per_cell - 0.5)) - 1, nx * per_cell - 1)
            for i in range(i0, i1 + 1):
                x = (i + 0.5) / per_cell
                u = ((x - ax) * (cy - ay) - (y - ay) * (cx - ax)) / cross
                v = ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / cross
                z = min(max(az + u * (bz - az) + v * (cz - az), 0.0), float(nz))
                k = min(int(z), nz - 1)
                for below in range(k):
                    box[below, j // per_cell, i // per_cell] += sign * each
                box[k, j // per_cell, i // per_cell] += sign * each * (z - k)
    return volume
