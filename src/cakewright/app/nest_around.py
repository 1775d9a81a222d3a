"""Nest a build anew around the pieces that somebody pinned, and keep the result as a new plan version."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import datetime

import numpy as np

from cakewright.app.cages import contents
from cakewright.app.changed_build import dated, recomputed, refuse_begun
from cakewright.app.effort import Effort
from cakewright.app.line_flags import priority, specimen_lines
from cakewright.app.nest_wishes import wishes_for
from cakewright.app.plan_build import nest_space, turning
from cakewright.app.progress import Progress, quiet
from cakewright.app.replan import accept
from cakewright.errors import DoesNotFitError, InputError
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.nesting.cage import block_of_cage
from cakewright.nesting.orientations import orientations_for
from cakewright.nesting.search import nest
from cakewright.nesting.task import NestPiece, NestTask
from cakewright.nesting.tight import settled
from cakewright.sources.nesting import GAP_TOLERANCE
from cakewright.store import Store


def nest_around(
    store: Store,
    plan: WeekPlan,
    key: str,
    *,
    effort: Effort,
    by: str,
    at: datetime,
    seed: int | None = None,
    progress: Progress = quiet,
) -> int:
    """Nest a build again; pinned pieces stay where they stand. The new plan version; the plan before stays.

    InputError, and nothing kept, when the build has begun, everything in it is pinned, or no nest as low as the present
    one was found; DoesNotFitError when a piece finds no place.
    """
    build = plan.build(key)
    noted = store.schedule.progress_of(plan.version)
    refuse_begun(plan, build, at, noted)
    changed = nested_around(plan, build, effort=effort, seed=plan.seed + plan.version if seed is None else seed,
                            progress=progress)  # fmt: skip
    progress("dates", 2, 3)
    return accept(store, dated(plan, changed, at, noted), by=by, at=at)


def nested_around(plan: WeekPlan, build: Build, *, effort: Effort, seed: int, progress: Progress = quiet) -> Build:
    """The build with everything that is not pinned placed anew; cages stay with what is in them."""
    meshes = {p.part_key: plan.parts[p.part_key].mesh for p in build.nest.placements}
    inside = contents(build.nest.placements, meshes)
    caged = {piece for pieces in inside.values() for piece in pieces}
    stays = [p for p in build.nest.placements if p.pinned or p.is_cage or p.piece in caged]
    free = [p for p in build.nest.placements if p not in stays]
    if not free:
        raise InputError(
            f"every piece of {build.key} is pinned", remedy="unpin the pieces that may move", where=build.key
        )
    progress("nesting", 0, 3, f"{len(free)} pieces around {len(stays) - len(caged)} that stay")
    machine = plan.cell.machine(build.machine)
    pieces = [NestPiece(p.piece, p.part_key, p.line, priority(plan.line(p.line))) for p in free]
    blocks = {
        p.part_key: block_of_cage(meshes[p.part_key].size_mm).placed(np.eye(3), meshes[p.part_key].box_mm[0])
        for p in stays
        if p.is_cage
    }
    task = NestTask(
        meshes={**meshes, **blocks},
        pieces=pieces,
        rotations={
            k: orientations_for(plan.parts[k].mesh, plan.parts[k].orientation, plan.seed)
            for k in {p.part_key for p in free}
        },
        space=nest_space(plan.cell.chamber_type(build.chamber_type), machine),
        clearance_mm=plan.cell.nesting.clearance_mm,
        voxel_mm=plan.cell.nesting.voxel_mm,
        wishes=wishes_for(pieces, plan.parts, plan.cell),
        fixed=[p for p in stays if p.piece not in caged],
        turning=turning(plan.parts, pieces, specimen_lines(plan.line(n) for n in build.lines)),
    )
    began = time.monotonic()
    placed = nest(task, stop=effort.nest(), seed=seed, arrange_stop=effort.arrange())
    placed = settled(task, placed, stop=effort.settle())
    if placed.left_out:
        raise DoesNotFitError(
            f"{len(placed.left_out)} of {len(free)} pieces find no place in {build.key}: {placed.left_out[0].reason}",
            remedy="nothing was changed; unpin a piece or give more time",
        )
    progress("proof, hours and heat", 1, 3)
    standing = {p.piece: p for p in (*placed.placements, *stays)}
    if placed.height_mm > build.nest.height_mm + GAP_TOLERANCE.value:
        raise InputError(
            f"no lower nest was found: {placed.height_mm:.1f} mm against {build.nest.height_mm:.1f} mm now",
            remedy="nothing was changed; give it more seconds, or pin fewer pieces", where=build.key,
        )  # fmt: skip
    count = sum(p.pinned for p in stays)
    said = f"nested again around {count} pinned" if count else "nested again"
    found = replace(
        placed,
        placements=tuple(standing[p.piece] for p in build.nest.placements),
        seconds=time.monotonic() - began,
        notes=(*placed.notes, f"{said}: {build.nest.height_mm:.1f} mm before, {placed.height_mm:.1f} mm now"),
    )
    return recomputed(plan, build, found)
