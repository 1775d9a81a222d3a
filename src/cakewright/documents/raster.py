"""Kernels that turn triangles and lines into pixels with a depth buffer."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel

Float32 = NDArray[np.float32]
Int32 = NDArray[np.int32]

EMPTY = -1
LINE = -2


@kernel
def fill_triangles(
    points: Float32, faces: Int32, owner: Int32, depth: Float32, who: Int32, shade: Float32, light: Float32
) -> int:
    """Draw triangles into `depth`, `who` and `shade`; returns how many touched a pixel.

    `points` (n, 3): x right, y down in pixels, z towards the viewer in mm; `faces` (m, 3) counter-
    clockwise seen from outside before y was turned down; `owner` (m,) index of the piece. `light`
    (3,) unit vector in the same axes as `points` but with y up. `depth` (h, w) starts at -inf.
    Triangles facing away are drawn too: an open mesh must not look like a hole.
    """
    height, width = depth.shape
    drawn = 0
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = points[a, 0], points[a, 1], points[a, 2]
        bx, by, bz = points[b, 0], points[b, 1], points[b, 2]
        cx, cy, cz = points[c, 0], points[c, 1], points[c, 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0:
            continue
        x0 = max(0, int(np.ceil(min(ax, bx, cx) - 0.5)))
        x1 = min(width - 1, int(np.floor(max(ax, bx, cx) - 0.5)))
        y0 = max(0, int(np.ceil(min(ay, by, cy) - 0.5)))
        y1 = min(height - 1, int(np.floor(max(ay, by, cy) - 0.5)))
        if x0 > x1 or y0 > y1:
            continue
        ux, uy, uz = bx - ax, ay - by, bz - az
        vx, vy, vz = cx - ax, ay - cy, cz - az
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = np.sqrt(nx * nx + ny * ny + nz * nz)
        if length == 0.0:
            continue
        if nz < 0.0:
            length = -length
        bright = (nx * light[0] + ny * light[1] + nz * light[2]) / length
        value = 0.36 + 0.64 * max(bright, 0.0)
        inverse = 1.0 / area
        drawn += 1
        for y in range(y0, y1 + 1):
            py = y + 0.5
            for x in range(x0, x1 + 1):
                px = x + 0.5
                wc = ((bx - ax) * (py - ay) - (by - ay) * (px - ax)) * inverse
                wb = ((px - ax) * (cy - ay) - (py - ay) * (cx - ax)) * inverse
                if wb < 0.0 or wc < 0.0 or wb + wc > 1.0:
                    continue
                z = az + wb * (bz - az) + wc * (cz - az)
                if z > depth[y, x]:
                    depth[y, x] = z
                    who[y, x] = owner[f]
                    shade[y, x] = value
    return drawn


@kernel
def draw_lines(points: Float32, ends: Int32, depth: Float32, who: Int32, lift_mm: float) -> None:
    """Draw lines between pairs of `points` where nothing stands more than `lift_mm` in front of them."""
    height, width = depth.shape
    for k in range(ends.shape[0]):
        a, b = ends[k, 0], ends[k, 1]
        dx = points[b, 0] - points[a, 0]
        dy = points[b, 1] - points[a, 1]
        dz = points[b, 2] - points[a, 2]
        steps = int(2 * max(abs(dx), abs(dy))) + 1
        for i in range(steps + 1):
            t = i / steps
            x = int(points[a, 0] + t * dx)
            y = int(points[a, 1] + t * dy)
            z = points[a, 2] + t * dz
            if 0 <= x < width and 0 <= y < height and z + lift_mm >= depth[y, x]:
                who[y, x] = LINE


@kernel
def outline(depth: Float32, who: Int32, jump_mm: float) -> NDArray[np.bool_]:
    """(h, w) True where a piece ends in front of another one, of empty space, or of its own far side."""
    height, width = depth.shape
    edge = np.zeros((height, width), dtype=np.bool_)
    for y in range(height):
        for x in range(width):
            mine = who[y, x]
            if mine < 0:
                continue
            for dy, dx in ((0, 1), (1, 0), (0, -1), (-1, 0)):
                yy, xx = y + dy, x + dx
                if yy < 0 or xx < 0 or yy >= height or xx >= width:
                    continue
                other = who[yy, xx]
                if other == LINE:
                    continue
                deeper = depth[y, x] - depth[yy, xx]
                if (other != mine and deeper >= 0) or deeper > jump_mm:
                    edge[y, x] = True
    return edge
