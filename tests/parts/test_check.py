"""Each doubt about a part is found, with its place."""

import numpy as np
import pytest

from cakewright.findings import Severity
from cakewright.model.cell import ChamberType, Material
from cakewright.model.mesh import Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.parts.check import check_part
from cakewright.parts.measure import measure
from tests.conftest import box_mesh
from tests.parts.test_measure import inside_out, joined

NYLON = Material("invented PA12", 0.95, 0.45, 170, 60, 0.1, 2000, 50, 100, 100, 0.05, 0.8, (1.03, 1.03, 1.02))
CHAMBER = ChamberType("small", 200, 250, 330, 5, 5, 5, 5, 30)


def codes(mesh, **extra):
    return {
        f.code: f for f in check_part(mesh, measure(mesh), where="L01", material=NYLON, chamber_type=CHAMBER, **extra)
    }


def test_a_good_part_has_no_finding(one_cube):
    """Silence when all is well."""
    assert codes(one_cube, nominal_size_mm=(10, 10, 10), nominal_volume_cm3=1.0) == {}


def test_an_open_box_blocks_and_shows_where(one_cube):
    """The lid is missing."""
    found = codes(Mesh(one_cube.vertices, one_cube.faces[4:]))
    assert found["mesh.open-edges"].severity is Severity.BLOCKING
    assert found["mesh.open-edges"].at_mm is not None


def test_winding_and_sign(one_cube):
    """One flipped face clashes; all flipped is inside out."""
    faces = one_cube.faces.copy()
    faces[0] = faces[0, ::-1]
    assert "mesh.inconsistent-winding" in codes(Mesh(one_cube.vertices, faces))
    assert "mesh.inside-out" in codes(inside_out(one_cube))


def test_a_flat_sheet_has_no_volume():
    """Two triangles back to back."""
    sheet = Mesh(np.array([[0, 0, 0], [9, 0, 0], [0, 9, 0.0]]), np.array([[0, 1, 2], [0, 2, 1]]))
    assert "mesh.no-volume" in codes(sheet)


def test_a_sealed_void_is_told_with_its_volume():
    """0.512 cm³ of powder would stay inside."""
    found = codes(joined(box_mesh(20, 20, 20), inside_out(box_mesh(8, 8, 8, (6, 6, 6)))))
    assert "0.512 cm³" in found["part.sealed-void"].message
    assert "part.several-bodies" not in found


def test_two_bodies_are_asked_about():
    """One piece or two?"""
    assert (
        "2 separate bodies"
        in codes(joined(box_mesh(9, 9, 9), box_mesh(9, 9, 9, (20, 0, 0))))["part.several-bodies"].message
    )


def test_the_order_line_is_compared(one_cube):
    """Wrong size, wrong volume."""
    found = codes(one_cube, nominal_size_mm=(12, 10, 10), nominal_volume_cm3=1.2)
    assert {"part.size-differs", "part.volume-differs"} <= found.keys()


def test_a_long_rod_fits_on_the_diagonal():
    """400 mm in a chamber of 190 x 240 x 320 mm: only along the space diagonal (443 mm)."""
    assert "part.too-large" not in codes(box_mesh(400, 5, 5))
    assert codes(box_mesh(450, 5, 5))["part.too-large"].severity is Severity.BLOCKING


def test_shrink_factors_count():
    """316 mm fits as drawn, not as exposed (x 1.03): 325.5 > 320 standing, and flat plates cannot tilt."""
    assert "part.too-large" in codes(box_mesh(188, 238, 312))
    assert "part.too-large" not in codes(box_mesh(183, 232, 312))


def test_a_part_that_may_not_be_turned_must_fit_as_it_stands():
    """Lying down it would fit."""
    rod = box_mesh(300, 20, 20)
    assert "part.too-large" in codes(rod, rule=OrientationRule(Freedom.ABOUT_Z))
    assert "part.too-large" not in codes(rod)


def test_a_thin_plate_is_told_with_its_thickness():
    """0.5 mm where the material needs 0.8."""
    found = codes(box_mesh(40, 30, 0.5))["part.thin-wall"]
    assert "0.50 mm" in found.message
    assert found.at_mm[2] == pytest.approx(0, abs=1e-9) or found.at_mm[2] == pytest.approx(0.5)


def test_bodies_that_overlap_nest_touch_or_lie_apart_are_named():
    """Four ways in which two closed bodies in one file are doubtful."""
    block = box_mesh(20, 20, 20)
    assert "part.overlapping-bodies" in codes(joined(block, box_mesh(20, 20, 20, (10, 9, 8))))
    assert "part.nested-bodies" in codes(joined(block, box_mesh(5, 5, 5, (7, 7, 7))))
    assert "part.touching-bodies" in codes(joined(block, box_mesh(20, 20, 20, (20, 20, 0))))
    assert "99 mm of air" in codes(joined(block, box_mesh(20, 20, 20, (119, 0, 0))))["part.bodies-far-apart"].message


def test_two_blocks_that_stand_side_by_side_do_not_overlap():
    """A shared wall is touching, not passing through."""
    assert "part.overlapping-bodies" not in codes(joined(box_mesh(20, 20, 20), box_mesh(20, 20, 20, (20, 0, 0))))


def test_a_body_turned_inside_out_is_no_cavity():
    """Negative volume outside all material is a mistake in the file, not trapped powder."""
    found = codes(joined(box_mesh(20, 20, 20), inside_out(box_mesh(5, 5, 5, (40, 0, 0)))))
    assert "mesh.inside-out" in found and "part.sealed-void" not in found


def test_double_faces_are_counted(one_cube):
    """Two triangles written twice."""
    found = codes(Mesh(one_cube.vertices, np.vstack([one_cube.faces, one_cube.faces[:2]])))
    assert "2 triangles stand at the place of another" in found["mesh.double-faces"].message


def test_plates_that_should_slide_and_would_fuse_are_told_and_wide_ones_are_not():
    """Two plates of one file, 0.3 mm or 1 mm apart."""
    plates = {gap: joined(box_mesh(40, 30, 3), box_mesh(40, 30, 3, (0, 0, 3 + gap))) for gap in (0.3, 1.0)}
    assert "0.30 mm" in codes(plates[0.3])["part.moving-gap"].message
    assert "part.moving-gap" not in codes(plates[1.0])
