"""Cages hold what they should hold, let powder out, and are solid meshes."""

import numpy as np
import pytest

from cakewright.errors import DoesNotFitError, InputError
from cakewright.model.build import Placement
from cakewright.nesting.cage import block_of_cage, cage_mesh, fill_cage, opening_mm, passing_mm
from cakewright.nesting.identity import volume_of
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.nesting.voxels import is_closed
from cakewright.sources.identity import CAGE_LID_GAP, CAGE_OPENING_LEAST, CAGE_STRUT
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations

CLIP = (18.0, 9.0, 8.0)


def clips(count):
    """Cable clips as blocks, with every quarter turn allowed."""
    pieces = [NestPiece(f"L08-{n}", "clip", 8) for n in range(count)]
    return NestTask({"clip": box_mesh(*CLIP)}, pieces, {"clip": cube_rotations()}, NestSpace(1, 1, 1), 2.0, 1.0)


def test_an_opening_is_smaller_than_what_may_not_pass():
    """The clip passes 8 mm end first, a strip 1 x 10 passes 7.1 mm with its end turned by 45 degrees."""
    assert passing_mm(CLIP) == 8.0
    assert passing_mm((1, 40, 10)) == pytest.approx(10 / np.sqrt(2))
    assert opening_mm([CLIP]) == pytest.approx(6.4)


def test_grains_are_refused_with_a_remedy():
    """A cage that kept 2 mm grains in would keep the powder in as well."""
    with pytest.raises(InputError, match=r"powder does not come out") as caught:
        opening_mm([(2, 2, 2)])
    assert "sieve" in caught.value.remedy


@pytest.mark.parametrize("inner", [(20, 30, 10), (5, 5, 5), (61.3, 7.7, 33.1)])
def test_the_cage_is_a_closed_solid_with_room_inside(inner):
    """Closed, facing outwards, outer size as computed, and nothing inside the room."""
    mesh = cage_mesh(inner, 6.0)
    bar = CAGE_STRUT.value
    assert is_closed(mesh)
    assert volume_of(mesh) > 0
    size = mesh.size_mm - [2 * bar, 2 * bar, 2 * bar + CAGE_LID_GAP.value]
    assert (size >= np.array(inner) - 1e-9).all()
    inside = ((mesh.vertices > bar + 1e-6) & (mesh.vertices < bar + size - 1e-6)).all(axis=1)
    assert not inside.any()


def test_manifold_agrees_that_it_is_one_solid():
    """The reference kernel finds one body; without its webs the lid would be a second one."""
    import manifold3d

    mesh = cage_mesh((30, 20, 15), 6.0)
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.array(mesh.vertices), mesh.faces.astype(np.uint64)))
    assert solid.status() == manifold3d.Error.NoError
    assert len(solid.decompose()) == 1
    assert float(solid.volume()) == pytest.approx(volume_of(mesh))
    z = mesh.size_mm[2] - CAGE_STRUT.value
    below = solid.trim_by_plane([0, 0, -1], -(z - CAGE_LID_GAP.value / 2)).trim_by_plane([0, 0, 1], z - 0.75)
    assert len(below.decompose()) == 8  # the webs to break


def test_openings_keep_the_clip_in_and_let_powder_out():
    """The widest gap between bars is below what the clip passes and above what powder needs."""
    mesh = cage_mesh((40, 30, 20), opening_mm([CLIP]))
    for axis in range(3):
        levels = np.unique(np.round(mesh.vertices[:, axis], 6))
        gaps = np.diff(levels)
        assert gaps.max() < passing_mm(CLIP)
        assert gaps[gaps > CAGE_STRUT.value + 1e-6].min() >= CAGE_OPENING_LEAST.value


def test_forty_clips_in_one_cage_keep_their_distance():
    """Every clip is in, clear of the others and of the bars, wherever the cage stands."""
    task = clips(40)
    filled = fill_cage(task, [CLIP], (120, 120, 120))
    assert len(filled.pieces) == 40
    turn = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    cage = Placement("L08-cage", "cage", 8, turn, np.array([150.0, 5.0, 3.0]), 3.0, 3.0 + float(filled.size_mm[2]))
    placements = [cage, *filled.placed(cage, task.meshes)]
    meshes = {"clip": task.meshes["clip"], "cage": filled.mesh}
    seen = verify_nest(meshes, placements, NestSpace(200, 200, 200), task.clearance_mm, clock=lambda: 0.0)
    assert seen.is_clear
    low, high = meshes["cage"].placed(turn, cage.translation).box_mm
    for p in filled.placed(cage, task.meshes):
        box = task.meshes["clip"].placed(p.rotation, p.translation).box_mm
        assert (box[0] > low).all()
        assert (box[1] < high).all()
        assert box[0, 2] == pytest.approx(p.z_min_mm)
    assert block_of_cage(filled.size_mm).size_mm == pytest.approx(filled.size_mm)


def test_too_many_for_one_cage_is_said():
    with pytest.raises(DoesNotFitError, match="do not fit into one cage of 40 x 40 x 40 mm"):
        fill_cage(clips(200), [CLIP], (40, 40, 40))
