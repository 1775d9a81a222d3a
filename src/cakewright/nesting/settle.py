"""The last millimetres: small exact shifts that lower a finished nest and keep every clearance.

The nest by cells leaves about a cell of air at every contact. Here all pieces are shifted at once by a linear
program. For two triangles the direction between their nearest points separates them, so a row along it keeps
their distance for any shift. Only the nearest triangles of near pairs get a row at first; after each program
the exact distances are looked at again and rows are added where they fall short, until none does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cakewright.compiled import kernel
from cakewright.model.build import Placement
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.nesting.bank import Ints
from cakewright.nesting.polytopes import convex_pieces
from cakewright.nesting.shifts import make_shifts
from cakewright.nesting.squeeze import Rows, push, squeeze
from cakewright.nesting.task import NestSpace
from cakewright.nesting.trees import Tree, boxes_of, tree_of, triangles_gap2
from cakewright.nesting.verify import verify_nest
from cakewright.sources.nesting_exact import (
    MOST_FEW,
    SETTLE_CUTS,
    SETTLE_GAIN,
    SETTLE_REACH,
    SETTLE_ROUNDS,
    SETTLE_SLACK,
)
from cakewright.stopping import Stop

Facing = tuple[int, int, int, int]
"""Two pieces and a triangle of each."""

_ROUGH = 0.81
_ALL = 1e300


@kernel
def _box_gap2(a: FloatArray, b: FloatArray, dx: float, dy: float, dz: float) -> float:
    """Squared distance of two boxes, the second shifted."""
    x = max(a[0] - b[3] - dx, b[0] + dx - a[3], 0.0)
    y = max(a[1] - b[4] - dy, b[1] + dy - a[4], 0.0)
    z = max(a[2] - b[5] - dz, b[2] + dz - a[5], 0.0)
    return float(x * x + y * y + z * z)


@kernel
def _near(
    va: FloatArray,
    fa: IntArray,
    na: IntArray,
    ba: FloatArray,
    vb: FloatArray,
    fb: IntArray,
    nb: IntArray,
    bb: FloatArray,
    shift: FloatArray,
    cut2: float,
    share: float,
    found: Ints,
) -> tuple[float, int]:
    """Triangles of two surfaces, the second shifted, that are nearer than `cut2`, the nearest last.

    Returns the least squared distance (`cut2` when nothing is nearer) and how many pairs are in `found` (m, 2).
    A pair is only taken when it is nearer than `share` times the last one. Looking for the very nearest of many
    at almost the same distance takes most of the time and changes little; above 1 more are gathered, one for each
    two leaves of the trees.
    """
    best, limit = cut2, cut2
    count = 0
    dx, dy, dz = shift[0], shift[1], shift[2]
    stack = [(0, 0)]
    ta = np.empty((3, 3))
    tb = np.empty((3, 3))
    box = np.empty(6)
    while len(stack) > 0:
        i, j = stack.pop()
        if _box_gap2(ba[i], bb[j], dx, dy, dz) >= limit:
            continue
        if na[i, 2] < 0 and nb[j, 2] < 0:
            here, first, second = limit, -1, -1
            for s in range(na[i, 0], na[i, 1]):
                for c in range(3):
                    for v in range(3):
                        ta[v, c] = va[fa[s, v], c]
                    box[c] = min(ta[0, c], ta[1, c], ta[2, c])
                    box[3 + c] = max(ta[0, c], ta[1, c], ta[2, c])
                if _box_gap2(box, bb[j], dx, dy, dz) >= here:
                    continue
                for t in range(nb[j, 0], nb[j, 1]):
                    gap2 = 0.0
                    for c in range(3):
                        for v in range(3):
                            tb[v, c] = vb[fb[t, v], c] + shift[c]
                        low, high = min(tb[0, c], tb[1, c], tb[2, c]), max(tb[0, c], tb[1, c], tb[2, c])
                        g = max(box[c] - high, low - box[3 + c])
                        if g > 0:
                            gap2 += g * g
                    if gap2 < here:
                        gap2 = triangles_gap2(ta, tb)
                        if gap2 < here:
                            here, first, second = gap2, s, t
            if first >= 0:
                best = min(best, here)
                limit = min(cut2, share * best)
                if count == len(found) and share <= 1.0:
                    count -= 1
                found[count, 0], found[count, 1] = first, second
                count += 1
                if (best <= 0.0 and share <= 1.0) or (count == len(found) and share > 1.0):
                    return best, count
            continue
        if nb[j, 2] < 0 or (na[i, 2] >= 0 and ba[i, 5] - ba[i, 2] + ba[i, 3] - ba[i, 0] + ba[i, 4] - ba[i, 1]
                            >= bb[j, 5] - bb[j, 2] + bb[j, 3] - bb[j, 0] + bb[j, 4] - bb[j, 1]):  # fmt: skip
            near, far = (na[i, 2], j), (na[i, 3], j)
        else:
            near, far = (i, nb[j, 2]), (i, nb[j, 3])
        if _box_gap2(ba[near[0]], bb[near[1]], dx, dy, dz) > _box_gap2(ba[far[0]], bb[far[1]], dx, dy, dz):
            near, far = far, near
        stack.append(far)
        stack.append(near)
    return best, count


@kernel
def _width(n: FloatArray, a: FloatArray, b: FloatArray) -> float:
    """How far two triangles are apart along a unit direction; negative when their shadows overlap."""
    high, low = -1e300, 1e300
    for v in range(3):
        high = max(high, a[v, 0] * n[0] + a[v, 1] * n[1] + a[v, 2] * n[2])
        low = min(low, b[v, 0] * n[0] + b[v, 1] * n[1] + b[v, 2] * n[2])
    return low - high


@kernel
def _try(n: FloatArray, a: FloatArray, b: FloatArray, best: FloatArray) -> None:
    """Keep the direction, either way round, if it separates better than the best (4,) so far."""
    length = np.sqrt(n[0] ** 2 + n[1] ** 2 + n[2] ** 2)
    if length < 1e-12:
        return
    for sign in (1.0, -1.0):
        m = n * (sign / length)
        w = _width(m, a, b)
        if w > best[3]:
            best[0], best[1], best[2], best[3] = m[0], m[1], m[2], w


@kernel
def _clamp(x: float) -> float:
    return min(1.0, max(0.0, x))


@kernel
def separating(a: FloatArray, b: FloatArray) -> FloatArray:
    """(4,) the unit direction that separates two triangles (3, 3) best, and how far apart they are along it.

    Tried are the directions between nearest points of all edges, the two normals and the cross products of
    edges; among these is the direction between the nearest points, and one of them separates triangles that touch.
    """
    best = np.array([0.0, 0.0, 1.0, -1e300])
    _try(np.cross(a[1] - a[0], a[2] - a[0]), a, b, best)
    _try(np.cross(b[1] - b[0], b[2] - b[0]), a, b, best)
    for i in range(3):
        u = a[(i + 1) % 3] - a[i]
        for j in range(3):
            v = b[(j + 1) % 3] - b[j]
            _try(np.cross(u, v), a, b, best)
            r = a[i] - b[j]
            uu, vv, uv = (u * u).sum(), (v * v).sum(), (u * v).sum()
            if uu <= 0.0 or vv <= 0.0:
                continue
            ur, vr = (u * r).sum(), (v * r).sum()
            bottom = uu * vv - uv * uv
            s = _clamp((uv * vr - ur * vv) / bottom) if bottom > 1e-14 * uu * vv else 0.0
            t = _clamp((uv * s + vr) / vv)
            s = _clamp((uv * t - ur) / uu)
            t = _clamp((uv * s + vr) / vv)
            _try(b[j] + t * v - a[i] - s * u, a, b, best)
    return best


@dataclass(eq=False)
class _Body:
    """A piece where it stood at first: tree, corners and boxes in chamber coordinates."""

    tree: Tree
    vertices: FloatArray
    boxes: FloatArray


class _Cake:
    """The pieces, how far each has been shifted, and the rows known so far as pairs of triangles."""

    def __init__(self, meshes: Mapping[str, Mesh], placements: Sequence[Placement], clearance_mm: float) -> None:
        trees = {k: tree_of(meshes[k]) for k in sorted({p.part_key for p in placements})}
        self.bodies = []
        for p in placements:
            tree = trees[p.part_key]
            v = np.ascontiguousarray(meshes[p.part_key].vertices @ np.asarray(p.rotation).T + np.asarray(p.translation))
            self.bodies.append(_Body(tree, v, boxes_of(v, tree.faces, tree.nodes)))
        self.low = np.array([b.boxes[0, :3] for b in self.bodies])
        self.high = np.array([b.boxes[0, 3:] for b in self.bodies])
        self.shift = np.zeros_like(self.low)
        self.clearance = clearance_mm
        self.facing: dict[Facing, None] = {}
        self.known: dict[tuple[int, int], tuple[float, FloatArray]] = {}
        self._found = np.zeros((256, 2), np.int64)

    def pairs(self, reach_mm: float) -> list[tuple[int, int]]:
        """Pairs whose boxes are nearer than `reach_mm`, as they stand now."""
        low, high = self.low + self.shift, self.high + self.shift
        out = []
        for i in range(len(low)):
            gap = np.maximum(np.maximum(low[i + 1 :] - high[i], low[i] - high[i + 1 :]), 0.0)
            out += [(i, i + 1 + int(j)) for j in np.flatnonzero((gap**2).sum(axis=1) < reach_mm**2)]
        return out

    def near(self, i: int, j: int, shift: FloatArray, cut_mm: float, share: float) -> tuple[float, list[Facing]]:
        """Distance of two pieces after `shift` (n, 3), at most `cut_mm`, and triangles that near; see `_near`."""
        a, b = self.bodies[i], self.bodies[j]
        gap2, count = _near(
            a.vertices, a.tree.faces, a.tree.nodes, a.boxes, b.vertices, b.tree.faces, b.tree.nodes, b.boxes,
            shift[j] - shift[i], cut_mm**2, share, self._found,
        )  # fmt: skip
        return float(np.sqrt(gap2)), [(i, j, int(s), int(t)) for s, t in self._found[:count]]

    def rows(self) -> Rows:
        """The known pairs of triangles as rows for shifts from where the pieces stand now.

        Where two are nearer than the clearance already (rounding), they need only not come nearer.
        """
        along, least = np.empty((len(self.facing), 3)), np.empty(len(self.facing))
        for k, (i, j, s, t) in enumerate(self.facing):
            a, b = self.bodies[i], self.bodies[j]
            first = a.vertices[a.tree.faces[s]] + self.shift[i]
            second = b.vertices[b.tree.faces[t]] + self.shift[j]
            found = separating(np.ascontiguousarray(first), np.ascontiguousarray(second))
            along[k] = found[:3]
            least[k] = min(self.clearance + SETTLE_SLACK.value, found[3]) - found[3]
        pieces = np.array([key[:2] for key in self.facing], np.int64).reshape(-1, 2)
        return Rows(pieces[:, 0], pieces[:, 1], along, least)


def _step(cake: _Cake, space: NestSpace, reach_mm: float) -> FloatArray | None:
    """One safe shift of all pieces (n, 3) of at most `reach_mm` along each axis; None when nothing is gained."""
    gaps = _gaps(cake, reach_mm)
    fine: dict[tuple[int, int], FloatArray] = {}
    m = space.wall_margin_mm
    low, high = cake.low + cake.shift, cake.high + cake.shift
    below = np.clip(np.array([m, m, 0.0]) - low, -reach_mm, 0.0)
    above = np.clip(np.array([space.x_mm - m, space.y_mm - m, space.height_mm]) - high, 0.0, reach_mm)
    step: FloatArray = np.zeros_like(cake.low)
    for _ in range(int(SETTLE_CUTS.value)):
        answer = push(cake.rows(), below, above, high[:, 2])
        if answer is None:
            return None
        step = answer[0]
        short = _short(cake, gaps, step, fine)
        if not short:
            return step
        cake.facing.update(dict.fromkeys(short))
    for _ in range(6):
        step = step / 2
        if not _short(cake, gaps, step, fine):
            return step
    return None


def _gaps(cake: _Cake, reach_mm: float) -> dict[tuple[int, int], float]:
    """A lower bound of the distance of all pairs that could meet in this round; the nearest triangles get a row."""
    far = cake.clearance + reach_mm
    gaps: dict[tuple[int, int], float] = {}
    for i, j in cake.pairs(cake.clearance + 2 * 3**0.5 * reach_mm):
        apart = cake.shift[j] - cake.shift[i]
        before = cake.known.get((i, j))
        moved = _ALL if before is None else float(np.linalg.norm(apart - before[1]))
        if before is not None and moved < SETTLE_SLACK.value:
            gaps[i, j] = before[0] - moved
            continue
        gap, found = cake.near(i, j, cake.shift, far, _ROUGH)
        gaps[i, j] = gap
        if found:
            gaps[i, j] = _ROUGH**0.5 * gap
            if gaps[i, j] < cake.clearance:
                gaps[i, j], found = cake.near(i, j, cake.shift, gap + SETTLE_SLACK.value, 1.0)
            cake.facing[found[-1]] = None
        cake.known[i, j] = gaps[i, j], apart
    return gaps


def _short(
    cake: _Cake, gaps: Mapping[tuple[int, int], float], step: FloatArray, fine: dict[tuple[int, int], FloatArray]
) -> list[Facing]:
    """Triangles that come too near after a step, some for each two pieces.

    `fine` remembers by how much pieces may be shifted against each other: what was looked at is not looked at again.
    """
    out: list[Facing] = []
    for (i, j), gap in gaps.items():
        move = step[j] - step[i]
        if gap - float(np.linalg.norm(move)) >= cake.clearance:
            continue
        if (i, j) in fine and float(np.abs(move - fine[i, j]).max()) < SETTLE_SLACK.value / 4:
            continue
        wanted = min(cake.clearance, gap) - SETTLE_SLACK.value / 2
        if wanted > 0:
            _, found = cake.near(i, j, cake.shift + step, wanted, _ALL)
        else:
            after, found = cake.near(i, j, cake.shift + step, SETTLE_SLACK.value, _ALL)
            found = [f for f in found if after <= 0 and f not in cake.facing]
        if not found:
            fine[i, j] = move
        out += found[:: max(1, len(found) // 4)]
    return out


def _moved(placements: Sequence[Placement], shift: FloatArray) -> tuple[Placement, ...]:
    return tuple(
        replace(
            p,
            translation=np.asarray(p.translation) + d,
            z_min_mm=p.z_min_mm + float(d[2]),
            z_max_mm=p.z_max_mm + float(d[2]),
        )
        for p, d in zip(placements, shift, strict=True)
    )


def _height(placements: Sequence[Placement]) -> float:
    return max((p.z_max_mm for p in placements), default=0.0)


def settle(
    meshes: Mapping[str, Mesh],
    placements: Sequence[Placement],
    space: NestSpace,
    clearance_mm: float,
    *,
    stop: Stop,
    keep: Callable[[Sequence[Placement]], bool] | None = None,
) -> tuple[Placement, ...]:
    """Shift the pieces of a nest by small amounts so that it becomes lower; turns stay as they are.

    The result is at most as high as the input, inside the walls, and proven clear by `verify.verify_nest`; where
    that fails, or `keep` (for example: can everything still be taken out?) says no, an earlier stage or the input
    itself comes back. `stop` is asked before each round with the height in mm. The same input gives the same output.
    At zero clearance pieces that are unions of few convex ones are settled on those, see `squeeze`.
    """
    stages = [tuple(placements)]
    for stage in _stages(meshes, placements, space, clearance_mm, stop):
        stages.append(stage)
    while len(stages) > 1:
        last = stages.pop()
        seen = verify_nest(meshes, last, space, clearance_mm, clock=lambda: 0.0)
        if _height(last) <= _height(placements) and seen.is_clear and (keep is None or keep(last)):
            return last
    return stages[0]


def _stages(
    meshes: Mapping[str, Mesh], placements: Sequence[Placement], space: NestSpace, clearance_mm: float, stop: Stop
) -> list[tuple[Placement, ...]]:
    """The nest after each round that lowered it."""
    if len(placements) == 0 or stop(0, _height(placements)):
        return []
    if clearance_mm <= 0:
        convex = _by_pieces(meshes, placements, space)
        if convex is not None:
            return [convex]
    cake = _Cake(meshes, placements, clearance_mm)
    out: list[tuple[Placement, ...]] = []
    height = _height(placements)
    reach = SETTLE_REACH.value
    for turn in range(1, int(SETTLE_ROUNDS.value) + 1):
        step = _step(cake, space, reach)
        if step is None:
            break
        cake.shift = cake.shift + step
        out.append(_moved(placements, cake.shift))
        now = _height(out[-1])
        if height - now < SETTLE_GAIN.value:
            break
        height = now
        if stop(turn, height):
            break
    return out


def _by_pieces(
    meshes: Mapping[str, Mesh], placements: Sequence[Placement], space: NestSpace
) -> tuple[Placement, ...] | None:
    """Settled on convex pieces; None when there are too many or a part is no union of few."""
    if len(placements) > MOST_FEW.value:
        return None
    keys = sorted({p.part_key for p in placements})
    solids = []
    for k in keys:
        pieces = convex_pieces(meshes[k])
        if pieces is None:
            return None
        solids.append(pieces)
    turns: list[list[FloatArray]] = [[] for _ in keys]
    where: list[tuple[int, int]] = []
    for p in placements:
        part = keys.index(p.part_key)
        turn = np.asarray(p.rotation, np.float64)
        known = [n for n, t in enumerate(turns[part]) if np.array_equal(t, turn)]
        where.append((part, known[0] if known else len(turns[part])))
        if not known:
            turns[part].append(turn)
    shifts = make_shifts(solids, [np.array(t) for t in turns], 0.0)
    pose: Ints = np.array([shifts.first[part] + n for part, n in where], np.int64)
    margin = np.array([space.wall_margin_mm, space.wall_margin_mm, 0.0])
    at = np.array([np.asarray(p.translation) for p in placements]) - margin
    low, _ = squeeze(shifts, at, pose, np.array([*space.inner_mm, space.height_mm]))
    return _moved(placements, low - at)
