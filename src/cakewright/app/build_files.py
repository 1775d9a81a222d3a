"""The files a machine's own software reads: one 3MF with named items, one merged STL as fallback."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from cakewright.formats.stl import write_stl
from cakewright.formats.threemf_write import ThreeMfItem, write_3mf
from cakewright.model.build import Build
from cakewright.model.mesh import Mesh
from cakewright.model.plan import WeekPlan


def write_build_files(plan: WeekPlan, build: Build, folder: Path) -> tuple[Path, Path]:
    """Write `<build>.3mf` and `<build>.stl` into `folder`; millimetres, chamber coordinates."""
    folder.mkdir(parents=True, exist_ok=True)
    meshes = {p.part_key: plan.parts[p.part_key].mesh for p in build.nest.placements}
    items = [
        ThreeMfItem(
            name=f"{p.piece} {plan.line(p.line).title}", mesh_key=p.part_key, matrix=p.matrix, part_number=p.piece
        )
        for p in build.nest.placements
    ]
    threemf = folder / f"{build.key}.3mf"
    write_3mf(threemf, meshes, items, {"Title": f"{plan.cell.name}, plan {plan.version}, build {build.key}"})
    stl = folder / f"{build.key}.stl"
    write_stl(stl, merged_mesh(plan, build), f"{build.key} plan {plan.version}")
    return threemf, stl


def merged_mesh(plan: WeekPlan, build: Build) -> Mesh:
    """All placed pieces of a build as one mesh."""
    vertices, faces, offset = [], [], 0
    for p in build.nest.placements:
        mesh = plan.parts[p.part_key].mesh
        vertices.append(mesh.vertices @ np.asarray(p.rotation).T + p.translation)
        faces.append(mesh.faces + offset)
        offset += len(mesh.vertices)
    return Mesh(np.vstack(vertices), np.vstack(faces))
