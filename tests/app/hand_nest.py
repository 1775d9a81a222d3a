"""A small build whose every gap is known: two plates, a knob, a duct with a clip in it, two rings apart."""

from dataclasses import replace

import numpy as np

from cakewright.app.init_cell import template_cell
from cakewright.app.plan_build import nest_space
from cakewright.model.build import Placement
from cakewright.nesting.separable import removal
from cakewright.nesting.verify import verify_nest
from cakewright.physics.buildtime import print_time
from cakewright.physics.layers import layer_profile
from tests.app.running import running_week

TIPPED = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


def stands(piece, key, line, shift, rotation=None, mesh=None):
    rotation = np.eye(3) if rotation is None else rotation
    z = mesh.vertices @ rotation[2] + shift[2]
    return Placement(piece, key, line, rotation, np.array(shift, float), float(z.min()), float(z.max()))


def hand_week():
    """The running week with this nest as B1; B2 goes, so that every check of the plan is true."""
    plan = running_week()
    rows = [
        ("L01-01", "plate", 1, (10, 10, 0), None),
        ("L01-02", "plate", 1, (10, 60, 0), None),
        ("L02-01", "knob", 2, (100, 30, 9.5), None),
        ("L03-01", "duct", 3, (150, 60, 55), None),
        ("L05-01", "clip", 5, (150, 60, 11), None),
        ("L04-01", "ring", 4, (100, 180, 4), None),
        ("L04-02", "ring", 4, (40, 180, 22), TIPPED),
    ]
    placed = tuple(stands(n, k, line, at, turn, plan.parts[k].mesh) for n, k, line, at, turn in rows)
    plan = replace(plan, cell=_true_cell(plan.cell))
    machine, chamber = plan.cell.machines[0], plan.cell.chamber_types[0]
    space, meshes = nest_space(chamber, machine), {key: part.mesh for key, part in plan.parts.items()}
    profile = layer_profile(meshes, placed, machine.layer_mm, 110.0)
    build = replace(
        plan.builds[0],
        lines=(1, 2, 3, 4, 5),
        nest=replace(plan.builds[0].nest, placements=placed, base_mm=(190, 240), height_mm=110.0, voxel_mm=2.0),
        verification=verify_nest(meshes, placed, space, 5.0, clock=lambda: 0.0),
        removal=removal(meshes, placed, space, voxel_mm=2.0),
        profile=profile,
        print_time=print_time(profile, machine, extra_layers_mm=chamber.base_mm + chamber.cover_mm),
    )
    assert build.verification.is_clear
    assert build.removal.is_free
    tasks = tuple(t for t in plan.schedule.tasks if t.build != "B2" and 6 not in t.lines)
    return replace(plan, builds=(build,), schedule=replace(plan.schedule, tasks=tasks),
                   promises=tuple(p for p in plan.promises if p.line != 6))  # fmt: skip


def _true_cell(cell):
    """With the machine, chamber and powder of the template, whose heat can be computed."""
    real = template_cell()
    chamber = replace(real.chamber_types[0], wall_margin_mm=6.0)
    rules = replace(cell.nesting, clearance_mm=5.0, voxel_mm=2.0)
    return replace(cell, chamber_types=(chamber,), machines=(replace(real.machines[0], name="A1"),),
                   materials=real.materials, nesting=rules)  # fmt: skip
