"""A line flagged 'cage' is printed in one, counted without it, and comes out with it."""

from __future__ import annotations

import numpy as np
import pytest

from cakewright.app.cages import Cages
from cakewright.documents.bands import bands
from cakewright.model.part import FileOrigin, Part
from cakewright.nesting.search import nest
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.parts.measure import measure
from cakewright.stopping import MaxSteps
from cakewright.units import LengthUnit
from tests.app.worlds import small_cell
from tests.conftest import box_mesh


def test_ordered_pieces_are_counted_and_the_cage_is_not(caged_week):
    build = caged_week.builds[0]
    assert len(build.pieces_of(1)) == 12
    assert build.pieces == 15
    assert sum(p.is_cage for p in build.nest.placements) == 1


def test_the_cage_is_a_part_of_the_plan_that_is_proven_clear_and_can_be_lifted(caged_week):
    """The exact check saw bars and pieces; in the order of removal the cage is followed by its twelve cubes."""
    build = caged_week.builds[0]
    assert build.verification.is_clear
    assert build.verification.pairs_checked > 12
    assert build.removal.is_free
    (cage,) = build.caged
    assert len(build.caged[cage]) == 12
    assert cage in caged_week.parts
    assert caged_week.parts[cage].measures.is_watertight
    assert len(build.removal.order) == 16


def test_layers_and_powder_know_the_cage(caged_week):
    """What is sintered is pieces and bars together."""
    build = caged_week.builds[0]
    solid = sum(caged_week.parts[p.part_key].measures.volume_mm3 for p in build.nest.placements)
    assert build.profile.volume_mm3 == pytest.approx(solid, rel=0.03)
    assert solid > 12 * 15**3 + 3 * 80 * 60 * 4


def test_the_unpacking_map_counts_what_is_in_the_cage(caged_week):
    """All twelve are met where the cage is met, in one group that names the cage."""
    groups = [g for band in bands(caged_week, caged_week.builds[0]) for g in band.groups if g.line == 1]
    assert [(len(g.pieces), g.cages) for g in groups] == [(12, 1)]


def test_the_same_loose_part_ordered_twice_goes_into_two_cages():
    """Equal files and quantities share the work of filling, and each line still finds its own pieces in its cage."""
    cell = small_cell()
    mesh = box_mesh(15, 15, 15)
    origin = FileOrigin("cube.stl", mesh.sha256, "stl", LengthUnit.MILLIMETER, "said by the test")
    parts = {key: Part(key, "cube", "A", mesh, measure(mesh), origin) for key in ("L01", "L02")}
    pieces = [NestPiece(f"{key}-{n}", key, line) for line, key in ((1, "L01"), (2, "L02")) for n in range(8)]
    rotations = {key: np.eye(3)[None] for key in parts}
    cages, space = Cages(), NestSpace(150, 150, 200, 5)
    meshes = {key: part.mesh for key, part in parts.items()}
    crates = cages.put(pieces, frozenset({1, 2}), parts, rotations, cell, space)
    task = NestTask({**meshes, **crates.meshes()}, crates.pieces, {**rotations, **crates.rotations()}, space, 3.0, 2.0)
    placed = crates.opened(nest(task, stop=MaxSteps(0), seed=1), meshes)
    where = {p.piece: p.part_key for p in placed.placements if not p.is_cage}
    assert where == {p.piece: p.part_key for p in pieces}
    assert len(crates.filled) == 2
