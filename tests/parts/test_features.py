"""Each feature that a material cannot hold is told with its place, its value and its limit; sound ones are not."""

import manifold3d as m3
import numpy as np
import pytest

from cakewright.formats.mesh_file import read_mesh
from cakewright.model.mesh import Mesh
from cakewright.parts.balls import BallScene
from cakewright.parts.check import check_part
from cakewright.parts.features import check_features
from cakewright.parts.limits import family_of, limits_of
from cakewright.parts.measure import measure
from cakewright.parts.rays import RayScene, spread_spots, wall_by_ray
from cakewright.parts.topology import topology_of
from tests.conftest import box_mesh
from tests.parts.test_check import CHAMBER, NYLON
from tests.parts.test_measure import joined


def mesh_of(body: m3.Manifold) -> Mesh:
    raw = body.to_mesh64() if hasattr(body, "to_mesh64") else body.to_mesh()
    return Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts))


def block(x, y, z, at=(0, 0, 0)):
    return m3.Manifold.cube([x, y, z]).translate(at)


def rod(length, d, at=(0, 0, 0), turn=(0, 0, 0), sides=48):
    return m3.Manifold.cylinder(length, d / 2, d / 2, sides).rotate(turn).translate(at)


def told(body, limits=None):
    mesh = mesh_of(body) if isinstance(body, m3.Manifold) else body
    found = check_features(mesh, topology_of(mesh), limits or limits_of(NYLON), (), 1, "L01")
    by_code = {}
    for finding in found:
        by_code.setdefault(finding.code, finding)
        if finding.code != "part.limits-of-pa12":
            assert finding.value is not None and finding.limit is not None and finding.unit, finding.code
    return by_code


def test_a_thick_block_with_wide_holes_has_no_doubts():
    """9 mm thick, two holes of 6 mm: nothing to say."""
    body = block(40, 20, 9) - rod(20, 6, (10, 10, -5)) - rod(20, 6, (30, 10, -5))
    assert told(body) == {}


def test_the_ball_does_not_exaggerate_a_slanted_wall_and_the_ray_does():
    """In a wedge the ray runs far; the ball stops at the other face. Closed form: d = 2 x tan(angle / 2)."""
    angle = np.radians(30)
    wedge = m3.CrossSection([[(0, 0), (20, 0), (20, 20 * np.tan(angle))]]).extrude(30)
    mesh = mesh_of(wedge)
    spots, scene = spread_spots(mesh, 3000, 1), RayScene(mesh)
    ray = wall_by_ray(mesh, scene, spots)
    ball, _ = BallScene(mesh).opposed(spots, ray, inside=True)
    bottom = (spots.normal[:, 1] < -0.99) & (spots.at[:, 0] > 2) & (spots.at[:, 0] < 14)
    x = spots.at[bottom, 0]
    # a ball on the bottom at x touches the slope: its radius is x tan(angle / 2)
    assert ball[bottom] == pytest.approx(2 * x * np.tan(angle / 2), rel=1e-6)
    assert (ray[bottom] > 1.05 * ball[bottom]).all()


def test_a_plate_of_two_walls_is_measured_exactly():
    """Ray and ball agree between parallel faces."""
    mesh = box_mesh(40, 30, 0.5)
    spots, scene = spread_spots(mesh, 500, 1), RayScene(mesh)
    ray = wall_by_ray(mesh, scene, spots)
    ball, _ = BallScene(mesh).opposed(spots, ray, inside=True)
    flat = np.abs(spots.normal[:, 2]) > 0.9
    assert ball[flat] == pytest.approx(0.5, rel=1e-6)


def test_two_thin_ribs_are_two_findings_with_their_places():
    """0.4 and 0.6 mm on one base, limit 0.8."""
    body = block(40, 20, 3) + block(0.4, 20, 12, (5, 0, 2)) + block(0.6, 20, 12, (30, 0, 2))
    mesh = mesh_of(body)
    thin = [
        f for f in check_features(mesh, topology_of(mesh), limits_of(NYLON), (), 1, "") if f.code == "part.thin-wall"
    ]
    said = sorted((round(f.at_mm[0]), f.message[:17]) for f in thin)
    assert [s[1] for s in said] == ["a wall of 0.40 mm", "a wall of 0.60 mm"]
    assert said[0][0] in (5, 6) and said[1][0] in (30, 31)
    assert all("limit 0.8 mm" in f.message for f in thin)
    assert sorted(round(f.value, 3) for f in thin) == [0.4, 0.6] and {f.limit for f in thin} == {0.8}


def test_a_small_hole_and_a_deep_blind_one():
    """1 mm through 5 mm closes; 2 mm and 30 mm deep with one opening cannot be blown out."""
    body = block(40, 30, 40) - rod(60, 1, (8, 8, -5)) - rod(31, 2, (25, 15, 10))
    found = told(body)
    assert "a hole of 1.00 mm" in found["part.small-hole"].message
    hard = found["part.hard-to-clean"].message
    assert "30 mm long, open at one end, straight" in hard and "15 diameters deep" in hard


def test_a_channel_round_a_corner_has_no_line_of_sight():
    """3 mm, along x then up: one bend, both ends open."""
    bend = (
        rod(40, 3, (-5, 15, 10), (0, 90, 0))
        + rod(40, 3, (35, 15, 10))
        + m3.Manifold.sphere(1.5, 48).translate((35, 15, 10))
    )
    found = told(block(45, 30, 40) - bend)
    assert "no line of sight" in found["part.hard-to-clean"].message
    assert "1 bend" in found["part.hard-to-clean"].message


def test_a_wide_straight_channel_is_fine():
    """6 mm through 40 mm."""
    assert "part.hard-to-clean" not in told(block(40, 30, 30) - rod(60, 6, (-5, 15, 15), (0, 90, 0)))


def test_pins_thin_and_slender():
    """0.6 mm is thinner than the limit; 2 mm by 40 mm is 20 times its thickness."""
    found = told(block(20, 20, 5) + rod(10, 0.6, (5, 5, 4)) + rod(41, 2, (14, 14, 4)))
    assert "a pin of 0.60 mm, 9.0 mm long" in found["part.thin-pin"].message
    assert "20 times its thickness" in found["part.slender"].message


def test_a_slot_in_one_body():
    """A saw cut of 0.3 mm in a block."""
    found = told(block(30, 20, 20) - block(0.3, 30, 12, (15, -5, 12)))
    assert (
        "a slot of 0.30 mm" in found["part.narrow-gap"].message and "limit 0.5 mm" in found["part.narrow-gap"].message
    )


def test_a_notch_beside_a_round_boss_is_no_slot():
    """The gap between a boss and the wall it touches runs out to nothing: sintering fills it, and nobody minds."""
    body = block(40, 40, 3) + block(3, 40, 20, (0, 0, 2)) + rod(20, 8, (7 - 1e-3, 20, 2), sides=96)
    assert "part.narrow-gap" not in told(body)


def test_the_eye_of_an_engraved_letter_is_no_hole():
    """1.4 mm across, 0.4 mm deep."""
    assert "part.small-hole" not in told(block(20, 20, 5) - rod(3, 1.4, (10, 10, 4.6)))


def test_a_long_thin_plate_may_warp_and_a_short_one_not():
    """160 x 60 x 3: 160 mm x 96 cm² / 3 mm is above 200 thousand mm²."""
    assert "512 thousand" in told(block(160, 60, 3))["part.may-warp"].message
    assert "part.may-warp" not in told(block(90, 60, 3))


def test_a_solid_lump_is_hot():
    """15 mm is a note; 40 mm a warning."""
    assert told(block(30, 30, 15))["part.thick-section"].severity.value == "note"
    assert told(block(40, 40, 40))["part.thick-section"].severity.value == "warning"


def test_a_knife_edge_is_told_with_its_angle():
    """A wedge of 12 degrees."""
    wedge = m3.CrossSection([[(0, 0), (40, 0), (40, 40 * np.tan(np.radians(12)))]]).extrude(30)
    assert "has 12°" in told(wedge)["part.knife-edge"].message


def test_coarse_facets_against_the_rise_of_a_chord():
    """A cylinder of 60 mm cut in 24: 30 (1 - cos 7.5°) = 0.257 mm; cut in 120 it is fine. A chamfer is no curve."""
    assert "stand 0.26 mm off" in told(rod(9, 60, sides=24))["part.coarse-facets"].message
    assert "part.coarse-facets" not in told(rod(9, 60, sides=120))
    chamfered = m3.CrossSection([[(0, 0), (40, 0), (40, 6), (34.8, 9), (0, 9)]]).extrude(30)
    assert "part.coarse-facets" not in told(chamfered)


def test_facets_that_share_a_part_of_their_side_are_no_wider_than_they_are(shared):
    """A published base with roundings of 5 mm in steps of 15°: 5 (1 - cos 7.5°) = 0.04 mm, once told as 0.17 mm."""
    found, _ = read_mesh(shared / "meshes" / "real" / "lab_scope_base.stl")
    assert "part.coarse-facets" not in told(found.mesh)


def test_bodies_that_overlap_a_little_have_no_wall_there():
    """Two blocks that share 0.05 mm are not 0.05 mm thin; a hollow with a skin of 0.5 mm is."""
    two = joined(box_mesh(20, 20, 8), box_mesh(20, 20, 8, (0, 0, 7.95)))
    assert "part.thin-wall" not in told(two)
    inner = box_mesh(19, 19, 7, (0.5, 0.5, 0.5))
    hollow = joined(box_mesh(20, 20, 8), Mesh(inner.vertices, inner.faces[:, ::-1]))
    assert "a wall of 0.50 mm" in told(hollow)["part.thin-wall"].message


def test_the_place_of_a_plate_lies_on_the_plate():
    """A frame of 200 x 120 x 3: the middle of its face is a window, the place to look at is not."""
    frame = block(200, 120, 3) - block(170, 90, 5, (15, 15, -1))
    x, y, z = told(frame)["part.may-warp"].at_mm
    assert not (15 < x < 185 and 15 < y < 105) and min(abs(z), abs(z - 3)) < 1e-9


def letters(tall, stroke, deep):
    """Four strokes shaped like T, L, I and U on a plate."""

    def bar(x, y, w, h):
        return block(w, h, deep + 1, (x, y, 4 - 1e-9 - 1 + 1))

    t = bar(5, 5 + tall - stroke, tall * 0.7, stroke) + bar(5 + tall * 0.35 - stroke / 2, 5, stroke, tall)
    ell = bar(15, 5, stroke, tall) + bar(15, 5, tall * 0.5, stroke)
    i = bar(22, 5, stroke, tall)
    u = bar(26, 5, stroke, tall) + bar(26, 5, tall * 0.6, stroke) + bar(26 + tall * 0.6 - stroke, 5, stroke, tall)
    return block(40, 20, 4 + 1e-9) + (t + ell + i + u) - block(80, 80, 10, (-10, -10, 4 + deep))


def test_lettering_too_flat_or_too_low():
    """0.3 mm raised where 0.5 is needed; 5 mm high and 0.8 raised is fine."""
    assert "0.30 mm raised (limit 0.5)" in told(letters(5, 0.9, 0.3))["part.fine-lettering"].message
    assert "1.6 mm high" in told(letters(1.6, 0.6, 0.8))["part.fine-lettering"].message
    assert "part.fine-lettering" not in told(letters(5, 0.9, 0.8))


def test_minutes_to_clean_are_added_up():
    """Thirty deep blind holes are a morning for a hundred pieces."""
    body = block(70, 60, 30)
    for i in range(6):
        for j in range(5):
            body -= rod(28, 2.5, (6 + 11 * i, 6 + 11 * j, 5))
    found = told(body)
    assert "30 deep holes" in found["part.cleaning-time"].message


def test_the_name_of_the_material_chooses_the_limits():
    """And a name that tells nothing is said."""
    names = {"PA12 natural": "PA12", "PA 11 black": "PA11", "PA12-GF": "PA12 glass-filled", "TPU 90A": "TPU",
             "PP": "PP", "copper": None}  # fmt: skip
    assert {name: family_of(name) for name in names} == names
    from dataclasses import replace

    assert "part.limits-of-pa12" in told(block(9, 9, 9), limits_of(replace(NYLON, name="white stuff")))


def test_a_cell_may_set_its_own_limits():
    """This cell's machine opens 0.9 mm holes."""
    from dataclasses import replace

    own = limits_of(replace(NYLON, limits=(("hole_mm", 0.9),)))
    assert own.status("hole_mm") == "set in the cell file" and own["hole_mm"] == 0.9
    assert "part.small-hole" not in told(block(20, 20, 5) - rod(9, 1.0, (10, 10, -2)), own)


def test_checking_everything_stays_in_order():
    """All findings of one part carry the name that was given."""
    mesh = mesh_of(block(40, 20, 0.5))
    found = check_part(mesh, measure(mesh), where="L07", material=NYLON, chamber_type=CHAMBER)
    assert found and all(f.where == "L07" and f.remedy for f in found)
