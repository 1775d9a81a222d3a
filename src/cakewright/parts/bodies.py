"""Several bodies in one file, and surfaces that pass through each other."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding, Severity
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.parts.crossings import crossing_pairs, winding_number
from cakewright.parts.topology import Topology, shell_volumes, topology_of
from cakewright.parts.weld import weld_exact
from cakewright.sources import parts as limits
from cakewright.units import MM3_PER_CM3

MOST_SHELLS_NESTED = 60  # shells for which containment is asked: it costs shells x triangles
Place = tuple[float, float, float]


def check_bodies(mesh: Mesh, topology: Topology, where: str) -> Iterator[Finding]:
    """Findings on bodies of a closed, oriented mesh with positive volume: voids, overlaps, distance, crossings."""
    volumes = shell_volumes(mesh, topology)
    # the tip of a needle of zero volume is neither body nor void
    bodies = np.flatnonzero(volumes > 0)
    voids, inverted = _voids(mesh, topology, volumes)
    yield from _sealed(mesh, topology, volumes, voids, where)
    if len(inverted):
        yield Finding("mesh.inside-out", Severity.BLOCKING, f"{len(inverted)} bodies look inwards", where,
                      "try the repair, which turns their faces", _corner(mesh, topology, inverted[0]))  # fmt: skip
    yield from _crossed(mesh, topology, where)
    if len(bodies) < 2:
        return
    yield Finding(
        "part.several-bodies",
        Severity.WARNING,
        f"the file holds {len(bodies)} separate bodies",
        where,
        "confirm that they belong together as one piece; otherwise send one file for each",
    )
    yield from _nested(mesh, topology, bodies, where)
    yield from _far_apart(mesh, topology, bodies, where)
    yield from _touching(mesh, topology, where)


def _voids(mesh: Mesh, topology: Topology, volumes: FloatArray) -> tuple[list[int], list[int]]:
    """Shells of negative volume: those inside material are voids, the others bodies turned inside out."""
    negative = [int(s) for s in np.flatnonzero(volumes < 0)]
    if len(negative) > MOST_SHELLS_NESTED:
        return negative, []
    voids: list[int] = []
    inverted: list[int] = []
    for shell in negative:
        others = mesh.triangles[topology.shell_of != shell]
        point = np.asarray(mesh.vertices[mesh.faces[np.argmax(topology.shell_of == shell), 0]])
        (voids if winding_number(others, point) > 0.5 else inverted).append(shell)
    return voids, inverted


def _sealed(mesh: Mesh, topology: Topology, volumes: FloatArray, voids: list[int], where: str) -> Iterator[Finding]:
    for shell in sorted(voids, key=lambda s: float(volumes[s])):
        volume = -float(volumes[shell])
        if volume >= float(limits.SMALLEST_VOID):
            yield Finding(
                "part.sealed-void",
                Severity.WARNING,
                f"a sealed cavity of {volume / MM3_PER_CM3:.3g} cm³ will stay full of powder: it has no opening",
                where,
                "ask for openings, or agree that the powder stays inside and weighs",
                _corner(mesh, topology, shell),
                volume / MM3_PER_CM3,
                unit="cm³",
            )


def _crossed(mesh: Mesh, topology: Topology, where: str) -> Iterator[Finding]:
    depth = min(float(limits.CROSSING_DEPTH), 1e-4 * float(mesh.size_mm.max()))
    pairs = crossing_pairs(mesh, depth)
    if len(pairs) == 0:
        return
    shells = topology.shell_of[pairs]
    own = shells[:, 0] == shells[:, 1]
    if own.any():
        yield Finding(
            "mesh.self-intersection",
            Severity.WARNING,
            f"the surface passes through itself at {int(own.sum())} pairs of triangles: inside and outside are unclear",
            where,
            "join the features in the design program and export the part again",
            _middle(mesh, pairs[own][0]),
            float(own.sum()),
            0.0,
            "pairs of triangles",
        )
    if not own.all():
        touched = len(np.unique(shells[~own], axis=0))
        yield Finding(
            "part.overlapping-bodies",
            Severity.WARNING,
            f"bodies overlap ({touched} pairs): the shared volume is counted twice",
            where,
            "join them in the design program; weight and price are too high until then",
            _middle(mesh, pairs[~own][0]),
        )


def _nested(mesh: Mesh, topology: Topology, bodies: NDArray[np.intp], where: str) -> Iterator[Finding]:
    if len(bodies) > MOST_SHELLS_NESTED:
        return
    for shell in bodies:
        others = mesh.triangles[topology.shell_of != shell]
        middle = np.asarray(mesh.vertices[mesh.faces[np.argmax(topology.shell_of == shell)]].mean(axis=0))
        if winding_number(others, middle) > 0.5:
            yield Finding(
                "part.nested-bodies",
                Severity.WARNING,
                "a body lies inside the material of another: its volume is counted twice",
                where,
                "if it was meant as a hollow, its faces must look the other way; otherwise remove it",
                _corner(mesh, topology, int(shell)),
            )
            return


def _far_apart(mesh: Mesh, topology: Topology, bodies: NDArray[np.intp], where: str) -> Iterator[Finding]:
    """Boxes of bodies that no chain of near neighbours joins: the box of the file is then mostly air."""
    boxes = [_box(mesh, topology, int(s)) for s in bodies[:200]]
    longest = max(float((high - low).max()) for low, high in boxes)
    joined, waiting, gap = {0}, set(range(1, len(boxes))), 0.0
    while waiting:
        near = min(waiting, key=lambda k: min(_gap(boxes[k], boxes[j]) for j in joined))
        gap = max(gap, min(_gap(boxes[near], boxes[j]) for j in joined))
        joined.add(near)
        waiting.discard(near)
    if gap > float(limits.FAR_APART) * longest:
        yield Finding(
            "part.bodies-far-apart",
            Severity.WARNING,
            f"bodies lie far apart, with {gap:.0f} mm of air between them: the box of the file says little",
            where,
            "send one file for each body, or confirm that they must keep their distance",
            None,
            gap,
            float(limits.FAR_APART) * longest,
            "mm",
        )


def _touching(mesh: Mesh, topology: Topology, where: str) -> Iterator[Finding]:
    """Bodies with vertices of their own that stand at the same place along an edge."""
    used = np.unique(mesh.faces)
    vertices, index = weld_exact(mesh.vertices)
    if len(np.unique(index[used])) == len(used):
        return
    welded = topology_of(Mesh(vertices, index[mesh.faces]))
    if len(welded.crowded_edges):
        x, y, z = (float(v) for v in vertices[welded.ends[welded.crowded_edges[0]]].mean(axis=0))
        yield Finding(
            "part.touching-bodies",
            Severity.WARNING,
            f"bodies touch along {len(welded.crowded_edges)} edges without being joined",
            where,
            "join or separate them in the design program: along an edge nothing holds",
            (x, y, z),
        )


def _box(mesh: Mesh, topology: Topology, shell: int) -> tuple[FloatArray, FloatArray]:
    points = mesh.vertices[mesh.faces[topology.shell_of == shell]].reshape(-1, 3)
    return np.asarray(points.min(axis=0)), np.asarray(points.max(axis=0))


def _gap(a: tuple[FloatArray, FloatArray], b: tuple[FloatArray, FloatArray]) -> float:
    apart = np.maximum(np.maximum(a[0] - b[1], b[0] - a[1]), 0.0)
    return float(np.linalg.norm(apart))


def _corner(mesh: Mesh, topology: Topology, shell: int) -> Place:
    triangle = int(np.argmax(topology.shell_of == shell))
    x, y, z = (float(v) for v in mesh.vertices[mesh.faces[triangle]].mean(axis=0))
    return (x, y, z)


def _middle(mesh: Mesh, pair: IntArray) -> Place:
    x, y, z = (float(v) for v in mesh.vertices[mesh.faces[pair[0]]].mean(axis=0))
    return (x, y, z)
