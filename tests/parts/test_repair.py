"""Repair does what it says, counts it, and refuses to guess."""

import numpy as np
import pytest

from cakewright.formats.mesh_file import read_mesh, recover_mesh
from cakewright.model.mesh import Mesh
from cakewright.parts.repair import repair
from tests.conftest import box_mesh
from tests.parts.test_measure import inside_out, joined


def codes(found):
    return [f.code for f in found.findings]


def test_a_sound_part_is_left_alone(one_cube):
    """Nothing done, nothing said."""
    found = repair(one_cube)
    assert found.findings == () and found.mesh is one_cube and found.moved_mm == 0


def test_flipped_faces_agree_again(one_cube):
    """Three faces of a cube look inwards: the few are turned, not the many."""
    faces = one_cube.faces.copy()
    faces[[0, 4, 7]] = faces[[0, 4, 7], ::-1]
    found = repair(Mesh(one_cube.vertices, faces))
    assert codes(found) == ["repair.turned", "repair.result"] and found.is_sound
    assert np.array_equal(np.sort(found.mesh.faces, axis=1), np.sort(one_cube.faces, axis=1))
    assert found.after.volume_mm3 == pytest.approx(1000)


def test_an_inside_out_block_with_a_cavity_turns_but_the_cavity_stays():
    """The outer shell is turned outwards; the inner one, which bounds powder, is turned inwards with it."""
    hollow = joined(box_mesh(20, 20, 20), inside_out(box_mesh(8, 8, 8, (6, 6, 6))))
    assert repair(hollow).findings == ()
    free = joined(inside_out(box_mesh(20, 20, 20)), box_mesh(5, 5, 5, (40, 0, 0)))
    assert repair(free).after.volume_mm3 == pytest.approx(8000 + 125)


def test_a_missing_triangle_is_closed_and_a_missing_lid_is_not():
    """A small hole is unambiguous; a sixth of the surface is guesswork and is refused with its place."""
    fine = box_mesh(100, 100, 100)
    tip = joined(fine, box_mesh(4, 4, 4, (200, 0, 0)))
    small = repair(Mesh(tip.vertices, tip.faces[:-1]))
    assert "repair.hole" in codes(small) and small.is_sound
    lid = repair(Mesh(fine.vertices, fine.faces[2:]))
    refused = next(f for f in lid.findings if f.code == "repair.refused")
    assert not lid.is_sound and refused.at_mm == pytest.approx((50, 50, 0))


def test_what_was_done_is_told_with_volume_and_distance():
    """A corner of one of two blocks closed again: cm³ before and after, and how far the new face reaches."""
    two = joined(box_mesh(100, 100, 100), box_mesh(4, 4, 4, (200, 0, 0)))
    found = repair(Mesh(two.vertices, two.faces[:-1]))
    told = next(f.message for f in found.findings if f.code == "repair.result")
    assert f"volume {found.before.volume_cm3:.4g} cm³ before, {found.after.volume_cm3:.4g} cm³ after" in told
    assert f"further than {found.moved_mm:.2g} mm" in told
    assert found.after.volume_cm3 == pytest.approx(1000.064) and 0 < found.moved_mm < 6


def test_gaps_of_micrometres_are_welded():
    """Every triangle with corners of its own, moved by a tenth of a micrometre."""
    cube = box_mesh(30, 30, 30)
    loose = cube.triangles.reshape(-1, 3) + np.random.default_rng(1).normal(0, 3e-5, (36, 3))
    found = repair(Mesh(loose, np.arange(36).reshape(-1, 3)))
    assert codes(found) == ["repair.welded", "repair.result"] and found.is_sound
    assert 0 < found.moved_mm < 3e-4
    assert found.after.volume_mm3 == pytest.approx(27000, rel=1e-4)


def test_double_faces_go_and_back_to_back_ones_go_both(one_cube):
    """A copy is dropped; a flap without thickness vanishes."""
    flap = [[0, 1, 7], [0, 7, 1]]
    found = repair(Mesh(one_cube.vertices, np.vstack([one_cube.faces, one_cube.faces[:3], flap])))
    assert len(found.mesh.faces) == 12 and found.is_sound


GOOD_CM3 = 18.7002
PUBLISHED = {  # file: (sound after repair, volume in cm³ then)
    "d01_one_facet_missing.stl": (True, GOOD_CM3),
    "d02_big_hole.stl": (False, None),
    "d03_all_inverted.stl": (True, GOOD_CM3),
    "d04_half_flipped.stl": (True, GOOD_CM3),
    "d05_duplicate_faces.stl": (True, GOOD_CM3),
    "d06_shell_twice.stl": (True, GOOD_CM3),
    "d08_degenerate_slivers.stl": (True, GOOD_CM3),
    "d16_truncated_binary.stl": (False, None),
    "d39_obj_cube_face_missing.obj": (False, None),
    "c01_triangle_soup.stl": (False, None),
    "c32_inconsistent_winding.stl": (True, 4**3 / 6 / 1000),  # a tetrahedron cut from a 4 mm cube
    "z30_open_mesh.3mf": (False, None),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_broken_files_are_repaired_to_the_good_part_or_refused(shared, name):
    """The damage is known, so the right volume is known too."""
    is_sound, volume = PUBLISHED[name]
    read = recover_mesh if name.startswith("d16") else read_mesh
    found = repair(read(shared / "meshes/broken" / name)[0].mesh, where=name)
    assert found.is_sound is is_sound
    if is_sound:
        assert found.after.volume_cm3 == pytest.approx(volume, rel=2e-3)
    else:
        assert any(f.code == "repair.refused" and f.at_mm is not None for f in found.findings)
