"""Equal shapes are one object, so that what is known about one is known about all."""

from __future__ import annotations

import copy

from cakewright.app import nest_builds
from cakewright.app.nest_builds import nest_elsewhere
from cakewright.app.shared_meshes import SharedMeshes
from cakewright.nesting import known_shapes
from tests.app.test_nest_builds import nester_of
from tests.conftest import box_mesh


def test_equal_geometry_is_one_object_and_the_oldest_go_first():
    first, copy, other = box_mesh(10, 10, 10), box_mesh(10, 10, 10), box_mesh(20, 10, 10)
    kept = SharedMeshes(most_bytes=first.vertices.nbytes + first.faces.nbytes + 1)
    assert kept.mesh(copy) is copy
    assert kept.mesh(first) is copy
    assert kept.mesh(other) is other
    assert len(kept) == 1
    assert kept.mesh(first) is first  # its twin is gone


def test_a_worker_makes_the_shapes_of_a_part_once(tmp_path, monkeypatch):
    """Two calls that were each sent their own copy: the second voxelises nothing."""
    nester, batch = nester_of(tmp_path, [("brick", 2, "")])
    monkeypatch.setattr(nest_builds, "HERE", SharedMeshes())  # other tests may have brought the same brick
    made = []
    real = known_shapes.shape_of
    monkeypatch.setattr(known_shapes, "shape_of", lambda *a, **k: made.append(1) or real(*a, **k))
    for expected in (True, False):
        made.clear()
        nest_elsewhere(*copy.deepcopy((nester, batch)))
        assert bool(made) is expected
