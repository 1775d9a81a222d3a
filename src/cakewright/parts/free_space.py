"""Powder that cannot come out: free space that no ball of the opening's size can leave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.balls import BallScene
from cakewright.parts.necks import Voxel, neck_width

MOST_VOXELS = 6_000_000  # about two seconds
KNOWN_TO_MM = 0.05  # an opening drawn at the limit is no pocket: its facets take a little
Bits = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Pocket:
    """Free space behind openings that are too small: volume and a place in it, in part coordinates."""

    volume_mm3: float
    at_mm: tuple[float, float, float]
    voxel_mm: float


def trapped_pockets(mesh: Mesh, opening_mm: float, *, smallest_mm3: float) -> tuple[Pocket, ...] | None:
    """Pockets that a ball of diameter `opening_mm` cannot leave, largest first, for a closed oriented mesh.

    The space is cut into voxels of a quarter of the opening (coarser for large parts, see `voxel_mm`), so openings
    are first known to about one voxel; where that leaves a doubt the narrowest place is measured exactly. Space
    within reach of a ball that comes from outside counts as reachable; corners and slots in which only the ball does
    not fit are not pockets: a pocket must itself be wider than the opening. Sealed cavities are pockets too. None
    when the part is so large that the voxels could not show the opening: nothing is then known.
    """
    size = mesh.size_mm + 4 * opening_mm
    voxel = max(opening_mm / 4, float((size.prod() / MOST_VOXELS) ** (1 / 3)))
    if voxel > opening_mm / 2:
        return None
    origin = mesh.box_mm[0] - 2 * opening_mm
    shape = np.ceil(size / voxel).astype(np.int64)
    solid = _solid(np.ascontiguousarray((mesh.triangles - origin) / voxel), shape)
    if not solid.any():
        return ()  # thinner than a voxel: nothing that could hold a pocket wider than the opening
    distance = ndimage.distance_transform_edt(~solid) * voxel
    seeds = _seeds(distance, opening_mm, voxel)
    if not seeds:
        return ()
    balls = BallScene(mesh)
    least = opening_mm - KNOWN_TO_MM
    closed = [s for s in seeds if neck_width(balls, distance, s, origin, voxel, opening_mm) < least]
    return _pockets(distance, closed, opening_mm, voxel, origin, smallest_mm3)


def _seeds(distance: FloatArray, opening: float, voxel: float) -> list[Voxel]:
    """The deepest voxel of each hollow in which a ball of the opening fits and whose way out is in doubt.

    The grid knows a distance to about half a voxel: hollows that are closed off by that much more are in doubt, and
    so are hollows barely wider than the opening.
    """
    seeds: list[Voxel] = []
    sure, _ = ndimage.label(distance >= opening / 2 + 0.5 * voxel)
    loose, _ = ndimage.label(distance >= opening / 2)
    for label, others in ((sure, None), (loose, sure)):
        boxes = ndimage.find_objects(label)
        for number, box in enumerate(boxes, start=1):
            if number == label[0, 0, 0] or box is None:
                continue
            mine = label[box] == number
            if others is not None and others[box][mine].any():
                continue
            deep = np.where(mine, distance[box], -1.0)
            i, j, k = (
                int(v) + s.start for v, s in zip(np.unravel_index(np.argmax(deep), deep.shape), box, strict=True)
            )
            seeds.append((i, j, k))
    return seeds


def _pockets(
    distance: FloatArray, seeds: list[Voxel], opening: float, voxel: float, origin: FloatArray, smallest_mm3: float
) -> tuple[Pocket, ...]:
    """The hollows round these voxels with what belongs to them: all that a ball from outside does not reach."""
    free = distance > 0
    label, _ = ndimage.label(distance >= opening / 2 + 0.5 * voxel)
    if any(label[s] == 0 for s in seeds):
        label, _ = ndimage.label(distance >= opening / 2)
    outside = label[0, 0, 0]
    reach = ndimage.distance_transform_edt(label != outside) * voxel
    hidden = free & (reach > opening / 2 + voxel)
    cells = int(np.ceil(opening / 2 / voxel)) + 2
    boxes = ndimage.find_objects(label)
    pockets = []
    for number in sorted({int(label[s]) for s in seeds} - {int(outside), 0}):
        grown = tuple(slice(max(0, s.start - cells), s.stop + cells) for s in boxes[number - 1])
        near = label[grown] == number
        owned = ndimage.binary_dilation(near, iterations=cells, mask=hidden[grown])
        volume = float(owned.sum()) * voxel**3
        if volume >= smallest_mm3:
            middle = np.argwhere(near)[near.sum() // 2] + np.array([s.start for s in grown]) + 0.5
            x, y, z = (float(v) for v in middle * voxel + origin)
            pockets.append(Pocket(volume, (x, y, z), voxel))
    return tuple(sorted(pockets, key=lambda pocket: -pocket.volume_mm3))


@kernel
def _solid(triangles: FloatArray, shape: NDArray[np.int64]) -> Bits:
    """Voxels whose centre is inside, by counting signed crossings along z; triangles in voxel units."""
    nx, ny, nz = shape[0], shape[1], shape[2]
    steps = np.zeros((nx, ny, nz + 1), np.int8)
    for t in range(triangles.shape[0]):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        double = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
        if double == 0:
            continue
        x0 = max(0, int(np.ceil(min(a[0], b[0], c[0]) - 0.5)))
        x1 = min(nx - 1, int(np.floor(max(a[0], b[0], c[0]) - 0.5)) + 1)
        y0 = max(0, int(np.ceil(min(a[1], b[1], c[1]) - 0.5)))
        y1 = min(ny - 1, int(np.floor(max(a[1], b[1], c[1]) - 0.5)) + 1)
        sign = 1 if double > 0 else -1
        for i in range(x0, x1 + 1):
            # a tiny tilt decides for columns that meet an edge exactly, the same way for both neighbours
            px = i + 0.5 + 1.37e-6
            for j in range(y0, y1 + 1):
                py = j + 0.5 + 2.91e-7
                u = ((b[0] - px) * (c[1] - py) - (c[0] - px) * (b[1] - py)) / double
                v = ((c[0] - px) * (a[1] - py) - (a[0] - px) * (c[1] - py)) / double
                w = 1 - u - v
                if u < 0 or v < 0 or w < 0:
                    continue
                z = u * a[2] + v * b[2] + w * c[2]
                k = min(max(int(np.ceil(z - 0.5)), 0), nz)
                steps[i, j, k] -= sign
    out = np.zeros((nx, ny, nz), np.bool_)
    for i in range(nx):
        for j in range(ny):
            depth = 0
            for k in range(nz):
                depth += steps[i, j, k]
                out[i, j, k] = depth > 0
    return out
