"""Linear programs that push pieces together: small shifts that lower the pile and keep every gap.

A row says that piece j must keep a distance from piece i along a direction: direction . (shift_j - shift_i)
>= least. If the direction separates the two solids, or two of their convex pieces, the row guarantees that
they stay apart for any shift, so the answer of the program is safe without a further look.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_matrix, csr_matrix

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Ints
from cakewright.nesting.shifts import Shifts
from cakewright.sources.nesting_exact import (
    LOW_WEIGHT,
    LP_TOLERANCE,
    SQUEEZE_GAIN,
    SQUEEZE_REACH,
    SQUEEZE_ROUNDS,
    STAY_WEIGHT,
)


@dataclass(frozen=True, eq=False)
class Rows:
    """`first`, `second` (k,) piece numbers, `along` (k, 3) unit directions from first to second, `least` (k,) mm.

    The first of a row is -1 for a wall. `spin` (k, 4) says by how much a turn of 1 mm, left and right, of the first and
    of the second brings them nearer; None when nothing is turned.
    """

    first: Ints
    second: Ints
    along: FloatArray
    least: FloatArray
    spin: FloatArray | None = None

    def and_also(self, other: Rows) -> Rows:
        """These rows and others, all with turns."""
        mine, more = (np.zeros((len(r.least), 4)) if r.spin is None else r.spin for r in (self, other))
        return Rows(
            np.concatenate([self.first, other.first]),
            np.concatenate([self.second, other.second]),
            np.concatenate([self.along, other.along]),
            np.concatenate([self.least, other.least]),
            np.concatenate([mine, more]),
        )


def push(
    rows: Rows,
    low: FloatArray,
    high: FloatArray,
    tops: FloatArray,
    *,
    pulls: FloatArray | None = None,
    most_turn: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray, float] | None:
    """Shifts (n, 3) within `low` and `high` (n, 3) that keep all rows and bring the highest top as low as can be.

    `tops` (n,) are the present heights. A little weight on all heights lowers what could rise for free, and less still
    keeps in place what need not move. `pulls` (n, 3) are further prices of a shift along the axes, in mm of height a
    mm; with `most_turn` (n,) pieces may turn by so many mm too. Returns the shifts, the turns (n,) and the new height;
    None when the solver finds no answer.
    """
    n = len(low)
    turns = n if rows.spin is not None and most_turn is not None else 0
    # columns: shift up or down of each coordinate as two parts, so that what need not move stays; then the height, then
    # the turns left and right
    matrix = _matrix(rows, n, turns)
    bound = np.concatenate([-rows.least, -tops])
    weight = LOW_WEIGHT.value / max(1, n)
    stay = STAY_WEIGHT.value * weight
    slope = np.zeros(3 * n) if pulls is None else pulls.ravel().copy()
    slope[2::3] += weight
    price = np.concatenate([stay + slope, stay - slope, [1.0], np.full(2 * turns, stay)])
    nothing = np.zeros(3 * n)
    most = np.zeros(0) if most_turn is None or not turns else np.concatenate([most_turn, most_turn])
    limits = np.stack(
        [np.concatenate([np.maximum(low.ravel(), 0.0), np.maximum(-high.ravel(), 0.0), np.zeros(1 + 2 * turns)]),
         np.concatenate([np.maximum(high.ravel(), nothing), np.maximum(-low.ravel(), nothing),
                         [tops.max() + 1.0], most])],
        axis=1,
    )  # fmt: skip
    options: Any = {
        "primal_feasibility_tolerance": LP_TOLERANCE.value,
        "dual_feasibility_tolerance": LP_TOLERANCE.value,
    }
    solve: Any = linprog
    answer = solve(price, A_ub=matrix, b_ub=bound, bounds=limits, method="highs", options=options)
    if answer.status != 0 or answer.x is None:
        return None
    x = np.asarray(answer.x)
    shift = x[: 3 * n] - x[3 * n : 6 * n]
    turn = x[6 * n + 1 : 6 * n + 1 + n] - x[6 * n + 1 + n :] if turns else np.zeros(n)
    return shift.reshape(n, 3), turn, float(x[6 * n])


def _matrix(rows: Rows, n: int, turns: int) -> csr_matrix:
    """(k + n, 6 n + 1 + 2 turns): the rows and, below, that every top is under the height; all as at most."""
    k = len(rows.least)
    row, axes = np.repeat(np.arange(k), 3), np.arange(3)
    there = np.repeat(rows.first >= 0, 3)
    first = (3 * rows.first[:, None] + axes).ravel()[there]
    second = (3 * rows.second[:, None] + axes).ravel()
    at_row = np.concatenate([row[there], row, k + np.arange(n)])
    column = np.concatenate([first, second, 3 * np.arange(n) + 2])
    along = rows.along.ravel()
    values = np.concatenate([along[there], -along, np.ones(n)])
    parts = [(values, at_row, column), (-values, at_row, column + 3 * n)]
    parts.append((-np.ones(n), k + np.arange(n), np.full(n, 6 * n)))
    if turns and rows.spin is not None:
        real = rows.first >= 0
        for side in range(2):
            at = 6 * n + 1 + side * n
            parts.append((rows.spin[real, side], np.flatnonzero(real), at + rows.first[real]))
            parts.append((rows.spin[:, 2 + side], np.arange(k), at + rows.second))
    flat = [np.concatenate(p) for p in zip(*parts, strict=True)]
    return coo_matrix((flat[0], (flat[1], flat[2])), shape=(k + n, 6 * n + 1 + 2 * turns)).tocsr()


@kernel
def _facing(
    at: FloatArray,
    pose: Ints,
    frame: FloatArray,
    pair: Ints,
    poly_at: Ints,
    plane_at: Ints,
    planes: FloatArray,
    reach: float,
    owner: Ints,
    out: FloatArray,
) -> int:
    """For every two convex pieces nearer than `reach`: the plane that separates them best. Returns the count."""
    count = 0
    for i in range(len(pose)):
        f = frame[pose[i]]
        for j in range(i + 1, len(pose)):
            e = pair[pose[i], pose[j]]
            dx, dy, dz = at[j, 0] - at[i, 0], at[j, 1] - at[i, 1], at[j, 2] - at[i, 2]
            x = f[0, 0] * dx + f[1, 0] * dy + f[2, 0] * dz
            y = f[0, 1] * dx + f[1, 1] * dy + f[2, 1] * dz
            z = f[0, 2] * dx + f[1, 2] * dy + f[2, 2] * dz
            for s in range(poly_at[e], poly_at[e + 1]):
                apart, which = -1e300, -1
                for k in range(plane_at[s], plane_at[s + 1]):
                    g = planes[k, 0] * x + planes[k, 1] * y + planes[k, 2] * z - planes[k, 3]
                    if g > apart:
                        apart, which = g, k
                if apart >= reach:
                    continue
                if count < len(owner):
                    owner[count, 0], owner[count, 1] = i, j
                    for c in range(3):
                        out[count, c] = (
                            f[c, 0] * planes[which, 0] + f[c, 1] * planes[which, 1] + f[c, 2] * planes[which, 2]
                        )
                    out[count, 3] = apart
                count += 1
    return count


def facing_rows(shifts: Shifts, at: FloatArray, pose: Ints, reach_mm: float) -> Rows:
    """A row for every two convex pieces nearer than `reach_mm`, along the plane that separates them best."""
    room = 4096
    while True:
        owner, out = np.empty((room, 2), np.int64), np.empty((room, 4))
        count = _facing(
            at, pose, shifts.frame, shifts.pair, shifts.poly_at, shifts.plane_at, shifts.planes, reach_mm, owner, out
        )
        if count <= room:
            return Rows(owner[:count, 0], owner[:count, 1], out[:count, :3], -out[:count, 3])
        room = count


def squeeze(shifts: Shifts, at: FloatArray, pose: Ints, room: FloatArray) -> tuple[FloatArray, float]:
    """Lower a pile of convex pieces that do not overlap until no shift lowers it; places (n, 3) and height.

    Every step is a linear program in which each two convex pieces stay on their sides of the plane that
    separates them best; then the planes are chosen anew. Small overlaps (rounding) are undone on the way.
    """
    low, high = shifts.low[pose], shifts.high[pose]
    step = SQUEEZE_REACH.value * float((high - low).max())
    at = at.copy()
    height = float((at[:, 2] + high[:, 2]).max())
    for _ in range(int(SQUEEZE_ROUNDS.value)):
        rows = facing_rows(shifts, at, pose, 2 * np.sqrt(3) * step)
        below = np.clip(-low - at, -step, 0.0)
        above = np.clip(room - high - at, 0.0, step)
        answer = push(rows, below, above, at[:, 2] + high[:, 2])
        if answer is None:
            break
        at = at + answer[0]
        gain = height - float((at[:, 2] + high[:, 2]).max())
        height -= gain
        if gain < SQUEEZE_GAIN.value * height:
            break
    return at, height
