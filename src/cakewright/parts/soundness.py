"""Is the mesh a solid? Open, crowded and clashing edges, no volume, inside out, voids, several bodies."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding, Severity
from cakewright.model.mesh import Mesh
from cakewright.model.part import Measures
from cakewright.parts.topology import Topology, shell_volumes
from cakewright.parts.voids import Void, sealed_voids
from cakewright.sources import parts as limits
from cakewright.units import MM3_PER_CM3

NO_VOLUME = 1e-9  # of the box of the longest edge cubed: rounding, not material
Place = tuple[float, float, float]


def check_solid(mesh: Mesh, measures: Measures, topology: Topology, where: str) -> Iterator[Finding]:
    """Findings on closedness, winding and bodies of a mesh in mm."""
    yield from _edges(mesh, topology, where)
    if abs(measures.volume_mm3) < NO_VOLUME * max(measures.size_mm) ** 3:
        yield Finding(
            "mesh.no-volume",
            Severity.BLOCKING,
            "the mesh encloses no volume: it has zero thickness",
            where,
            "give the part a thickness in the design program and export it again",
        )
    elif measures.is_watertight and measures.is_oriented:
        yield from _bodies(mesh, measures, topology, where)


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


def _bodies(mesh: Mesh, measures: Measures, topology: Topology, where: str) -> Iterator[Finding]:
    if measures.volume_mm3 < 0:
        yield Finding(
            "mesh.inside-out",
            Severity.BLOCKING,
            "all faces look inwards: the volume is negative",
            where,
            "try the repair, which turns all faces",
        )
        return
    volumes = shell_volumes(mesh, topology)
    voids = sealed_voids(mesh, topology, volumes)
    for void in voids:
        if void.volume_mm3 >= float(limits.SMALLEST_VOID):
            yield _sealed(void, where)
    bodies = int((volumes > 0).sum())
    if bodies > 1:
        yield Finding(
            "part.several-bodies",
            Severity.WARNING,
            f"the file holds {bodies} separate bodies",
            where,
            "confirm that they belong together as one piece; otherwise send one file for each",
        )


def _sealed(void: Void, where: str) -> Finding:
    return Finding(
        "part.sealed-void",
        Severity.WARNING,
        f"a sealed cavity of {void.volume_mm3 / MM3_PER_CM3:.3g} cm³ will stay full of powder: it has no opening",
        where,
        "ask for openings, or agree that the powder stays inside and weighs",
        void.at_mm,
    )


def open_loops(topology: Topology) -> int:
    """Number of connected chains of open edges."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    ends = topology.ends[topology.open_edges]
    nodes, index = np.unique(ends, return_inverse=True)
    pairs = index.reshape(-1, 2)
    links = coo_array((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(len(nodes), len(nodes)))
    return int(connected_components(links, directed=False)[0])


def _place(mesh: Mesh, topology: Topology, edges: NDArray[np.intp]) -> Place:
    x, y, z = (float(v) for v in mesh.vertices[topology.ends[edges[0]]].mean(axis=0))
    return (x, y, z)
