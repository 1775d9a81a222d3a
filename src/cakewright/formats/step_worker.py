"""Cuts a STEP file into triangles, in a process of its own: a crash or a runaway there harms nobody else.

Called as a script: input file, output file (.npz), chord error in mm, angle in degrees. Uses nothing of cakewright.
Exit code 3: the file cannot be read, with the reason on the error output.
"""

from __future__ import annotations

import math
import sys
from typing import Any

import numpy as np

UNREADABLE = 3


def main(source: str, target: str, chord_mm: float, angle_deg: float) -> int:
    """Read, tessellate, write; the exit code."""
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPControl import STEPControl_Reader

    reader = STEPControl_Reader()
    if reader.ReadFile(source) != IFSelect_ReturnStatus.IFSelect_RetDone:
        sys.stderr.write("it breaks the rules of STEP")
        return UNREADABLE
    if reader.TransferRoots() == 0 or reader.NbShapes() == 0:
        sys.stderr.write("it holds no shape")
        return UNREADABLE
    shape = reader.OneShape()  # lengths come in mm, whatever unit the file has
    BRepMesh_IncrementalMesh(shape, chord_mm, False, math.radians(angle_deg), False)
    vertices, faces, solids, loose = _collected(shape)
    if not faces:
        sys.stderr.write("it holds no surface")
        return UNREADABLE
    np.savez(target, vertices=np.array(vertices), faces=np.array(faces, dtype=np.int32),
             solids=np.array(solids), loose=np.array(loose))  # fmt: skip
    return 0


def _collected(shape: Any) -> tuple[list[list[float]], list[list[int]], list[int], int]:
    """Vertices, triangles, the first triangle of each solid, and how many faces belong to no solid."""
    from OCP.TopAbs import TopAbs_ShapeEnum as Kind
    from OCP.TopExp import TopExp_Explorer

    vertices: list[list[float]] = []
    faces: list[list[int]] = []
    solids: list[int] = []
    walk = TopExp_Explorer(shape, Kind.TopAbs_SOLID)
    while walk.More():
        solids.append(len(faces))
        _add_faces(walk.Current(), vertices, faces)
        walk.Next()
    loose = 0
    walk = TopExp_Explorer(shape, Kind.TopAbs_FACE, Kind.TopAbs_SOLID)  # faces outside of solids
    while walk.More():
        loose += 1
        _add_face(walk.Current(), vertices, faces)
        walk.Next()
    return vertices, faces, solids, loose


def _add_faces(solid: Any, vertices: list[list[float]], faces: list[list[int]]) -> None:
    from OCP.TopAbs import TopAbs_ShapeEnum as Kind
    from OCP.TopExp import TopExp_Explorer

    walk = TopExp_Explorer(solid, Kind.TopAbs_FACE)
    while walk.More():
        _add_face(walk.Current(), vertices, faces)
        walk.Next()


def _add_face(face: Any, vertices: list[list[float]], faces: list[list[int]]) -> None:
    from OCP.BRep import BRep_Tool
    from OCP.TopAbs import TopAbs_Orientation
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS

    # the name of the cast changed between versions of the library
    cast = getattr(TopoDS, "Face_s", None) or getattr(TopoDS, "Face", None)
    own = cast(face) if cast is not None else face
    place = TopLoc_Location()
    cut = BRep_Tool.Triangulation_s(own, place)
    if cut is None:
        return
    move = place.Transformation()
    start = len(vertices)
    for i in range(1, cut.NbNodes() + 1):
        p = cut.Node(i).Transformed(move)
        vertices.append([p.X(), p.Y(), p.Z()])
    is_turned = own.Orientation() == TopAbs_Orientation.TopAbs_REVERSED
    for i in range(1, cut.NbTriangles() + 1):
        a, b, c = cut.Triangle(i).Get()
        if is_turned:
            b, c = c, b
        faces.append([start + a - 1, start + b - 1, start + c - 1])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2], float(sys.argv[3]), float(sys.argv[4])))
