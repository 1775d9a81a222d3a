"""How long a cake must cool that stopped half-way: quickly for choosing, by conduction for the plan that is kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cakewright.app.heat_build import heat_build
from cakewright.app.plan_build import quick_cooling
from cakewright.app.stop_build import AfterStop, PieceFate
from cakewright.model.build import Build, Cooling, LayerProfile, Placement, PrintTime
from cakewright.model.cell import Cell
from cakewright.model.heat import CakeHeat
from cakewright.model.mesh import Mesh
from cakewright.model.plan import WeekPlan

UPRIGHT = np.eye(3)


def cut_profile(profile: LayerProfile, layer: int) -> LayerProfile:
    """The layers that were finished, at least one."""
    n = max(layer, 1)
    return LayerProfile(profile.layer_mm, profile.area_mm2[:n], profile.contour_mm[:n], profile.outlines[:n])


def cut_time(time: PrintTime, layer: int) -> PrintTime:
    """Hours up to the stop; what is not by layer is shared out by the time of the layers."""
    whole, done = float(time.layer_s.sum()), float(time.layer_s[:layer].sum())
    share = done / whole if whole > 0 else 0.0
    return replace(
        time, recoat_s=time.recoat_s * share, scan_s=time.scan_s * share, waiting_s=time.waiting_s * share, end_s=0.0,
        layer_s=np.array(time.layer_s[:layer]),
    )  # fmt: skip


def stopped_opening(build: Build, after: AfterStop, cell: Cell) -> tuple[float, float, float]:
    """Early, likely and late opening of the stopped cake in seconds after the stop, at once (see `opening_at`)."""
    return opening_at(build, after.layer, cell)


def opening_at(build: Build, layers: int, cell: Cell) -> tuple[float, float, float]:
    """Early, likely and late opening of a cake like this one but of so many layers, seconds after the end, at once.

    The full model's hours of the whole build times the ratio of two blocks that start hot all through, the stopped one
    and the whole one. Heat needs time with the square of the smallest side: half the height is not half the hours.
    """
    machine = cell.machine(build.machine)
    whole = quick_cooling(build.profile, machine, cell).opening_s
    left = quick_cooling(cut_profile(build.profile, layers), machine, cell).opening_s
    early, likely, late = (
        known * (part / full if full > 0 else 1.0)
        for known, part, full in zip(build.cooling.opening_s, left, whole, strict=True)
    )
    return (early, likely, late)


def stopped_heat(plan: WeekPlan, build: Build, after: AfterStop) -> tuple[Cooling, CakeHeat | None]:
    """The stopped cake grown up to the stop and cooled, with the plastic of pieces that were cut off inside it.

    No cover powder lies on it. The record tells of the whole pieces only; scrap counts as plastic.
    """
    if after.layer < 1:
        return replace(build.cooling, opening_s=stopped_opening(build, after, plan.cell)), None
    meshes, standing, names = _what_stands(plan, build, after)
    machine = plan.cell.machine(build.machine)
    profile, hours = cut_profile(build.profile, after.layer), cut_time(build.print_time, after.layer)
    placed = replace(build.nest, placements=standing, height_mm=after.at_mm)
    cell = _without_cover(plan.cell, build.chamber_type)
    found: tuple[Cooling, CakeHeat | None] = heat_build(meshes, placed, profile, hours, machine, cell)
    cooling, heat = found
    if heat is None:
        return cooling, None
    kept = [i for i, p in enumerate(heat.pieces) if p.piece in names]
    said = tuple(f for f in heat.findings if not f.where or f.where in names)
    pieces = tuple(heat.pieces[i] for i in kept)
    return cooling, replace(heat, pieces=pieces, piece_c=heat.piece_c[:, kept], findings=said)


def _what_stands(
    plan: WeekPlan, build: Build, after: AfterStop
) -> tuple[dict[str, Mesh], tuple[Placement, ...], set[str]]:
    """Meshes and places of whole pieces and of what is there of half-made ones; the names of the whole ones."""
    fate = {piece: f for piece, _, f in after.fates}
    meshes: dict[str, Mesh] = {}
    standing: list[Placement] = []
    whole: set[str] = set()
    for p in build.nest.placements:
        if fate[p.piece] is PieceFate.NOT_BEGUN:
            continue
        mesh = plan.parts[p.part_key].mesh
        if fate[p.piece] is PieceFate.HALF:
            # what lies above the stop is pressed flat onto it: the surface stays closed and holds what was made
            low = mesh.placed(np.asarray(p.rotation), np.asarray(p.translation))
            key = f"{p.part_key} cut off, {p.piece}"
            meshes[key] = Mesh(np.minimum(low.vertices, [np.inf, np.inf, after.at_mm]), low.faces)
            p = replace(p, part_key=key, rotation=UPRIGHT, translation=np.zeros(3), z_max_mm=after.at_mm)  # noqa: PLW2901
        else:
            meshes[p.part_key] = mesh
            whole.add(p.piece)
        standing.append(p)
    return meshes, tuple(standing), whole


def _without_cover(cell: Cell, chamber_type: str) -> Cell:
    types = tuple(replace(c, cover_mm=0.0) if c.name == chamber_type else c for c in cell.chamber_types)
    return replace(cell, chamber_types=types)
