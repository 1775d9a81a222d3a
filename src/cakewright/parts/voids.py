"""Sealed cavities: shells that bound powder, not material."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.topology import Topology


@dataclass(frozen=True, slots=True)
class Void:
    """A sealed cavity: its shell, volume and a point on its wall."""

    shell: int
    volume_mm3: float
    at_mm: tuple[float, float, float]


def sealed_voids(mesh: Mesh, topology: Topology, volumes: FloatArray) -> tuple[Void, ...]:
    """Shells that face inwards (negative volume) in an otherwise positive mesh, largest first.

    Such a shell bounds empty space, and being closed it has no opening: powder inside stays there.
    """
    found = []
    for shell in np.flatnonzero(volumes < 0):
        triangle = int(np.flatnonzero(topology.shell_of == shell)[0])
        x, y, z = (float(v) for v in mesh.vertices[mesh.faces[triangle]].mean(axis=0))
        found.append(Void(int(shell), float(-volumes[shell]), (x, y, z)))
    return tuple(sorted(found, key=lambda void: -void.volume_mm3))
