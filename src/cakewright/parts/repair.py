"""Repair with a limit: what was done is counted, what would be guesswork is refused with its place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.compiled import kernel
from cakewright.findings import Finding, Severity
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.model.part import Measures
from cakewright.parts.crossings import winding_number
from cakewright.parts.holes import fill_holes
from cakewright.parts.measure import measure
from cakewright.parts.topology import Topology, shell_volumes, topology_of
from cakewright.parts.weld import weld_exact, weld_near
from cakewright.sources import parts as limits

_LOOK = "compare the repaired part with the drawing before planning it"


@dataclass(frozen=True, eq=False)
class Repair:
    """A repaired mesh, what was done to it, and the measures before and after.

    `moved_mm` is the furthest that any surface was moved or added (distance of the farthest new point from the old
    surface's rim). `is_sound` is False when something was refused: the finding `repair.refused` tells where.
    """

    mesh: Mesh
    findings: tuple[Finding, ...]
    before: Measures
    after: Measures
    moved_mm: float

    @property
    def is_sound(self) -> bool:
        """True when the result is closed, oriented and has a positive volume."""
        return self.after.is_watertight and self.after.is_oriented and self.after.volume_mm3 > 0


class _Log:
    """Findings of one repair, in the order of the work."""

    def __init__(self, where: str) -> None:
        self.where, self.findings = where, list[Finding]()

    def did(self, code: str, what: str, at_mm: tuple[float, float, float] | None = None) -> None:
        self.findings.append(Finding(code, Severity.WARNING, what, self.where, _LOOK, at_mm))

    def refused(self, what: str, at_mm: tuple[float, float, float] | None = None) -> None:
        remedy = "repair it in the design program and export it again"
        self.findings.append(Finding("repair.refused", Severity.BLOCKING, what, self.where, remedy, at_mm))


def repair(mesh: Mesh, *, where: str = "") -> Repair:
    """Drop double and needle faces, weld, turn faces to agree, close small holes, and turn bodies outwards.

    Never moves a point by more than `parts.weld_distance` of the part's size, never closes a hole larger than
    `parts.hole_share` of its surface: such a mesh comes back unsound, with a blocking finding at the place.
    """
    log, before = _Log(where), measure(mesh)
    fixed, moved = _welded(_without_doubles(_without_needles(mesh, log), log), log)
    fixed = _agreeing(fixed, log)
    fixed, filled_mm = fill_holes(fixed, log.did, log.refused)
    fixed = _outwards(fixed, log)
    after = measure(fixed)
    if not (after.is_watertight and after.is_oriented) and not any(f.code == "repair.refused" for f in log.findings):
        log.refused(_what_is_left(fixed), _somewhere(fixed))
    if log.findings:
        log.did("repair.result", f"volume {before.volume_cm3:.4g} cm³ before, {after.volume_cm3:.4g} cm³ after; "
                f"nothing moved or added further than {max(moved, filled_mm):.2g} mm")  # fmt: skip
    return Repair(fixed, tuple(log.findings), before, after, max(moved, filled_mm))


def _without_needles(mesh: Mesh, log: _Log) -> Mesh:
    _, index = weld_exact(mesh.vertices)
    f = index[mesh.faces]
    keep = (f[:, 0] != f[:, 1]) & (f[:, 1] != f[:, 2]) & (f[:, 2] != f[:, 0])
    if keep.all() or not keep.any():
        return mesh
    log.did("repair.needles", f"{int((~keep).sum())} triangles without width dropped")
    return Mesh(mesh.vertices, mesh.faces[keep])


def _without_doubles(mesh: Mesh, log: _Log) -> Mesh:
    """Of triangles on the same three vertices keep one; drop both when they look opposite ways."""
    corners = np.sort(mesh.faces, axis=1)
    _, group = np.unique(corners, axis=0, return_inverse=True)
    group = group.ravel()
    if len(np.unique(group)) == len(mesh.faces):
        return mesh
    # the cyclic order tells the sense: even permutations of the sorted corners look one way
    f = mesh.faces
    lowest = np.argmin(f, axis=1)
    rows = np.arange(len(f))
    sense = np.where(f[rows, (lowest + 1) % 3] < f[rows, (lowest + 2) % 3], 1, -1)
    total = np.bincount(group, weights=sense)
    keep = np.zeros(len(f), dtype=bool)
    for wanted in (1, -1):
        of_sense = np.flatnonzero(sense == wanted)
        _, first = np.unique(group[of_sense], return_index=True)
        chosen = of_sense[first]
        keep[chosen[np.sign(total[group[chosen]]) == wanted]] = True
    if not keep.any():
        return mesh
    log.did("repair.doubles", f"{int((~keep).sum())} double triangles dropped")
    return Mesh(mesh.vertices, f[keep])


def _welded(mesh: Mesh, log: _Log) -> tuple[Mesh, float]:
    """Join vertices of open edges that are nearly the same; returns how far a vertex moved at most."""
    topology = topology_of(mesh)
    rim = np.unique(topology.ends[topology.open_edges])
    if len(rim) == 0:
        return mesh, 0.0
    distance = float(limits.WELD_DISTANCE) * float(mesh.size_mm.max())
    kept, index = weld_near(mesh.vertices[rim], distance)
    if len(kept) == len(rim):
        return mesh, 0.0
    first = np.full(len(kept), -1, dtype=np.int32)
    first[index[::-1]] = rim[::-1]
    target = np.arange(len(mesh.vertices), dtype=np.int32)
    target[rim] = first[index]
    f: IntArray = target[mesh.faces]
    keep = (f[:, 0] != f[:, 1]) & (f[:, 1] != f[:, 2]) & (f[:, 2] != f[:, 0])
    if not keep.any():
        return mesh, 0.0
    moved = float(np.linalg.norm(mesh.vertices[target] - mesh.vertices, axis=1).max())
    log.did("repair.welded", f"{len(rim) - len(kept)} vertices joined over gaps of at most {moved:.2g} mm")
    return Mesh(mesh.vertices, f[keep]), moved


def _agreeing(mesh: Mesh, log: _Log) -> Mesh:
    """Turn faces so that neighbours agree, spreading from the first face of each shell."""
    topology = topology_of(mesh)
    if topology.is_oriented:
        return mesh
    flip = _spread(np.ascontiguousarray(mesh.faces), topology.edge_of, topology.uses)
    # the fewer faces of a shell are the wrong ones
    share = np.bincount(topology.shell_of, weights=flip) / np.bincount(topology.shell_of)
    flip = flip ^ (share[topology.shell_of] > 0.5)
    if not flip.any():
        return mesh
    log.did("repair.turned", f"{int(flip.sum())} triangles turned so that neighbours agree")
    return Mesh(mesh.vertices, np.where(flip[:, None], mesh.faces[:, ::-1], mesh.faces))


@kernel
def _spread(faces: IntArray, edge_of: IntArray, uses: IntArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    m = len(faces)
    partner = np.full((len(uses), 2), -1, np.int64)  # corner slots 3 t + k on each edge with two triangles
    for t in range(m):
        for k in range(3):
            e = edge_of[t, k]
            if uses[e] == 2:
                partner[e, 0 if partner[e, 0] < 0 else 1] = 3 * t + k
    flip, seen = np.zeros(m, np.bool_), np.zeros(m, np.bool_)
    stack = np.empty(m, np.int64)
    for start in range(m):
        if seen[start]:
            continue
        seen[start] = True
        stack[0] = start
        depth = 1
        while depth > 0:
            depth -= 1
            t = stack[depth]
            for k in range(3):
                e = edge_of[t, k]
                if uses[e] != 2:
                    continue
                slot = partner[e, 0] if partner[e, 0] != 3 * t + k else partner[e, 1]
                other, j = slot // 3, slot % 3
                if seen[other]:
                    continue
                same = faces[t, k] == faces[other, j]
                flip[other] = flip[t] ^ same
                seen[other] = True
                stack[depth] = other
                depth += 1
    return flip


def _outwards(mesh: Mesh, log: _Log) -> Mesh:
    """Turn closed shells that look the wrong way: outwards when they stand free, inwards never by us."""
    topology = topology_of(mesh)
    if not (topology.is_oriented and topology.bounds_a_volume):
        return mesh
    volumes = shell_volumes(mesh, topology)
    wrong = [int(s) for s in np.flatnonzero(volumes < 0) if not _is_inside(mesh, topology, int(s), volumes)]
    if not wrong:
        return mesh
    flip = np.isin(topology.shell_of, wrong)
    log.did("repair.turned-out", f"{len(wrong)} bodies turned outwards: their volume was negative")
    return Mesh(mesh.vertices, np.where(flip[:, None], mesh.faces[:, ::-1], mesh.faces))


def _is_inside(mesh: Mesh, topology: Topology, shell: int, volumes: FloatArray) -> bool:
    """True when a shell lies in the material of larger ones, whichever way they look."""
    larger = np.flatnonzero(np.abs(volumes) > abs(volumes[shell]))
    others = np.isin(topology.shell_of, larger)
    if not others.any():
        return False
    point = np.asarray(mesh.vertices[mesh.faces[np.argmax(topology.shell_of == shell), 0]])
    return bool(round(abs(winding_number(mesh.triangles[others], point))) % 2 == 1)


def _what_is_left(mesh: Mesh) -> str:
    topology = topology_of(mesh)
    return (
        f"the mesh could not be made sound: {len(topology.open_edges)} open edges, "
        f"{len(topology.crowded_edges)} edges with more than two triangles, "
        f"{len(topology.clashing_edges)} edges where neighbours disagree remain"
    )


def _somewhere(mesh: Mesh) -> tuple[float, float, float]:
    topology = topology_of(mesh)
    edge = next(e[0] for e in (topology.open_edges, topology.crowded_edges, topology.clashing_edges) if len(e))
    x, y, z = (float(v) for v in mesh.vertices[topology.ends[edge]].mean(axis=0))
    return (x, y, z)
