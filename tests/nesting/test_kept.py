"""What a check or a disassembly works out is kept while its meshes live, and no longer."""

import gc
import time

import numpy as np

from cakewright.model.build import Placement
from cakewright.model.kept import Kept
from cakewright.nesting import separable, verify
from cakewright.nesting.task import NestSpace
from tests.conftest import box_mesh

SPACE = NestSpace(60, 60, 60)


def standing(name, x):
    return Placement(name, "box", 1, np.eye(3), np.array([x, 5.0, 0.0]), 0.0, 10.0)


def test_the_memory_of_a_check_goes_with_its_meshes():
    """Checking and taking apart a nest a second time works nothing out anew; afterwards nothing is left behind."""
    memories = (verify._trees, verify._boxes, separable._blocks)
    gc.collect()
    before = [len(memory) for memory in memories]
    meshes = {"box": box_mesh(10, 10, 10)}
    placements = [standing("a", 5), standing("b", 25)]
    for _ in range(2):
        seen = verify.verify_nest(meshes, placements, SPACE, 3.0, clock=time.monotonic, only={"a": 0})
        assert seen.is_clear
        assert separable.removal(meshes, placements, SPACE, voxel_mm=1.0).is_free
        assert [len(memory) for memory in memories] == [n + more for n, more in zip(before, (1, 2, 2), strict=True)]
    del meshes
    gc.collect()
    assert [len(memory) for memory in memories] == before


def test_a_result_is_worked_out_once_and_a_full_memory_begins_anew():
    kept, owner, made = Kept(2), box_mesh(1, 1, 1), []
    for asked in (1, 1, 2, 1, 3, 1):
        assert kept.get(owner, asked, lambda asked=asked: made.append(asked) or 10 * asked) == 10 * asked
    assert made == [1, 2, 3, 1]
    assert len(kept) == 2
