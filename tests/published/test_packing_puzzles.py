"""Classic dissection puzzles as packing instances: Soma (Hein), Slothouber-Graatsma, Conway, pentomino boxes, Bedlam.

Pieces and boxes from the published puzzle definitions; zero clearance, 24 orientations, target 100 % filled.
"""

import json

import numpy as np
import pytest

from cakewright.nesting.search import nest
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSteps
from tests.nesting.conftest import cells_mesh, cube_rotations

PUZZLES = ["soma_3x3x3", "slothouber_graatsma_3x3x3", "pentomino_3x4x5", "pentomino_2x5x6", "pentomino_2x3x10",
           "conway_5x5x5", "bedlam_4x4x4"]  # fmt: skip


def cells_of(placement, cells):
    """The unit cells a placed piece covers, from its definition and the placement only."""
    centres = (np.array(cells) + 0.5) @ placement.rotation.T + placement.translation
    assert np.abs(centres - np.floor(centres) - 0.5).max() < 1e-6
    return [tuple(c) for c in np.floor(centres).astype(int).tolist()]


@pytest.mark.parametrize("name", PUZZLES)
def test_puzzle_is_filled_to_the_last_cell(shared, name):
    """Every cell of the box is covered exactly once, re-checked from the definition of the pieces."""
    puzzle = json.loads((shared / "packing" / "puzzles.json").read_text())[name]
    cells = {p["name"]: p["cells"] for p in puzzle["pieces"]}
    meshes = {k: cells_mesh(c) for k, c in cells.items()}
    pieces = [NestPiece(f"{p['name']}-{i}", p["name"], 1) for p in puzzle["pieces"] for i in range(p["qty"])]
    space = NestSpace(*map(float, puzzle["box"]))
    turns = {k: cube_rotations() for k in meshes}
    result = nest(NestTask(meshes, pieces, turns, space, 0.0, 1.0), stop=MaxSteps(3000), seed=1)
    covered = sorted(c for p in result.placements for c in cells_of(p, cells[p.part_key]))
    assert covered == sorted(np.ndindex(*puzzle["box"]))
    assert result.density == pytest.approx(1.0)
    assert verify_nest(meshes, result.placements, space, 0.0, clock=lambda: 0.0).is_clear
