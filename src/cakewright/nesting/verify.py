"""The independent check of a nest: exact distances between the real triangles, containment, walls.

Shares no code with the search. Boxes sort out pairs that are far apart; for the others two trees of
boxes are walked together and the distance of the remaining triangles is computed exactly in double
precision. A piece that lies wholly inside another one meets none of its triangles, so one point of
each connected shell is also tested against the solid of the other piece.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from cakewright.errors import InputError
from cakewright.model.build import PairGap, Placement, Verification
from cakewright.model.kept import Kept
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.nesting.overlap import thickness_shared
from cakewright.nesting.task import NestSpace
from cakewright.nesting.trees import Tree, boxes_of, meshes_gap2, tree_of, winding
from cakewright.sources.nesting import GAP_TOLERANCE


@dataclass(frozen=True, eq=False)
class _Standing:
    """A piece in chamber coordinates."""

    piece: str
    tree: Tree
    vertices: FloatArray
    boxes: FloatArray
    witnesses: IntArray

    @property
    def low(self) -> FloatArray:
        return np.asarray(self.boxes[0, :3])

    @property
    def high(self) -> FloatArray:
        return np.asarray(self.boxes[0, 3:])


def _witnesses(mesh: Mesh) -> IntArray:
    """One vertex number of each connected shell."""
    f = mesh.faces
    links = np.concatenate([f[:, [0, 1]], f[:, [1, 2]]])
    n = len(mesh.vertices)
    _, same = np.unique(mesh.vertices, axis=0, return_inverse=True)
    joined = same.reshape(-1)[links]
    graph = coo_matrix((np.ones(len(joined), bool), (joined[:, 0], joined[:, 1])), shape=(n, n))
    _, shell = connected_components(graph, directed=False)
    used = np.unique(f)
    _, first = np.unique(shell[same.reshape(-1)[used]], return_index=True)
    return np.asarray(used[first], dtype=np.int32)


_trees: Kept[Mesh, tuple[Tree, IntArray]] = Kept(256)
_boxes: Kept[Mesh, FloatArray] = Kept(4096)


def _tree(mesh: Mesh) -> tuple[Tree, IntArray]:
    """The boxes of a mesh and its witnesses, kept for the next look at the same nest."""
    return _trees.get(mesh, None, lambda: (tree_of(mesh), _witnesses(mesh)))


def _stand(meshes: Mapping[str, Mesh], placements: Sequence[Placement]) -> list[_Standing]:
    out = []
    for p in placements:
        if p.part_key not in meshes:
            raise InputError(f"piece {p.piece}: part {p.part_key!r} has no mesh", remedy="give a mesh for each part")
        mesh = meshes[p.part_key]
        tree, witnesses = _tree(mesh)
        vertices = np.ascontiguousarray(mesh.vertices @ np.asarray(p.rotation).T + np.asarray(p.translation))
        out.append(_Standing(p.piece, tree, vertices, boxes_of(vertices, tree.faces, tree.nodes), witnesses))
    return out


def _near_pairs(standing: Sequence[_Standing], reach_mm: float) -> Iterator[tuple[int, int]]:
    """Pairs whose boxes are nearer than `reach_mm`, swept along x."""
    low = np.array([s.low for s in standing]).reshape(-1, 3)
    high = np.array([s.high for s in standing]).reshape(-1, 3)
    order = np.argsort(low[:, 0], kind="stable")
    for k, i in enumerate(order):
        later = order[k + 1 :]
        later = later[: int(np.searchsorted(low[later, 0], high[i, 0] + reach_mm, side="right"))]
        gap = np.maximum(np.maximum(low[later] - high[i], low[i] - high[later]), 0.0)
        for j in later[(gap**2).sum(axis=1) <= reach_mm**2]:
            yield int(i), int(j)


def _lies_in(inner: _Standing, outer: _Standing) -> bool:
    """True when a shell of `inner` starts inside the solid of `outer`."""
    for vertex in inner.witnesses:
        point = inner.vertices[vertex]
        in_box = (point >= outer.low).all() and (point <= outer.high).all()
        if in_box and abs(winding(point, outer.vertices, outer.tree.faces)) > 0.5:
            return True
    return False


def _gap(a: _Standing, b: _Standing, cut_mm: float) -> float:
    """Distance of two pieces, exact below `cut_mm`; 0 when one lies in the other."""
    gap2 = meshes_gap2(
        a.vertices, a.tree.faces, a.tree.nodes, a.boxes, b.vertices, b.tree.faces, b.tree.nodes, b.boxes, cut_mm**2
    )
    if gap2 > 0.0 and (_lies_in(a, b) or _lies_in(b, a)):
        return 0.0
    return float(np.sqrt(gap2))


def _share(a: _Standing, b: _Standing) -> bool:
    """True when two touching pieces have more than a skin of the tolerance in common."""
    tolerance = GAP_TOLERANCE.value
    return thickness_shared(a.vertices, a.tree.faces, b.vertices, b.tree.faces, tolerance) > tolerance


def _outside(s: _Standing, space: NestSpace) -> float:
    """How far a piece crosses wall margin, floor or ceiling, mm; 0 when inside."""
    m = space.wall_margin_mm
    low = np.array([m, m, 0.0]) - s.low
    high = s.high - np.array([space.x_mm - m, space.y_mm - m, space.height_mm])
    return float(max(0.0, low.max(), high.max()))


def near_boxes(
    meshes: Mapping[str, Mesh], placements: Sequence[Placement], names: Collection[str], reach_mm: float
) -> tuple[Placement, ...]:
    """The named pieces and those whose boxes are nearer to one of theirs than `reach_mm`."""
    boxes = np.array([_box(meshes[p.part_key], p) for p in placements]).reshape(-1, 2, 3)
    named = np.array([p.piece in names for p in placements], bool)
    gap = np.maximum(boxes[:, None, 0] - boxes[None, named, 1], boxes[None, named, 0] - boxes[:, None, 1])
    near = (np.maximum(gap, 0.0) ** 2).sum(axis=2).min(axis=1, initial=np.inf) <= reach_mm**2
    return tuple(p for p, is_near in zip(placements, near | named, strict=True) if is_near)


def _box(mesh: Mesh, p: Placement) -> FloatArray:
    """(2, 3): lowest and highest corner of a placed mesh."""

    def box() -> FloatArray:
        at = mesh.vertices[np.unique(mesh.faces)] @ np.asarray(p.rotation).T + np.asarray(p.translation)
        return np.stack([at.min(axis=0), at.max(axis=0)])

    return _boxes.get(mesh, p, box)


def verify_nest(
    meshes: Mapping[str, Mesh],
    placements: Sequence[Placement],
    space: NestSpace,
    clearance_mm: float,
    *,
    clock: Callable[[], float],
    only: Mapping[str, int] | None = None,
) -> Verification:
    """Check every pair and every wall on the exact meshes; with `only` the pairs and walls of these pieces.

    `only` gives each piece a number: pieces of the same number moved as one, so their distances are as they were.

    Gaps short of `clearance_mm` by less than `sources.nesting.GAP_TOLERANCE` count as kept; at zero
    clearance pieces may touch, and a penetration deeper than the tolerance is a violation.
    `clock` returns seconds and is only used to say how long the check took.
    """
    start = clock()
    reach = max(2 * clearance_mm, 1.0)
    standing = _stand(meshes, placements if only is None else near_boxes(meshes, placements, only, reach))
    tolerance = GAP_TOLERANCE.value
    asked = {s.piece: n for n, s in enumerate(standing)} if only is None else only
    outside = tuple((s.piece, d) for s in standing if s.piece in asked and (d := _outside(s, space)) > tolerance)
    tightest: PairGap | None = None
    violations = []
    checked = 0
    for i, j in _near_pairs(standing, reach):
        a, b = standing[i], standing[j]
        if asked.get(a.piece) == asked.get(b.piece):
            continue
        checked += 1
        cut = max(clearance_mm, 2 * tolerance, reach if tightest is None else tightest.gap_mm)
        gap = _gap(a, b, cut)
        if gap < cut and (tightest is None or gap < tightest.gap_mm):
            tightest = PairGap(a.piece, b.piece, gap)
        if gap < clearance_mm - tolerance or (clearance_mm <= tolerance and gap <= tolerance and _share(a, b)):
            violations.append(PairGap(a.piece, b.piece, gap))
    return Verification(clearance_mm, tightest, tuple(violations), outside, checked, clock() - start)


def tightest_pair(meshes: Mapping[str, Mesh], placements: Sequence[Placement], reach_mm: float) -> PairGap | None:
    """The two pieces nearest to each other with their exact gap; None when no two are nearer than `reach_mm`."""
    standing = _stand(meshes, placements)
    found: PairGap | None = None
    for i, j in _near_pairs(standing, reach_mm):
        cut = reach_mm if found is None else found.gap_mm
        gap = _gap(standing[i], standing[j], cut)
        if gap < cut:
            found = PairGap(standing[i].piece, standing[j].piece, gap)
    return found
