"""A hollow part that hosts others pays less, the guests pay for themselves, and the build still adds up."""

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from cakewright.app.nested_inside import credited, hosted
from cakewright.app.plan_build import envelope_mm3
from cakewright.app.plan_costs import cost_one_build, line_share
from cakewright.model.build import Placement
from cakewright.model.mesh import Mesh
from tests.conftest import box_mesh
from tests.documents.world import week

CLEARANCE = 3.0


def placed(piece, key, line, at):
    """A piece as drawn, moved to a place."""
    return Placement(piece, key, line, np.eye(3), np.array(at, dtype=float), at[2], at[2] + 60)


@pytest.fixture(scope="module")
def world():
    """A tube of line 1 with a block of line 2 inside and another beside it; the parts of a plan with other meshes."""
    plan = week()
    tube = trimesh.creation.annulus(r_min=30, r_max=33, height=60)
    some = next(iter(plan.parts.values()))
    parts = {
        "tube": replace(some, key="tube", mesh=Mesh(tube.vertices, tube.faces)),
        "block": replace(some, key="block", mesh=box_mesh(20, 20, 20)),
    }
    places = (
        placed("L01-1", "tube", 1, (50, 50, 30)),
        placed("L02-1", "block", 2, (40, 40, 20)),
        placed("L02-2", "block", 2, (100, 100, 20)),
    )
    build = replace(plan.builds[0], nest=replace(plan.builds[0].nest, placements=places))
    return plan, build, parts


def nested(build, places):
    """The build with other placements."""
    return replace(build, nest=replace(build.nest, placements=tuple(places)))


def test_only_what_stands_inside_counts(world):
    """One of two blocks is inside the tube; turned together they still are host and guest."""
    _, build, parts = world
    one = envelope_mm3(parts["block"], CLEARANCE)
    assert hosted(build, parts, CLEARANCE) == ((1, 2, pytest.approx(one)),)
    turn = np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]])
    lying = [replace(p, rotation=turn, translation=turn @ p.translation) for p in build.nest.placements]
    assert hosted(nested(build, lying), parts, CLEARANCE) == ((1, 2, pytest.approx(one)),)


def test_pieces_of_the_same_line_are_no_guests(world):
    """A line gives itself nothing."""
    _, build, parts = world
    same = [replace(p, line=1) for p in build.nest.placements]
    assert hosted(nested(build, same), parts, CLEARANCE) == ()


def test_the_host_pays_less_and_the_build_adds_up(world):
    """The credit moves cost from the host to the others; the sum over the lines stays the cost of the build."""
    plan, build, parts = world
    cell = replace(plan.cell, nesting=replace(plan.cell.nesting, clearance_mm=CLEARANCE))
    shares = [line_share(plan.line(1), 1, parts["tube"], cell, is_first=True),
              line_share(plan.line(2), 2, parts["block"], cell, is_first=True)]  # fmt: skip
    solid = [replace(s, solid_mm3=1000.0) for s in shares]  # the measures of these parts are of another mesh
    net = credited(build, solid, parts, CLEARANCE)
    assert net[0].envelope_mm3 == pytest.approx(shares[0].envelope_mm3 - envelope_mm3(parts["block"], CLEARANCE))
    assert net[1] == solid[1]
    apart = [
        p if p.line == 1 else replace(p, translation=p.translation + np.array([200.0, 0, 0]))
        for p in build.nest.placements
    ]
    with_guest = {c.line: c.total for c in cost_one_build(build, solid, cell, parts)}
    alone = {c.line: c.total for c in cost_one_build(nested(build, apart), solid, cell, parts)}
    assert with_guest[1] < alone[1]
    assert math.fsum(with_guest.values()) == pytest.approx(math.fsum(alone.values()))
