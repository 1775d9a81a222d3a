"""The pieces of a nest while they are shifted and turned by small amounts on their exact meshes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from cakewright.model.build import Placement
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.nesting.nearest import near_triangles, separating
from cakewright.nesting.spin import lever, spins
from cakewright.nesting.squeeze import Rows
from cakewright.nesting.task import NestSpace
from cakewright.nesting.trees import Tree, boxes_of, tree_of
from cakewright.parts.orient import turn_z
from cakewright.sources.nesting_exact import SETTLE_SLACK, SETTLE_TURN

Facing = tuple[int, int, int, int]
"""Two pieces and a triangle of each."""

WALLS = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, -1.0, 0.0]])


@dataclass(frozen=True, eq=False)
class Hold:
    """What settling keeps besides the clearance.

    `extra_mm` by part key: two parts that are both named keep the smaller of theirs more, or what they have.
    Pieces named in `still` stay where they are. Parts named in `turning` may be turned about the vertical.
    """

    extra_mm: Mapping[str, float] = field(default_factory=dict)
    still: frozenset[str] = frozenset()
    turning: frozenset[str] = frozenset()


@dataclass(frozen=True, eq=False)
class Body:
    """A piece turned where it stands, before its shift: tree, corners and boxes in chamber coordinates."""

    tree: Tree
    vertices: FloatArray
    boxes: FloatArray


@dataclass(frozen=True, eq=False)
class Step:
    """A change of all pieces: shifts (n, 3) in mm and turns (n,) in mm at the rim of each piece."""

    shift: FloatArray
    turn: FloatArray

    def scaled(self, share: float) -> Step:
        """A part of the way; it keeps every row that the whole way keeps."""
        return Step(self.shift * share, self.turn * share)

    def between(self, i: int, j: int) -> FloatArray:
        """(5,) how two pieces change against each other."""
        return np.array([*(self.shift[j] - self.shift[i]), self.turn[i], self.turn[j]])


class Pile:
    """The pieces, how far each has been moved, and the rows known so far as pairs of triangles."""

    def __init__(
        self, meshes: Mapping[str, Mesh], placements: Sequence[Placement], clearance_mm: float, hold: Hold
    ) -> None:
        self.placements = tuple(placements)
        trees = {k: tree_of(meshes[k]) for k in sorted({p.part_key for p in placements})}
        self.bodies = [_body(trees[p.part_key], meshes[p.part_key], p) for p in placements]
        self.first = list(self.bodies)
        low, high = self._boxes()
        self.middle = (low + high)[:, :2] / 2
        self.rims = [_rim(b.vertices[np.unique(b.tree.faces)]) for b in self.bodies]
        self.radius = np.array(
            [np.linalg.norm(r - m, axis=1).max() for r, m in zip(self.rims, self.middle, strict=True)]
        )
        self.is_still = np.array([p.piece in hold.still for p in placements], bool)
        may = np.array([p.part_key in hold.turning for p in placements], bool)
        self.most = np.where(may & ~self.is_still, SETTLE_TURN.value, 0.0)
        self.turned: FloatArray = np.zeros(len(placements))
        self.shift: FloatArray = np.zeros((len(placements), 3))
        self.clearance = clearance_mm
        self.extra = np.array([hold.extra_mm.get(p.part_key, 0.0) for p in placements])
        self.facing: dict[Facing, None] = {}
        self.known: dict[tuple[int, int], tuple[float, FloatArray]] = {}
        self._found = np.zeros((256, 2), np.int64)

    def wanted(self, i: int, j: int) -> float:
        """The distance that two pieces are to keep."""
        return self.clearance + float(min(self.extra[i], self.extra[j]))

    @property
    def widest(self) -> float:
        """The largest distance that any two pieces are to keep."""
        return self.clearance + float(self.extra.max(initial=0.0))

    def _boxes(self) -> tuple[FloatArray, FloatArray]:
        return np.array([b.boxes[0, :3] for b in self.bodies]), np.array([b.boxes[0, 3:] for b in self.bodies])

    def boxes(self) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest corners (n, 3) as the pieces stand now."""
        low, high = self._boxes()
        return low + self.shift, high + self.shift

    def pairs(self, reach_mm: float) -> list[tuple[int, int]]:
        """Pairs, not both still, whose boxes are nearer than `reach_mm`, as they stand now."""
        low, high = self.boxes()
        out = []
        for i in range(len(low)):
            gap = np.maximum(np.maximum(low[i + 1 :] - high[i], low[i] - high[i + 1 :]), 0.0)
            near = np.flatnonzero((gap**2).sum(axis=1) < reach_mm**2) + i + 1
            out += [(i, int(j)) for j in near if not (self.is_still[i] and self.is_still[j])]
        return out

    def near(
        self,
        i: int,
        j: int,
        cut_mm: float,
        share: float,
        step: Step | None = None,
        bodies: Sequence[Body] | None = None,
    ) -> tuple[float, list[Facing]]:
        """Distance of two pieces, after a step, at most `cut_mm`, and triangles that near; see `near_triangles`."""
        a, b = (self.bodies if bodies is None else bodies)[i], (self.bodies if bodies is None else bodies)[j]
        apart = self.shift[j] - self.shift[i]
        if step is not None:
            apart = apart + step.shift[j] - step.shift[i]
        gap2, count = near_triangles(
            a.vertices, a.tree.faces, a.tree.nodes, a.boxes, b.vertices, b.tree.faces, b.tree.nodes, b.boxes,
            apart, cut_mm**2, share, self._found,
        )  # fmt: skip
        return float(np.sqrt(gap2)), [(i, j, int(s), int(t)) for s, t in self._found[:count]]

    def rows(self, reach_mm: float, *, turning: bool) -> Rows:
        """The known pairs of triangles as rows for a step from where the pieces stand now.

        Where two are nearer than wanted already (rounding, a wish not reached), they need only not come nearer.
        """
        k = len(self.facing)
        keys = np.array([*self.facing], np.int64).reshape(-1, 4)
        first, second = np.empty((k, 3, 3)), np.empty((k, 3, 3))
        along, least = np.empty((k, 3)), np.empty(k)
        for n, (i, j, s, t) in enumerate(self.facing):
            a, b = self.bodies[i], self.bodies[j]
            first[n] = a.vertices[a.tree.faces[s]] + self.shift[i]
            second[n] = b.vertices[b.tree.faces[t]] + self.shift[j]
            found = separating(first[n], second[n])
            along[n] = found[:3]
            least[n] = min(self.wanted(i, j) + SETTLE_SLACK.value, found[3]) - found[3]
        owner = np.ascontiguousarray(keys[:, :2])
        if not turning:
            return Rows(owner[:, 0], owner[:, 1], along, least)
        axis = self.middle + self.shift[:, :2]
        far = self.widest + 2 * reach_mm + 2 * SETTLE_TURN.value
        return Rows(
            owner[:, 0],
            owner[:, 1],
            along,
            least,
            spins(first, second, along, axis, self.radius, self.most, owner, far),
        )

    def wall_rows(self, space: NestSpace) -> Rows:
        """Rows that keep the pieces that may turn inside the four walls; the walls are nobody (-1)."""
        m = space.wall_margin_mm
        at = np.array([m, m, m - space.x_mm, m - space.y_mm])
        second, along, least, spin = [], [], [], []
        for i in np.flatnonzero(self.most > 0):
            rim = np.column_stack([self.rim(int(i)) + self.shift[i, :2], np.zeros(len(self.rims[i]))])
            axis = self.middle[i] + self.shift[i, :2]
            for wall, bound in zip(WALLS, at, strict=True):
                second.append(int(i))
                along.append(wall)
                least.append(min(0.0, bound - float((rim @ wall).min())))
                spin.append([0.0, 0.0, *lever(rim, -wall, axis, float(self.radius[i]), float(self.most[i]))])
        n = len(second)
        return Rows(
            np.full(n, -1), np.array(second, np.int64), np.array(along).reshape(n, 3), np.array(least),
            np.array(spin).reshape(n, 4),
        )  # fmt: skip

    def rim(self, i: int) -> FloatArray:
        """(k, 2) the outline of a piece from above as it is turned now, before its shift."""
        return np.asarray((self.rims[i] - self.middle[i]) @ turn_z(float(self.turned[i]))[:2, :2].T + self.middle[i])

    def after(self, turn: FloatArray) -> list[Body]:
        """The bodies after a further turn (n,) in mm at the rim."""
        out = list(self.bodies)
        for i in np.flatnonzero(turn):
            angle = self.turned[i] + turn[i] / self.radius[i]
            axis = np.array([*self.middle[i], 0.0])
            old = self.first[i]
            v = np.ascontiguousarray((old.vertices - axis) @ turn_z(float(angle)).T + axis)
            out[i] = Body(old.tree, v, boxes_of(v, old.tree.faces, old.tree.nodes))
        return out

    def go(self, step: Step) -> None:
        """Take a step."""
        self.bodies = self.after(step.turn)
        self.turned = self.turned + np.where(step.turn != 0, step.turn / np.maximum(self.radius, 1e-12), 0.0)
        self.shift = self.shift + step.shift
        if step.turn.any():
            self.known = {k: v for k, v in self.known.items() if not (step.turn[k[0]] or step.turn[k[1]])}

    def moved(self, step: Step | None = None) -> tuple[Placement, ...]:
        """The placements as the pieces stand now, or after a step."""
        shift, turned = self.shift, self.turned
        if step is not None:
            shift = shift + step.shift
            turned = turned + np.where(step.turn != 0, step.turn / np.maximum(self.radius, 1e-12), 0.0)
        return tuple(
            _placed(p, d, float(a), m) for p, d, a, m in zip(self.placements, shift, turned, self.middle, strict=True)
        )


def shifted(p: Placement, by: FloatArray) -> Placement:
    """A placement moved by (3,) mm."""
    at = np.asarray(p.translation) + by
    return replace(p, translation=at, z_min_mm=p.z_min_mm + float(by[2]), z_max_mm=p.z_max_mm + float(by[2]))


def _placed(p: Placement, by: FloatArray, angle: float, middle: FloatArray) -> Placement:
    if angle == 0.0:
        return shifted(p, by)
    turn, axis = turn_z(angle), np.array([*middle, 0.0])
    at = turn @ (np.asarray(p.translation) - axis) + axis
    return shifted(replace(p, rotation=turn @ np.asarray(p.rotation), translation=at), by)


def _body(tree: Tree, mesh: Mesh, p: Placement) -> Body:
    v = np.ascontiguousarray(mesh.vertices @ np.asarray(p.rotation).T + np.asarray(p.translation))
    return Body(tree, v, boxes_of(v, tree.faces, tree.nodes))


def _rim(vertices: FloatArray) -> FloatArray:
    """(k, 2) corners of the outline from above."""
    flat = np.unique(vertices[:, :2], axis=0)
    try:
        return np.asarray(flat[ConvexHull(flat).vertices])
    except QhullError:  # seen from above it is a line or a point
        return np.asarray(flat)
