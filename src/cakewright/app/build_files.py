"""The files a machine's own software reads: one 3MF with named items, one merged STL as fallback."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from cakewright.errors import InputError
from cakewright.formats.stl import write_stl
from cakewright.formats.threemf_write import ThreeMfItem, write_3mf
from cakewright.model.build import Build, Placement
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.plan import WeekPlan
from cakewright.nesting.verify import tightest_pair
from cakewright.physics.drawing import Drawing, drawing_of, offset_mesh
from cakewright.sources.nesting import GAP_TOLERANCE


def write_build_files(plan: WeekPlan, build: Build, folder: Path) -> tuple[Path, Path]:
    """Write `<build>.3mf` and `<build>.stl` into `folder`; millimetres, chamber coordinates.

    Pieces are drawn as the machine's entry in the cell file asks (`export_scale`, `export_offset_mm`); the 3MF
    says so in its description, the STL in its header. InputError, with figures and nothing written, when faces
    move outwards and two drawn pieces come nearer than the clearance of the cell file.
    """
    prove_drawn_gaps(plan, build)
    folder.mkdir(parents=True, exist_ok=True)
    drawing = drawing_for(plan, build)
    meshes, items = {}, []
    for p in build.nest.placements:
        key, mesh = _drawn_mesh(plan, p, drawing)
        meshes[key] = mesh
        items.append(
            ThreeMfItem(
                name=f"{p.piece} {plan.line(p.line).title}",
                mesh_key=key,
                matrix=drawn_matrix(p, plan.parts[p.part_key].mesh, drawing),
                part_number=p.piece,
            )
        )
    threemf = folder / f"{build.key}.3mf"
    title = f"{plan.cell.name}, plan {plan.version}, build {build.key}"
    write_3mf(threemf, meshes, items, {"Title": title, "Description": f"Pieces {drawing.words}."})
    stl = folder / f"{build.key}.stl"
    write_stl(stl, merged_mesh(plan, build), f"{build.key} plan {plan.version}, {drawing.words}"[:79])
    return threemf, stl


def prove_drawn_gaps(plan: WeekPlan, build: Build) -> None:
    """Measure the pieces as drawn, where an offset moves faces outwards, against the clearance of the cell file."""
    drawing = drawing_for(plan, build)
    asked = plan.cell.nesting.clearance_mm
    if drawing.outward_mm == 0 or asked <= GAP_TOLERANCE.value:
        return
    meshes, standing = {}, []
    for p in build.nest.placements:
        mesh = plan.parts[p.part_key].mesh.placed(np.asarray(p.rotation), np.asarray(p.translation))
        meshes[p.piece] = drawing.placed(mesh)
        standing.append(replace(p, part_key=p.piece, rotation=np.eye(3), translation=np.zeros(3)))
    pair = tightest_pair(meshes, standing, asked - GAP_TOLERANCE.value)
    if pair is not None:
        raise InputError(
            f"drawn for machine {build.machine}, {pair.first} and {pair.second} of build {build.key} are "
            f"{pair.gap_mm:.2f} mm apart, {plan.cell.nesting.clearance_mm:g} mm asked; nested "
            f"{build.nest.clearance_mm:g} mm apart, faces moved out by up to {max(drawing.offset_mm):g} mm",
            where=f"build {build.key}",
            remedy="nest the build again: the gap is then wider by what the offset takes; or lower export_offset_mm",
        )


def drawing_for(plan: WeekPlan, build: Build) -> Drawing:
    """How the pieces of a build are drawn for the machine chosen for it."""
    return drawing_of(plan.cell.machine(build.machine), plan.cell.chamber_type(build.chamber_type))


def merged_mesh(plan: WeekPlan, build: Build) -> Mesh:
    """All pieces of a build, placed and drawn for the machine, as one mesh."""
    drawing = drawing_for(plan, build)
    vertices, faces, offset = [], [], 0
    for p in build.nest.placements:
        mesh = drawing.placed(plan.parts[p.part_key].mesh.placed(p.rotation, p.translation))
        vertices.append(mesh.vertices)
        faces.append(mesh.faces + offset)
        offset += len(mesh.vertices)
    return Mesh(np.vstack(vertices), np.vstack(faces))


def drawn_matrix(placed: Placement, mesh: Mesh, drawing: Drawing) -> FloatArray:
    """The (4, 4) transform of a piece whose mesh is `mesh`, with the scale of the drawing at its middle."""
    middle = mesh.placed(np.asarray(placed.rotation), np.asarray(placed.translation)).box_mm.mean(axis=0)
    return np.asarray(drawing.matrix(middle) @ placed.matrix)


def _drawn_mesh(plan: WeekPlan, placed: Placement, drawing: Drawing) -> tuple[str, Mesh]:
    """The mesh that the transform acts on: offset along chamber axes, so one for each part and turn."""
    mesh = plan.parts[placed.part_key].mesh
    if drawing.offset_mm == (0.0, 0.0, 0.0):
        return placed.part_key, mesh
    turn = np.asarray(placed.rotation)
    moved = offset_mesh(Mesh(mesh.vertices @ turn.T, mesh.faces), drawing.offset_mm)
    turned = ",".join(f"{v:.6f}" for v in turn.ravel())
    return f"{placed.part_key} {turned}", Mesh(moved.vertices @ turn, mesh.faces)
