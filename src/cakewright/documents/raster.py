"""Kernels that turn triangles and lines into pixels with a depth buffer."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel

Float32 = NDArray[np.float32]
Int32 = NDArray[np.int32]

EMPTY = -1
LINE = -2
AMBIENT = 0.36


@kernel
def fill_triangles(
    points: Float32,
    faces: Int32,
    owner: int,
    cull: bool,
    depth: Float32,
    who: Int32,
    shade: Float32,
    light: Float32,
) -> int:
    """Draw the triangles of one piece into `depth`, `who` and `shade`; returns how many were looked at closely.

    `points` (n, 3): x right, y down in pixels, z towards the viewer in mm; `faces` (m, 3) counter-
    clockwise seen from outside before y was turned down; `owner` index of the piece. `light` (3,) unit
    vector in the same axes as `points` but with y up. `depth` (h, w) starts at -inf. With `cull`
    triangles facing away are left out, which only a closed mesh allows: an open one would look like a hole.
    """
    height, width = depth.shape
    drawn = 0
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = points[a, 0], points[a, 1], points[a, 2]
        bx, by, bz = points[b, 0], points[b, 1], points[b, 2]
        cx, cy, cz = points[c, 0], points[c, 1], points[c, 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)  # negative when it faces the viewer: y is down
        if area == 0.0 or (cull and area > 0.0):
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
        value = AMBIENT + (1.0 - AMBIENT) * max(bright, 0.0)
        drawn += 1
        inverse = 1.0 / area
        wb_x, wb_y = (cy - ay) * inverse, -(cx - ax) * inverse  # barycentric weights are linear in x and y
        wc_x, wc_y = -(by - ay) * inverse, (bx - ax) * inverse
        z_x = wb_x * (bz - az) + wc_x * (cz - az)
        for y in range(y0, y1 + 1):
            px, py = x0 + 0.5 - ax, y + 0.5 - ay
            wb = px * wb_x + py * wb_y
            wc = px * wc_x + py * wc_y
            z = az + wb * (bz - az) + wc * (cz - az)
            for x in range(x0, x1 + 1):
                if wb >= 0.0 and wc >= 0.0 and wb + wc <= 1.0 and z > depth[y, x]:
                    depth[y, x] = z
                    who[y, x] = owner
                    shade[y, x] = value
                wb += wb_x
                wc += wc_x
                z += z_x
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


@kernel
def ink(who: Int32, shade: Float32, edge: NDArray[np.bool_], colours: Float32, dark: Float32) -> NDArray[np.uint8]:
    """Colour and halve a drawing: (h, w) to (h / 2, w / 2, 3).

    `colours` (n + 2, 3), 0 to 1: one for each piece, then for lines and paper; `dark` (3,) that of edges.
    """
    height, width = who.shape[0] // 2, who.shape[1] // 2
    n = colours.shape[0]
    out = np.empty((height, width, 3), dtype=np.uint8)
    for y in range(height):
        for x in range(width):
            for k in range(3):
                total = 0.0
                for yy in (2 * y, 2 * y + 1):
                    for xx in (2 * x, 2 * x + 1):
                        index = who[yy, xx]
                        if edge[yy, xx]:
                            total += dark[k]
                        elif index >= 0:
                            total += colours[index, k] * shade[yy, xx]
                        else:
                            total += colours[n + index, k]
                out[y, x, k] = int(min(max(total / 4.0, 0.0), 1.0) * 255.0 + 0.5)
    return out


@kernel
def spots(who: Int32, pieces: int) -> Int32:
    """(pieces, 3): pixels seen of each piece, and x and y of the one nearest to their middle."""
    total = np.zeros((pieces, 3))
    for y in range(who.shape[0]):
        for x in range(who.shape[1]):
            if who[y, x] >= 0:
                total[who[y, x], 0] += 1
                total[who[y, x], 1] += x
                total[who[y, x], 2] += y
    best = np.full(pieces, np.inf)
    found = np.zeros((pieces, 3), dtype=np.int32)
    for y in range(who.shape[0]):
        for x in range(who.shape[1]):
            i = who[y, x]
            if i < 0:
                continue
            dx, dy = x - total[i, 1] / total[i, 0], y - total[i, 2] / total[i, 0]
            if dx * dx + dy * dy < best[i]:
                best[i] = dx * dx + dy * dy
                found[i, 0], found[i, 1], found[i, 2] = int(total[i, 0]), x, y
    return found
