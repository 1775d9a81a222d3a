"""Places that a piece leaves only sideways are used where a way out is proven, and nowhere else."""

import numpy as np
import pytest

from cakewright.nesting.bank import make_bank
from cakewright.nesting.construct import Workspace, construct
from cakewright.nesting.objective import Objective
from cakewright.nesting.release import is_removable
from cakewright.nesting.search import nest, volume_mm3
from cakewright.nesting.separable import removal
from cakewright.nesting.sideways import drawn_out
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.nesting.wishes import NestWishes, Weights
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import joined

STAND = np.eye(3)[None]


def clamp_and_blocks(beside_mm, **weights):
    """A clamp with its mouth to the right, so much room on that side, and three blocks that would go into the mouth."""
    clamp = joined(box_mesh(40, 20, 6), box_mesh(40, 20, 6, at=(0, 0, 28)), box_mesh(6, 20, 34))
    meshes = {"clamp": clamp, "block": box_mesh(20, 16, 14)}
    pieces = [NestPiece("clamp", "clamp", 1), *(NestPiece(f"block{n}", "block", 2) for n in range(3))]
    space = NestSpace(40 + beside_mm, 22, 120)
    return NestTask(meshes, pieces, dict.fromkeys(meshes, STAND), space, 2.0, 1.0, NestWishes(Weights(**weights)))


def drawn(task):
    """The workspace, and the layout by lifts alone before and after."""
    keys = sorted(task.meshes)
    part = np.array([keys.index(p.part_key) for p in task.pieces], np.int64)
    work = Workspace(make_bank(task, keys))
    before = construct(work, part, np.arange(len(part)))
    objective = Objective(task, work.bank, part, {k: volume_mm3(m) for k, m in task.meshes.items()})
    return work, before, drawn_out(work, before, objective)


def test_a_block_goes_into_the_mouth_of_a_clamp():
    """Two blocks stand beside the clamp; the third goes into the mouth and not on top, and all comes apart."""
    work, before, after = drawn(clamp_and_blocks(26))
    assert before.height_mm(work.bank) > 45
    assert after.height_mm(work.bank) == pytest.approx(34)
    assert is_removable(after, work.bank)


def test_what_could_not_be_drawn_out_is_left_on_top():
    """With 5 mm beside the clamp nothing comes out of its mouth, so nothing goes in."""
    work, before, after = drawn(clamp_and_blocks(5))
    assert (after.at == before.at).all()
    assert is_removable(after, work.bank)


def test_no_wish_is_sold_for_such_a_place():
    """A millimetre of height is worth less here than the line of blocks lying together: all stays as it is."""
    _, before, after = drawn(clamp_and_blocks(26, height=0.01, together=50.0, density=0.0))
    assert (after.at == before.at).all()


def test_the_whole_nest_uses_such_places():
    """Nested, proven and taken apart: the block in the mouth leaves after those beside it and before the clamp."""
    task = clamp_and_blocks(26)
    made = nest(task, stop=MaxSteps(3), seed=1, arrange_stop=MaxSteps(20))
    assert made.height_mm == pytest.approx(34)
    assert verify_nest(task.meshes, made.placements, task.space, 2.0, clock=lambda: 0.0).is_clear
    way = removal(task.meshes, made.placements, task.space, voxel_mm=1.0)
    assert way.is_free
    assert way.order[-1] == "clamp"
