"""Taking overlap out of a pile: move one piece at a time to where it overlaps least, weigh what persists.

Guided local search after Egeblad, Nielsen and Brazil (Computational Geometry 42, 2009): at a fixed height
pieces may overlap; a move along a line is exact, because the overlap with each other piece is a concave,
piecewise linear function of the place wherever it is not zero, so that the best place on the line is an
end of one of those stretches (or of the line). Overlap of two pieces is measured by how far one has to be
shifted to be clear (penetration depth), summed over their convex pieces.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Ints

Flags = NDArray[np.bool_]


@kernel
def _chance(state: NDArray[np.uint64]) -> float:
    """A number from 0 up to 1 (splitmix64, Steele, Lea and Flood 2014): compiles ten times faster than a Generator."""
    state[0] += np.uint64(0x9E3779B97F4A7C15)
    z = state[0]
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    z = z ^ (z >> np.uint64(31))
    return float(z >> np.uint64(11)) / 9007199254740992.0


@kernel
def _depth(x: float, y: float, z: float, planes: FloatArray, first: int, last: int) -> float:
    """How deep a shift lies in a polytope; 0 outside."""
    least = 1e300
    for k in range(first, last):
        g = planes[k, 3] - (planes[k, 0] * x + planes[k, 1] * y + planes[k, 2] * z)
        if g <= 0.0:
            return 0.0
        least = min(least, g)
    return least


@kernel
def pair_overlap(
    px: float,
    py: float,
    pz: float,
    pose: int,
    qx: float,
    qy: float,
    qz: float,
    other: int,
    frame: FloatArray,
    pair: Ints,
    poly_at: Ints,
    plane_at: Ints,
    planes: FloatArray,
    box: FloatArray,
    hull: FloatArray,
) -> float:
    """Penetration depth of two placed pieces in mm, summed over their convex pieces."""
    e = pair[pose, other]
    f = frame[pose]
    dx, dy, dz = qx - px, qy - py, qz - pz
    x = f[0, 0] * dx + f[1, 0] * dy + f[2, 0] * dz
    h = hull[e]
    if x <= h[0] or x >= h[3]:
        return 0.0
    y = f[0, 1] * dx + f[1, 1] * dy + f[2, 1] * dz
    if y <= h[1] or y >= h[4]:
        return 0.0
    z = f[0, 2] * dx + f[1, 2] * dy + f[2, 2] * dz
    if z <= h[2] or z >= h[5]:
        return 0.0
    total = 0.0
    for s in range(poly_at[e], poly_at[e + 1]):
        b = box[s]
        if b[0] < x < b[3] and b[1] < y < b[4] and b[2] < z < b[5]:
            total += _depth(x, y, z, planes, plane_at[s], plane_at[s + 1])
    return total


@kernel
def price(
    i: int,
    pose_i: int,
    x: float,
    y: float,
    z: float,
    limit: float,
    at: FloatArray,
    pose: Ints,
    weight: FloatArray,
    frame: FloatArray,
    pair: Ints,
    poly_at: Ints,
    plane_at: Ints,
    planes: FloatArray,
    box: FloatArray,
    hull: FloatArray,
) -> float:
    """Weighted overlap of piece i at a place with all placed others; stops above `limit`."""
    total = 0.0
    for j in range(len(pose)):
        if j != i and pose[j] >= 0:
            d = pair_overlap(
                x, y, z, pose_i, at[j, 0], at[j, 1], at[j, 2], pose[j],
                frame, pair, poly_at, plane_at, planes, box, hull,
            )  # fmt: skip
            if d > 0.0:
                total += float(weight[i, j]) * d
                if total > limit:
                    return total
    return total


@kernel
def slide(
    i: int,
    pose_i: int,
    place: FloatArray,
    axis: int,
    low: float,
    high: float,
    at: FloatArray,
    pose: Ints,
    weight: FloatArray,
    frame: FloatArray,
    pair: Ints,
    poly_at: Ints,
    plane_at: Ints,
    planes: FloatArray,
    box: FloatArray,
    hull: FloatArray,
    spans: FloatArray,
    owners: Ints,
) -> tuple[float, float]:
    """The best coordinate of piece i on the line through `place` along an axis, and its weighted overlap.

    `spans` (m, 5) and `owners` (m, 2) are scratch. Of equally good coordinates the lowest is taken.
    """
    f = frame[pose_i]
    ex, ey, ez = f[axis, 0], f[axis, 1], f[axis, 2]
    count = 0
    for j in range(len(pose)):
        if j == i or pose[j] < 0:
            continue
        e = pair[pose_i, pose[j]]
        dx, dy, dz = at[j, 0] - place[0], at[j, 1] - place[1], at[j, 2] - place[2]
        if axis == 0:
            dx = at[j, 0]
        elif axis == 1:
            dy = at[j, 1]
        else:
            dz = at[j, 2]
        x = f[0, 0] * dx + f[1, 0] * dy + f[2, 0] * dz
        y = f[0, 1] * dx + f[1, 1] * dy + f[2, 1] * dz
        z = f[0, 2] * dx + f[1, 2] * dy + f[2, 2] * dz
        for s in range(poly_at[e], poly_at[e + 1]):
            # inside for coordinate c: planes[k, 3] - N (r - c e) > 0
            start, end = -1e300, 1e300
            for k in range(plane_at[s], plane_at[s + 1]):
                g = planes[k, 3] - (planes[k, 0] * x + planes[k, 1] * y + planes[k, 2] * z)
                m = planes[k, 0] * ex + planes[k, 1] * ey + planes[k, 2] * ez
                if m > 1e-12:
                    start = max(start, -g / m)
                elif m < -1e-12:
                    end = min(end, -g / m)
                elif g <= 1e-12:
                    end = start
                if start >= end or start >= high or end <= low:
                    break
            if start < end and start < high and end > low and count < len(spans):
                spans[count, 0], spans[count, 1] = start, end
                spans[count, 2], spans[count, 3], spans[count, 4] = x, y, z
                owners[count, 0], owners[count, 1] = j, s
                count += 1
    best, least = float(place[axis]), 1e300
    for c in range(2 * count + 3):
        if c == 2 * count:
            at_c = low
        elif c == 2 * count + 1:
            at_c = high
        elif c == 2 * count + 2:
            at_c = min(high, max(low, place[axis]))
        else:
            at_c = spans[c // 2, c % 2]
            if at_c < low or at_c > high:
                continue
        total = 0.0
        for n in range(count):
            if spans[n, 0] < at_c < spans[n, 1]:
                d = _depth(
                    spans[n, 2] - at_c * ex, spans[n, 3] - at_c * ey, spans[n, 4] - at_c * ez,
                    planes, plane_at[owners[n, 1]], plane_at[owners[n, 1] + 1],
                )  # fmt: skip
                total += weight[i, owners[n, 0]] * d
                if total > least:
                    break
        if total < least or (total == least and at_c < best):
            best, least = at_c, total
    return best, least


@kernel
def _fits(pose: int, room: FloatArray, low: FloatArray, high: FloatArray) -> bool:
    x, y, z = high[pose, 0] - low[pose, 0], high[pose, 1] - low[pose, 1], high[pose, 2] - low[pose, 2]
    return bool(x <= room[0] + 1e-9 and y <= room[1] + 1e-9 and z <= room[2] + 1e-9)


@kernel
def relocate(
    i: int,
    at: FloatArray,
    pose: Ints,
    first_pose: int,
    last_pose: int,
    room: FloatArray,
    low: FloatArray,
    high: FloatArray,
    weight: FloatArray,
    frame: FloatArray,
    pair: Ints,
    poly_at: Ints,
    plane_at: Ints,
    planes: FloatArray,
    box: FloatArray,
    hull: FloatArray,
    samples: int,
    state: NDArray[np.uint64],
    spans: FloatArray,
    owners: Ints,
) -> float:
    """Move piece i to the best place found from where it is and from random places; returns its overlap there."""
    now = price(i, pose[i], at[i, 0], at[i, 1], at[i, 2], 1e300, at, pose, weight,
                frame, pair, poly_at, plane_at, planes, box, hull)  # fmt: skip
    keep = 3
    value = np.empty(keep)
    chosen = np.zeros(keep, np.int64)
    place = np.zeros((keep, 3))
    goal = np.empty(3)
    for k in range(keep):
        value[k] = 1e300
    value[0], chosen[0] = now, pose[i]
    for c in range(3):
        place[0, c] = goal[c] = at[i, c]
    p = np.empty(3)
    for n in range(samples):
        q = first_pose + int(_chance(state) * (last_pose - first_pose))
        if not _fits(q, room, low, high):
            continue
        for c in range(3):
            lowest, highest = -low[q, c], room[c] - high[q, c]
            p[c] = lowest + _chance(state) * max(0.0, highest - lowest)
            if n % 3 == 2:
                p[c] = min(highest, max(lowest, at[i, c] + (_chance(state) - 0.5) * 0.4 * (high[q, c] - low[q, c])))
        v = price(i, q, p[0], p[1], p[2], value[keep - 1], at, pose, weight,
                  frame, pair, poly_at, plane_at, planes, box, hull)  # fmt: skip
        k = keep - 1
        if v < value[k]:
            while k > 0 and v < value[k - 1]:
                value[k], chosen[k] = value[k - 1], chosen[k - 1]
                for c in range(3):
                    place[k, c] = place[k - 1, c]
                k -= 1
            value[k], chosen[k] = v, q
            for c in range(3):
                place[k, c] = p[c]
    best, best_pose = now, int(pose[i])
    for k in range(keep):
        if value[k] > 1e299:
            continue
        q, v = int(chosen[k]), float(value[k])
        if not _fits(q, room, low, high):
            continue
        for c in range(3):
            p[c] = place[k, c]
        start = int(_chance(state) * 3)
        still = 0
        n = 0
        while still < 3 and n < 12:
            axis = (start + n) % 3
            n += 1
            to, w = slide(i, q, p, axis, -low[q, axis], room[axis] - high[q, axis], at, pose, weight,
                         frame, pair, poly_at, plane_at, planes, box, hull, spans, owners)  # fmt: skip
            if w < v - 1e-12:
                still = 0
            else:
                still += 1
            if w <= v:
                p[axis], v = to, w
            if v <= 0.0:
                break
        if v < best - 1e-12:
            best, best_pose = v, q
            for c in range(3):
                goal[c] = p[c]
            if v <= 0.0:
                break
    for c in range(3):
        at[i, c] = goal[c]
    pose[i] = best_pose
    return best


@kernel
def overlaps(
    at: FloatArray,
    pose: Ints,
    out: FloatArray,
    frame: FloatArray,
    pair: Ints,
    poly_at: Ints,
    plane_at: Ints,
    planes: FloatArray,
    box: FloatArray,
    hull: FloatArray,
) -> float:
    """Write the overlap of each two placed pieces to `out` (n, n); returns the sum."""
    total = 0.0
    for i in range(len(pose)):
        out[i, i] = 0.0
        for j in range(i + 1, len(pose)):
            d = 0.0
            if pose[i] >= 0 and pose[j] >= 0:
                d = pair_overlap(
                    at[i, 0], at[i, 1], at[i, 2], pose[i], at[j, 0], at[j, 1], at[j, 2], pose[j],
                    frame, pair, poly_at, plane_at, planes, box, hull,
                )  # fmt: skip
            out[i, j] = out[j, i] = d
            total += d
    return total


@kernel
def separate(
    at: FloatArray,
    pose: Ints,
    best_at: FloatArray,
    best_pose: Ints,
    part: Ints,
    weight: FloatArray,
    room: FloatArray,
    first: Ints,
    frame: FloatArray,
    low: FloatArray,
    high: FloatArray,
    pair: Ints,
    poly_at: Ints,
    plane_at: Ints,
    planes: FloatArray,
    box: FloatArray,
    hull: FloatArray,
    rounds: int,
    samples: int,
    enough: float,
    state: NDArray[np.uint64],
) -> tuple[float, int]:
    """Rounds of moving every overlapping piece and raising weights, in place.

    Returns the least overlap seen in mm, whose state is in `best_at` and `best_pose`, and the number of
    moves; stops when the overlap is at most `enough`.
    """
    n = len(pose)
    spans = np.empty((4096, 5))
    owners = np.empty((4096, 2), np.int64)
    shared = np.zeros((n, n))
    order = np.arange(n)
    best = 1e300
    moves = 0
    for turn in range(rounds + 1):
        total = overlaps(at, pose, shared, frame, pair, poly_at, plane_at, planes, box, hull)
        if total < best:
            best = total
            for i in range(n):
                best_pose[i] = pose[i]
                for c in range(3):
                    best_at[i, c] = at[i, c]
        if best <= enough or turn == rounds:
            break
        most = 0.0
        for i in range(n):
            for j in range(n):
                most = max(most, shared[i, j])
        if turn > 0 and most > 0:
            for i in range(n):
                for j in range(n):
                    if shared[i, j] > 1e-12:
                        weight[i, j] *= 1.2 + 0.8 * shared[i, j] / most
                    else:
                        weight[i, j] = max(1.0, 0.95 * weight[i, j])
        for k in range(n - 1, 0, -1):
            other = int(_chance(state) * (k + 1))
            order[k], order[other] = order[other], order[k]
        for k in range(n):
            i = int(order[k])
            if pose[i] < 0:
                continue
            now = price(i, pose[i], at[i, 0], at[i, 1], at[i, 2], 1e300, at, pose, weight,
                        frame, pair, poly_at, plane_at, planes, box, hull)  # fmt: skip
            if now > 1e-12:
                moves += 1
                relocate(i, at, pose, first[part[i]], first[part[i] + 1], room, low, high, weight,
                         frame, pair, poly_at, plane_at, planes, box, hull, samples, state, spans, owners)  # fmt: skip
    return best, moves
