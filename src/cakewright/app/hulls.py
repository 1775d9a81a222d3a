"""The convex hull of a mesh, worked out once for as long as the mesh is there."""

from __future__ import annotations

from weakref import WeakKeyDictionary

from scipy.spatial import ConvexHull, QhullError

from cakewright.model.mesh import Mesh

_known: WeakKeyDictionary[Mesh, ConvexHull | None] = WeakKeyDictionary()


def hull_of(mesh: Mesh) -> ConvexHull | None:
    """The convex hull (volume mm³, area mm², corners, planes); None for a mesh that is flat."""
    if mesh not in _known:
        try:
            _known[mesh] = ConvexHull(mesh.vertices)
        except QhullError:
            _known[mesh] = None
    return _known[mesh]
