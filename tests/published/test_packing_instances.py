"""Published packing instances: fixed base, least height, no clearance, translation only.

Stoyan, Gil, Scheithauer, Pankratov, Magdalina, Optimization 54 (2005) 215 (Example1 and its solution); Egeblad,
Nielsen, Brazil, Computational Geometry 42 (2009) 127 (Merged1). Heights other than Example1's are second-hand.
Longer runs on all instances are in benchmarks/nesting_published.py.
"""

import json

import numpy as np
import pytest
import trimesh

from cakewright.model.build import Placement
from cakewright.model.mesh import Mesh
from cakewright.nesting.few import nest_few
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSteps


def instance(folder, name):
    """Meshes and task of an instance file."""
    told = json.loads((folder / f"{name}.json").read_text())
    meshes, pieces = {}, []
    for item in told["item-types"]:
        raw = trimesh.load(folder / item["path"], force="mesh")
        meshes[item["path"]] = Mesh(raw.vertices, raw.faces)
        pieces += [NestPiece(f"{item['path']}-{i}", item["path"], 1) for i in range(item["demand"])]
    space = NestSpace(told["container"]["size-x"], told["container"]["size-y"], 100.0)
    return NestTask(meshes, pieces, dict.fromkeys(meshes, np.eye(3)[None]), space, 0.0, 0.5)


def test_the_published_solution_is_free_of_overlap(shared):
    """Solution of Example1: our check finds it clear at its height, and not clear when one item is pushed 0.01."""
    folder = shared / "packing" / "stoyan2005"
    task = instance(folder, "Example1")
    told = json.loads((folder / "Solution1.json").read_text())
    placements = []
    for item in told["items"]:
        mesh = task.meshes[item["name"]]
        at = np.array(item["transformation"]["position"]) - mesh.box_mm[0]
        z = mesh.box_mm[:, 2] + at[2]
        placements.append(Placement(item["name"], item["name"], 1, np.eye(3), at, float(z[0]), float(z[1])))
    space = NestSpace(12, 10, told["totalHeight"])
    assert max(p.z_max_mm for p in placements) == pytest.approx(17.463067949, abs=1e-6)
    assert verify_nest(task.meshes, placements, space, 0.0, clock=lambda: 0.0).is_clear
    top = max(placements, key=lambda p: p.z_max_mm)
    pushed = Placement(top.piece, top.part_key, 1, np.eye(3), top.translation - [0, 0, 0.01], 0, 17)
    others = [p for p in placements if p is not top]
    assert not verify_nest(task.meshes, [*others, pushed], space, 0.0, clock=lambda: 0.0).is_clear


@pytest.mark.parametrize(
    ("folder", "name", "published", "within", "steps"),
    [("stoyan2005", "Example1", 17.463, 1.001, 400), ("egeblad2009", "Merged1", 16.99, 1.03, 200),
     ("stoyan2005", "Example2", 19.83, 1.0, 300)],
)  # fmt: skip
def test_published_heights_are_met(shared, folder, name, published, within, steps):
    """A short run comes near, or below, the best published height; the exact check finds no overlap."""
    task = instance(shared / "packing" / folder, name)
    result = nest_few(task, stop=MaxSteps(steps), seed=1, removable=False)
    assert not result.left_out
    assert result.height_mm <= within * published
    assert verify_nest(task.meshes, result.placements, task.space, 0.0, clock=lambda: 0.0).is_clear
