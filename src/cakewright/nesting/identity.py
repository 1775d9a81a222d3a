"""A mark on a part: the face is chosen, the mark cut in or put on as a solid, and the result checked.

Only flat faces are used, with a margin around the mark. An engraved mark keeps a wall behind it, a
raised one needs free space in front; both are tested with the solids themselves. The marked part must
enclose exactly the old volume less (or plus) that of the mark.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import manifold3d
import numpy as np

from cakewright.errors import DoesNotFitError, GeometryError
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.voxels import Grid, is_closed
from cakewright.sources.identity import MARK_BACK, MARK_DEPTH, MARK_MARGIN

_FACES_TRIED = 12
_EDGES_TRIED = 60
_SUNK_MM = 0.05  # a raised mark reaches into the part by this, so that the two become one solid
_RASTER_MM = 0.25
_MOST_CELLS = 1_000_000


@dataclass(frozen=True, eq=False)
class Marked:
    """A part with its mark: where its middle is on the part, mm, and which way the face looks."""

    mesh: Mesh
    at_mm: tuple[float, float, float]
    normal: tuple[float, float, float]
    is_raised: bool


@dataclass(frozen=True, eq=False)
class _Face:
    """A flat face: `frame` has rows u, v, normal; `offset` along the normal; triangles in (u, v), (k, 3, 2)."""

    frame: FloatArray
    offset: float
    triangles: FloatArray
    area: float


def mark_part(
    mesh: Mesh,
    cells: Grid,
    *,
    cell_mm: float,
    depth_mm: float = MARK_DEPTH.value,
    raised: bool = False,
    back_mm: float = MARK_BACK.value,
) -> Marked:
    """Put the mark `cells` (rows from the top) on the largest flat face that holds it.

    `cell_mm` is the edge of a cell, `depth_mm` depth or height of the mark, `back_mm` the wall that stays
    behind an engraved one. Raises GeometryError when the mesh encloses no volume, DoesNotFitError when no
    flat face has room.
    """
    if not is_closed(mesh):
        raise GeometryError("the surface is not closed, so nothing can be cut into it", remedy="repair the mesh first")
    part = _solid(mesh.vertices, mesh.faces)
    rows, columns = cells.shape
    size = np.array([columns, rows]) * cell_mm + 2 * MARK_MARGIN.value
    for face in _faces(mesh, float(size.prod())):
        for turn in (0, 1):
            turned = face if turn == 0 else _turned(face)
            middle = _room(turned, size)
            if middle is None or not _is_safe(part, turned, middle, size, depth_mm, back_mm, raised):
                continue
            marked = _apply(part, turned, middle, cells, cell_mm, depth_mm, raised)
            point = middle @ turned.frame[:2] + turned.offset * turned.frame[2]
            return Marked(_checked(mesh, marked, cells, cell_mm, depth_mm, raised), _three(point),
                          _three(turned.frame[2]), raised)  # fmt: skip
    raise DoesNotFitError(
        f"no flat face has room for a mark of {size[0]:.0f} x {size[1]:.0f} mm",
        remedy="use dots or a shorter text, put the pieces on a separate tray, or print them in a cage",
    )


def _three(v: FloatArray) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])


def _solid(vertices: FloatArray, faces: object) -> manifold3d.Manifold:
    points, same = np.unique(vertices, axis=0, return_inverse=True)
    joined = same.reshape(-1)[np.asarray(faces)]
    good = (joined[:, 0] != joined[:, 1]) & (joined[:, 1] != joined[:, 2]) & (joined[:, 2] != joined[:, 0])
    made = manifold3d.Manifold(manifold3d.Mesh64(points, joined[good].astype(np.uint64)))
    if made.status() != manifold3d.Error.NoError or made.is_empty():
        raise GeometryError("the mesh is not a clean solid, so nothing can be cut into it", remedy="repair the mesh")
    return made


def _faces(mesh: Mesh, least_mm2: float) -> Iterator[_Face]:
    """Flat faces of at least that area, largest first."""
    t = mesh.triangles
    cross = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    length = np.linalg.norm(cross, axis=1)
    keep = length > 0
    t, cross, length = t[keep], cross[keep], length[keep]
    normal = cross / length[:, None]
    offset = np.einsum("ij,ij->i", normal, t[:, 0])
    label = np.round(np.column_stack([normal * 1e3, offset * 1e2])).astype(np.int64)
    _, group = np.unique(label, axis=0, return_inverse=True)
    group = group.reshape(-1)
    area = np.bincount(group, length / 2)
    for g in np.argsort(-area, kind="stable")[:_FACES_TRIED]:
        if area[g] < least_mm2:
            return
        mine = t[group == g]
        n = normal[group == g][0]
        u = _along(mine, n)
        frame = np.array([u, np.cross(n, u), n])
        yield _Face(frame, float(offset[group == g].mean()), mine @ frame[:2].T, float(area[g]))


def _along(triangles: FloatArray, normal: FloatArray) -> FloatArray:
    """Direction of the longer side of the smallest rectangle around the triangles that has a side along an edge."""
    edges = (triangles[:, [1, 2, 0]] - triangles).reshape(-1, 3)
    edges -= np.outer(edges @ normal, normal)
    length = np.linalg.norm(edges, axis=1)
    longest = np.argsort(-length, kind="stable")[:_EDGES_TRIED]
    across = edges[longest] / length[longest, None]
    points = triangles.reshape(-1, 3)
    wide = np.ptp(points @ across.T, axis=0)
    high = np.ptp(points @ np.cross(normal, across).T, axis=0)
    best = int(np.argmin(np.round(wide * high, 6)))
    u = across[best] if wide[best] >= high[best] else np.cross(normal, across[best])
    return np.asarray(u, dtype=np.float64)


def _turned(face: _Face) -> _Face:
    u, v, n = face.frame
    turned = np.stack([face.triangles[..., 1], -face.triangles[..., 0]], axis=-1)
    return _Face(np.array([v, -u, n]), face.offset, turned, face.area)


def _room(face: _Face, size: FloatArray) -> FloatArray | None:
    """Middle (u, v) of a rectangle wholly on the face, far from its edges and near its middle; None when none is."""
    from scipy.ndimage import distance_transform_edt

    low = face.triangles.min(axis=(0, 1))
    high = face.triangles.max(axis=(0, 1))
    step = max(_RASTER_MM, float(np.sqrt((high - low).prod() / _MOST_CELLS)))
    count = np.maximum(1, np.ceil((high - low) / step).astype(int))
    mask = np.zeros(count, bool)
    for triangle in face.triangles:
        _fill(mask, (triangle - low) / step)
    window = np.ceil(size / step).astype(int)
    if (window > count).any():
        return None
    total = np.pad(mask.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    w, h = window
    inside = total[w:, h:] - total[:-w, h:] - total[w:, :-h] + total[:-w, :-h]
    full = inside == w * h
    if not full.any():
        return None
    away = distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    centre = away[w // 2 : w // 2 + full.shape[0], h // 2 : h // 2 + full.shape[1]]
    aside = np.hypot(*np.meshgrid(*(np.arange(n) - (n - 1) / 2 for n in full.shape), indexing="ij"))
    i, j = np.unravel_index(int(np.where(full, centre - 0.5 * aside, -np.inf).argmax()), full.shape)
    return np.asarray(low + (np.array([i, j]) + window / 2) * step, dtype=np.float64)


def _fill(mask: object, t: FloatArray) -> None:
    """Set the cells whose middle lies in a triangle (cell units)."""
    grid = np.asarray(mask)
    a = np.maximum(0, np.floor(t.min(axis=0)).astype(int))
    b = np.minimum(grid.shape, np.ceil(t.max(axis=0)).astype(int) + 1)
    if (a >= b).any():
        return
    x, y = np.meshgrid(np.arange(a[0], b[0]) + 0.5, np.arange(a[1], b[1]) + 0.5, indexing="ij")
    sides = [
        (q[0] - p[0]) * (y - p[1]) - (q[1] - p[1]) * (x - p[0]) for p, q in ((t[0], t[1]), (t[1], t[2]), (t[2], t[0]))
    ]
    grid[a[0] : b[0], a[1] : b[1]] |= (np.min(sides, axis=0) >= -1e-9) | (np.max(sides, axis=0) <= 1e-9)


def _box(face: _Face, low: FloatArray, high: FloatArray) -> manifold3d.Manifold:
    """A block between two corners (u, v, height over the face) as a solid in part coordinates."""
    corner = [float(low[0]), float(low[1]), float(low[2]) + face.offset]
    cube = manifold3d.Manifold.cube([float(v) for v in high - low]).translate(corner)
    return cube.transform(np.column_stack([face.frame.T, np.zeros(3)]))


def _is_safe(
    part: manifold3d.Manifold, face: _Face, middle: FloatArray, size: FloatArray, depth: float, back: float,
    raised: bool,
) -> bool:  # fmt: skip
    """Enough solid behind an engraved mark, nothing in front of a raised one."""
    half = size / 2 - 1e-3
    if raised:
        block = _box(face, np.array([*(middle - half), 0.01]), np.array([*(middle + half), depth + back]))
        return float((block ^ part).volume()) <= 1e-3 * float(block.volume())
    block = _box(face, np.array([*(middle - half), -depth - back]), np.array([*(middle + half), -0.01]))
    return float((block ^ part).volume()) >= (1 - 1e-3) * float(block.volume())


def _stamp(face: _Face, middle: FloatArray, cells: Grid, cell: float, low: float, high: float) -> manifold3d.Manifold:
    """The set cells as one solid: blocks along each row, a little larger than their cells so that corners join."""
    rows, columns = cells.shape
    more = 0.05 * cell
    blocks = []
    for r in range(rows):
        c = 0
        while c < columns:
            if not cells[r, c]:
                c += 1
                continue
            end = c
            while end < columns and cells[r, end]:
                end += 1
            u = middle[0] + (np.array([c, end]) - columns / 2) * cell + [-more, more]
            v = middle[1] + (rows / 2 - np.array([r + 1, r])) * cell + [-more, more]
            blocks.append(_box(face, np.array([u[0], v[0], low]), np.array([u[1], v[1], high])))
            c = end
    return manifold3d.Manifold.batch_boolean(blocks, manifold3d.OpType.Add)


def _apply(
    part: manifold3d.Manifold, face: _Face, middle: FloatArray, cells: Grid, cell: float, depth: float, raised: bool
) -> manifold3d.Manifold:
    if raised:
        return part + _stamp(face, middle, cells, cell, -_SUNK_MM, depth)
    return part - _stamp(face, middle, cells, cell, -depth, 2 * depth)


def _checked(before: Mesh, after: manifold3d.Manifold, cells: Grid, cell: float, depth: float, raised: bool) -> Mesh:
    """The marked part as a mesh: closed, with the volume of the mark more or less."""
    raw = after.to_mesh64()
    mesh = Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts))
    stamp = float(cells.sum()) * cell**2 * depth
    change = (volume_of(mesh) - volume_of(before)) * (1 if raised else -1)
    if not is_closed(mesh) or not 0.9 * stamp < change < 1.4 * stamp:
        raise GeometryError(
            f"the mark changed the volume by {change:.2f} mm³, {stamp:.2f} mm³ were expected",
            remedy="please report this with the mesh; leave the mark off meanwhile",
        )
    return mesh


def volume_of(mesh: Mesh) -> float:
    """Enclosed volume, mm³, with sign."""
    t = mesh.triangles - mesh.vertices.mean(axis=0)
    return float(np.einsum("ij,ij->i", t[:, 0], np.cross(t[:, 1], t[:, 2])).sum() / 6.0)
