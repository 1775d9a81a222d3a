"""Is the mesh a solid? Open, crowded and clashing edges, no volume, inside out, voids, several bodies."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding, Severity
from cakewright.model.mesh import Mesh
from cakewright.model.part import Measures
from cakewright.parts.bodies import check_bodies
from cakewright.parts.measure import triangle_areas
from cakewright.parts.topology import Topology

NO_VOLUME = 1e-9  # of surface times longest edge: rounding, not material
FLAT_HEIGHT = 1e-6  # of the longest edge of the box: below it a triangle is a line
Place = tuple[float, float, float]


def check_solid(mesh: Mesh, measures: Measures, topology: Topology, where: str) -> Iterator[Finding]:
    """Findings on closedness, winding and bodies of a mesh in mm."""
    yield from _edges(mesh, topology, where)
    yield from _faces(mesh, topology, where)
    if abs(measures.volume_mm3) < NO_VOLUME * measures.area_mm2 * max(measures.size_mm):
        yield Finding(
            "mesh.no-volume",
            Severity.BLOCKING,
            "the mesh encloses no volume: it has zero thickness",
            where,
            "give the part a thickness in the design program and export it again",
        )
    elif measures.is_watertight and measures.is_oriented:
        if measures.volume_mm3 < 0:
            yield Finding(
                "mesh.inside-out",
                Severity.BLOCKING,
                "all faces look inwards: the volume is negative",
                where,
                "try the repair, which turns all faces",
            )
        else:
            yield from check_bodies(mesh, topology, where)


def _edges(mesh: Mesh, topology: Topology, where: str) -> Iterator[Finding]:
    if len(topology.open_edges):
        n, loops = len(topology.open_edges), open_loops(topology)
        yield Finding(
            "mesh.open-edges",
            Severity.BLOCKING,
            f"the surface is not closed: {n} open edges in {loops} {'loop' if loops == 1 else 'loops'}",
            where,
            "try the repair, or close the surface in the design program and export it again",
            _place(mesh, topology, topology.open_edges),
        )
    if len(topology.crowded_edges):
        yield Finding(
            "mesh.crowded-edges",
            Severity.WARNING,
            f"{len(topology.crowded_edges)} edges have more than two triangles: bodies touch or faces are double",
            where,
            "separate or join the bodies in the design program, or try the repair",
            _place(mesh, topology, topology.crowded_edges),
        )
    clash = topology.clashing_edges
    if len(clash):
        yield Finding(
            "mesh.inconsistent-winding",
            Severity.BLOCKING,
            f"neighbouring faces disagree about inside and outside along {len(clash)} edges",
            where,
            "try the repair, which turns faces to agree",
            _place(mesh, topology, clash),
        )


def _faces(mesh: Mesh, topology: Topology, where: str) -> Iterator[Finding]:
    """Faces that are there twice, and faces without area."""
    double = double_faces(mesh)
    if len(double):
        yield Finding(
            "mesh.double-faces",
            Severity.WARNING,
            f"{len(double)} triangles stand at the place of another: volume and price would count twice",
            where,
            "try the repair, which drops them",
            _of_triangle(mesh, int(double[0])),
        )
    flat = flat_faces(mesh)
    if len(flat):
        is_sound = topology.is_closed and topology.is_oriented
        yield Finding(
            "mesh.degenerate-faces",
            Severity.NOTE if is_sound else Severity.WARNING,
            "1 triangle has no area" if len(flat) == 1 else f"{len(flat)} triangles have no area",
            where,
            "nothing: they are harmless here" if is_sound else "try the repair, which drops them",
            _of_triangle(mesh, int(flat[0])),
        )


def double_faces(mesh: Mesh) -> NDArray[np.intp]:
    """Triangles whose three vertices an earlier triangle has, in either sense."""
    corners = np.sort(mesh.faces, axis=1).astype(np.int64)
    n = len(mesh.vertices)
    order = np.lexsort((corners[:, 2], corners[:, 0] * n + corners[:, 1]))
    same = (corners[order[1:]] == corners[order[:-1]]).all(axis=1)
    return np.sort(order[1:][same])


def flat_faces(mesh: Mesh) -> NDArray[np.intp]:
    """Triangles with a repeated vertex or with a height below a millionth of the part."""
    corners = mesh.triangles
    longest = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2).max(axis=1)
    height = np.divide(2 * triangle_areas(mesh), longest, out=np.zeros_like(longest), where=longest > 0)
    return np.flatnonzero(height <= FLAT_HEIGHT * float(mesh.size_mm.max()))


def open_loops(topology: Topology) -> int:
    """Number of connected chains of open edges."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    ends = topology.ends[topology.open_edges]
    nodes, index = np.unique(ends, return_inverse=True)
    pairs = index.reshape(-1, 2)
    links = coo_array((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(len(nodes), len(nodes)))
    return int(connected_components(links, directed=False)[0])


def _of_triangle(mesh: Mesh, triangle: int) -> Place:
    x, y, z = (float(v) for v in mesh.vertices[mesh.faces[triangle]].mean(axis=0))
    return (x, y, z)


def _place(mesh: Mesh, topology: Topology, edges: NDArray[np.intp]) -> Place:
    x, y, z = (float(v) for v in mesh.vertices[topology.ends[edges[0]]].mean(axis=0))
    return (x, y, z)
