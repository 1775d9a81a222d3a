"""One mesh object for one geometry: what is worked out about a shape is kept beside its mesh and found again.

Matters where equal files come in under several lines, and on a cluster, where every call brings its own copies.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import replace
from threading import Lock

from cakewright.model.mesh import Mesh
from cakewright.model.part import Part

MOST_BYTES = 500_000_000  # chosen by us: the parts of a large day; the ones used longest ago go first


class SharedMeshes:
    """Meshes by their geometry, as many as fit."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most, self._bytes = most_bytes, 0
        self._kept: OrderedDict[str, Mesh] = OrderedDict()
        self._lock = Lock()

    def mesh(self, mesh: Mesh) -> Mesh:
        """The first mesh seen with this geometry."""
        with self._lock:
            found = self._kept.get(mesh.sha256)
            if found is not None:
                self._kept.move_to_end(mesh.sha256)
                return found
            self._kept[mesh.sha256] = mesh
            self._bytes += _bytes(mesh)
            while self._bytes > self._most and len(self._kept) > 1:
                _, gone = self._kept.popitem(last=False)
                self._bytes -= _bytes(gone)
        return mesh

    def parts(self, parts: Mapping[str, Part]) -> dict[str, Part]:
        """The parts with the meshes seen first."""
        return {key: replace(part, mesh=self.mesh(part.mesh)) for key, part in parts.items()}

    def __len__(self) -> int:
        return len(self._kept)


def _bytes(mesh: Mesh) -> int:
    return mesh.vertices.nbytes + mesh.faces.nbytes


HERE = SharedMeshes()  # of a worker of a crew: what its calls share; a program that plans by itself does not use it
