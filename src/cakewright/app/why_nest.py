"""Why a nest is worth what it is: every wish of a build, how far it is from fulfilled, and what that costs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.app.line_flags import priority
from cakewright.app.nest_wishes import wishes_for
from cakewright.app.plan_build import nest_space
from cakewright.model.build import Build, Placement
from cakewright.model.mesh import Mesh
from cakewright.model.plan import WeekPlan
from cakewright.nesting.cage import block_of_cage
from cakewright.nesting.fulfil import judge, not_asked
from cakewright.nesting.task import NestPiece, NestTask
from cakewright.nesting.worth import standing_rotations

ALMOST_THE_SAME = 0.05  # of a rotation matrix, three degrees: pieces settled with a small turn share their cells

ASKS = {
    "interlocked": "pieces that cannot be taken out",
    "clearance": "mm short of the wider gap",
    "height": "mm",
    "end": "price of the hours",
    "evenness": "cm² of jumps over the limit, layer to layer",
    "crowding": "cm³ beyond what is not crowded",
    "early": "mm, mean top of the pieces wanted early",
    "fragile": "cm³ of heavier pieces above fragile ones",
    "together": "mm from the middle of the line, on average",
    "apart": "mm short of the distance wished, on average",
    "reserved": "places that are not free",
    "density": "% of the cake that is not part",
}


@dataclass(frozen=True, slots=True)
class WishRow:
    """One wish of a build: 0 is fulfilled. `points` is the price; 1 point is worth 1 mm of height.

    `is_asked` is False when nothing in the build concerns it.
    """

    name: str
    wish: str
    value: float
    unit: str
    weight: float
    points: float
    meaning: str
    is_asked: bool


def why_nest(plan: WeekPlan, build: Build) -> tuple[WishRow, ...]:
    """The wishes of a build as it stands, most important first. Takes a second or two: it is worked out anew."""
    task = _task(plan, build)
    silent = not_asked(task)
    return tuple(
        WishRow(t.name, t.words, t.value, t.unit, t.weight, t.price, ASKS[t.name], t.name not in silent)
        for t in judge(task, build.nest)
    )


def _task(plan: WeekPlan, build: Build) -> NestTask:
    """What the nest was asked; each part only in the ways it stands, small turns aside, and filled cages as blocks."""
    inside = {piece for pieces in build.caged.values() for piece in pieces}
    outer = [p for p in build.nest.placements if p.piece not in inside]
    pieces = tuple(NestPiece(p.piece, p.part_key, p.line, priority(plan.line(p.line))) for p in outer)
    machine = plan.cell.machine(build.machine)
    return NestTask(
        meshes={p.part_key: _mesh(plan, p) for p in build.nest.placements},
        pieces=pieces,
        rotations=standing_rotations(outer, ALMOST_THE_SAME),
        space=nest_space(plan.cell.chamber_type(build.chamber_type), machine),
        clearance_mm=build.nest.clearance_mm,
        voxel_mm=build.nest.voxel_mm,
        wishes=wishes_for(pieces, plan.parts, plan.cell),
    )


def _mesh(plan: WeekPlan, placed: Placement) -> Mesh:
    mesh = plan.parts[placed.part_key].mesh
    return block_of_cage(mesh.size_mm).placed(np.eye(3), mesh.box_mm[0]) if placed.is_cage else mesh
