"""Which triangles share which edges: the base of every question about closedness."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.parts.joins import join, numbered


@dataclass(frozen=True, eq=False)
class Topology:
    """Edges of a mesh, each counted once.

    `ends` (e, 2): vertex indices, lower first. `uses` (e,): triangles on the edge. `forward` (e,):
    how many of them run from lower to higher vertex; a well-wound closed mesh has `uses` 2 and
    `forward` 1 everywhere. `edge_of` (m, 3): the edge from corner k to corner k + 1 of each triangle.
    `shell_of` (m,): number of the edge-connected shell of each triangle; `shells`: how many.
    """

    ends: IntArray
    uses: IntArray
    forward: IntArray
    edge_of: IntArray
    shell_of: IntArray
    shells: int

    @cached_property
    def open_edges(self) -> NDArray[np.intp]:
        """Edges with a triangle on one side only."""
        return np.flatnonzero(self.uses == 1)

    @cached_property
    def crowded_edges(self) -> NDArray[np.intp]:
        """Edges with more than two triangles."""
        return np.flatnonzero(self.uses > 2)

    @cached_property
    def clashing_edges(self) -> NDArray[np.intp]:
        """Edges whose triangles do not run in opposite directions two by two."""
        return np.flatnonzero((self.uses > 1) & (2 * self.forward != self.uses))

    @property
    def is_closed(self) -> bool:
        """True when every edge has exactly two triangles."""
        return bool((self.uses == 2).all())

    @property
    def is_oriented(self) -> bool:
        """True when neighbours agree on which side is outside."""
        return len(self.clashing_edges) == 0

    @property
    def bounds_a_volume(self) -> bool:
        """True when every edge is crossed as often one way as the other: the signed volume then has a meaning."""
        return bool((2 * self.forward == self.uses).all())


def topology_of(mesh: Mesh) -> Topology:
    """Sort the edges of `mesh` and join triangles that share one into shells. O(m log m)."""
    start = mesh.faces.astype(np.int64)
    end = np.roll(start, -1, axis=1)
    low, high = np.minimum(start, end).ravel(), np.maximum(start, end).ravel()
    keys = low * len(mesh.vertices) + high
    order = np.argsort(keys)
    is_first = np.ones(len(keys), dtype=bool)
    ordered = keys[order]
    is_first[1:] = ordered[1:] != ordered[:-1]
    number = np.cumsum(is_first) - 1
    edge_of = np.empty(len(keys), dtype=np.int32)
    edge_of[order] = number
    heads = order[is_first]
    count = len(heads)
    forward = np.bincount(edge_of, weights=(start < end).ravel(), minlength=count).astype(np.int32)
    uses = np.bincount(edge_of, minlength=count).astype(np.int32)
    shell_of, shells = _join(edge_of.reshape(-1, 3), count)
    ends = np.column_stack([low[heads], high[heads]]).astype(np.int32)
    return Topology(ends, uses, forward, edge_of.reshape(-1, 3), shell_of, int(shells))


@kernel
def _join(edge_of: IntArray, edges: int) -> tuple[IntArray, int]:
    """Union-find over triangles through their edges; shells are numbered by their first triangle."""
    m = edge_of.shape[0]
    parent = np.arange(m)
    seen = np.full(edges, -1, np.int64)
    for t in range(m):
        for k in range(3):
            e = edge_of[t, k]
            if seen[e] < 0:
                seen[e] = t
                continue
            join(parent, t, seen[e])
    return numbered(parent)


def shell_volumes(mesh: Mesh, topology: Topology) -> FloatArray:
    """Signed volume of each shell, (shells,) mm³; negative for a shell that faces inwards: a void."""
    middle = mesh.box_mm.mean(axis=0)
    a, b, c = (mesh.vertices[mesh.faces[:, k]] - middle for k in range(3))
    six = np.einsum("ij,ij->i", a, np.cross(b, c))
    return np.asarray(np.bincount(topology.shell_of, weights=six, minlength=topology.shells) / 6.0)
