"""Closing small holes: loops of open edges, cut into triangles."""

from __future__ import annotations

from collections import defaultdict
from typing import Protocol

import numpy as np

from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.parts.measure import triangle_areas
from cakewright.parts.polygons import triangulate
from cakewright.parts.topology import Topology, topology_of
from cakewright.sources import parts as limits

Place = tuple[float, float, float]


class Told(Protocol):
    """Takes what was done, with a code and a place."""

    def __call__(self, code: str, what: str, at_mm: Place | None = None) -> None:
        """Note one step of the repair."""
        ...


class Refused(Protocol):
    """Takes what was not done, with a place."""

    def __call__(self, what: str, at_mm: Place | None = None) -> None:
        """Note one thing left undone."""
        ...


def fill_holes(mesh: Mesh, told: Told, refused: Refused) -> tuple[Mesh, float]:
    """Close every hole that is small against the part; larger ones are refused with size and place.

    Returns the mesh and the half span of the largest closed hole, mm: no added point is further from old surface.
    """
    topology = topology_of(mesh)
    if len(topology.open_edges) == 0:
        return mesh, 0.0
    total = float(triangle_areas(mesh).sum())
    added: list[IntArray] = []
    furthest = 0.0
    for loop in boundary_loops(mesh, topology):
        points = mesh.vertices[loop]
        place = _middle(points)
        cut, is_clean = triangulate(points)
        area = float(triangle_areas(Mesh(points, cut)).sum())
        if not is_clean:
            refused(f"a hole of {len(loop)} edges is too crooked to be closed", place)
        elif area > float(limits.HOLE_SHARE) * total:
            refused(f"a hole of {len(loop)} edges, {_mm2(area)} ({area / total:.0%} of the surface), is too large "
                    "to be closed without guessing", place)  # fmt: skip
        else:
            added.append(loop[cut])
            furthest = max(furthest, float(np.linalg.norm(points - points.mean(axis=0), axis=1).max()))
            told("repair.hole", f"a hole of {len(loop)} edges, {_mm2(area)}, was closed", place)
    if not added:
        return mesh, 0.0
    return Mesh(mesh.vertices, np.vstack([mesh.faces, *added])), furthest


def _mm2(area: float) -> str:
    return f"{area:.0f} mm²" if area >= 100 else f"{area:.3g} mm²"


def boundary_loops(mesh: Mesh, topology: Topology) -> list[IntArray]:
    """Closed chains of open edges, each in the sense in which new faces must run along it."""
    following: dict[int, list[int]] = defaultdict(list)
    is_open = topology.uses == 1
    for triangle, corner in np.argwhere(is_open[topology.edge_of]):
        start, end = mesh.faces[triangle, corner], mesh.faces[triangle, (corner + 1) % 3]
        following[int(end)].append(int(start))
    loops = []
    while following:
        first = next(iter(following))
        chain = [first]
        while following.get(chain[-1]):
            here = following[chain[-1]].pop()
            if not following[chain[-1]]:
                del following[chain[-1]]
            if here in chain:  # a closed piece; what led to it goes on
                cut = chain.index(here)
                loops.append(np.array(chain[cut:], dtype=np.int32))
                chain = chain[: cut + 1]
                if len(chain) == 1 and not following.get(here):
                    break
                continue
            chain.append(here)
        following.pop(first, None)
    return [loop for loop in loops if len(loop) >= 3]


def _middle(points: FloatArray) -> Place:
    x, y, z = (float(v) for v in points.mean(axis=0))
    return (x, y, z)
