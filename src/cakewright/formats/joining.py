"""Giving triangles common vertices: what STL never has and other formats sometimes lack."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cakewright.formats.judge import Judge
from cakewright.formats.raw import Body, RawMesh
from cakewright.model.mesh import IntArray, Mesh
from cakewright.parts.topology import Topology, topology_of
from cakewright.parts.weld import weld_exact, weld_near

ROUNDING_STEPS = 2.0  # points this many single-precision steps apart are the same point, rounded twice


def joined(raw: RawMesh, judge: Judge) -> RawMesh:
    """The mesh with equal corners joined.

    STL: always, since the format repeats each corner. Indexed formats: only when edges are open, since
    bodies that merely touch keep their own vertices. Where edges stay open, corners at them that differ by
    no more than single precision can hold are joined too. What was done to an indexed file is noted.
    """
    if raw.kind.startswith("stl"):
        raw = _without_needles(_join_equal(raw), judge)
    topology = topology_of(Mesh(raw.vertices, raw.faces))
    if topology.is_closed or len(topology.open_edges) == 0:
        return raw
    if not raw.kind.startswith("stl"):
        before = len(raw.vertices)
        raw = _join_equal(raw)
        if len(raw.vertices) < before:
            judge.note(
                "mesh.joined-equal",
                f"{before - len(raw.vertices)} vertices that stand at the place of another were joined",
            )
            topology = topology_of(Mesh(raw.vertices, raw.faces))
    return _join_rounded(raw, topology, judge)


def _join_equal(raw: RawMesh) -> RawMesh:
    vertices, index = weld_exact(raw.vertices)
    return replace(raw, vertices=vertices, faces=index[raw.faces])


def _without_needles(raw: RawMesh, judge: Judge) -> RawMesh:
    """Leave out triangles whose corners are the same point in the file: they cover nothing and confuse edges."""
    f = raw.faces
    keep = (f[:, 0] != f[:, 1]) & (f[:, 1] != f[:, 2]) & (f[:, 2] != f[:, 0])
    if keep.all() or not keep.any():
        return raw
    judge.note("mesh.needle-triangles", f"{int((~keep).sum())} triangles without width were left out")
    return replace(raw, faces=f[keep], bodies=_shrunk(raw.bodies, keep))


def _join_rounded(raw: RawMesh, topology: Topology, judge: Judge) -> RawMesh:
    """Join corners of open edges within `ROUNDING_STEPS` of single precision at the largest coordinate."""
    rim = np.unique(topology.ends[topology.open_edges])
    if len(rim) == 0:
        return raw
    step = float(np.spacing(np.float32(np.abs(raw.vertices).max())))
    kept, index = weld_near(raw.vertices[rim], ROUNDING_STEPS * step)
    if len(kept) == len(rim):
        return raw
    first = np.full(len(kept), -1, dtype=np.int32)
    first[index[::-1]] = rim[::-1]
    target = np.arange(len(raw.vertices), dtype=np.int32)
    target[rim] = first[index]
    faces: IntArray = target[raw.faces]
    keep = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    if not keep.any():
        return raw
    judge.note(
        "mesh.joined-rounded",
        f"{len(rim) - len(kept)} corners that differ only by rounding were joined"
        + (f"; {int((~keep).sum())} triangles without width vanished" if not keep.all() else ""),
    )
    return replace(raw, faces=faces[keep], bodies=_shrunk(raw.bodies, keep))


def _shrunk(bodies: tuple[Body, ...], keep: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[Body, ...]:
    left = np.concatenate([[0], np.cumsum(keep)])
    return tuple(Body(b.name, int(left[b.first]), int(left[b.first + b.faces] - left[b.first])) for b in bodies)
