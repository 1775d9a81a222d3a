"""Marks are where they can be read, as deep as asked, and leave a closed part."""

import manifold3d
import numpy as np
import pytest

from cakewright.errors import DoesNotFitError, GeometryError, InputError
from cakewright.model.mesh import Mesh
from cakewright.nesting.identity import mark_part, volume_of
from cakewright.nesting.letters import dot_cells, read_dots, text_cells
from cakewright.nesting.voxels import is_closed
from tests.conftest import box_mesh
from tests.nesting.conftest import ring_mesh


def seen_on(marked, cells, cell_mm, depth):
    """The mark as a person sees it who looks at the face: True where material is missing (or added) at half depth."""
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.array(marked.mesh.vertices), marked.mesh.faces.astype(np.uint64)))
    n = np.array(marked.normal)
    up = np.array([0.0, 1.0, 0.0]) if abs(n[1]) < 0.9 else np.array([0.0, 0.0, 1.0])
    right = np.cross(up, n)
    rows, columns = cells.shape
    out = np.zeros(cells.shape, bool)
    for turn in range(4):
        for r in range(rows):
            for c in range(columns):
                at = (c - (columns - 1) / 2) * right * cell_mm + ((rows - 1) / 2 - r) * up * cell_mm
                point = np.array(marked.at_mm) + at + n * (depth / 2 if marked.is_raised else -depth / 2)
                probe = manifold3d.Manifold.cube([0.1] * 3, True).translate(list(point))
                inside = (probe ^ solid).volume() > 5e-4
                out[r, c] = inside == marked.is_raised
        if np.array_equal(out, cells.astype(bool)):
            return out, turn
        up, right = right, -up
    return out, None


@pytest.mark.parametrize("raised", [False, True])
def test_the_text_reads_left_to_right_from_outside(raised):
    """'L7' on a block: what is cut (or put on) is exactly the letters, never their mirror image."""
    cells = text_cells("L7")
    marked = mark_part(box_mesh(30, 20, 10), cells, cell_mm=0.6, depth_mm=0.5, raised=raised)
    _, turn = seen_on(marked, cells, 0.6, 0.5)
    assert turn is not None
    assert is_closed(marked.mesh)


def test_the_mark_has_the_volume_of_its_cells():
    """Engraving takes away cells x edge² x depth, with the corners that join them."""
    cells = dot_cells(5)
    block = box_mesh(30, 20, 10)
    marked = mark_part(block, cells, cell_mm=1.0, depth_mm=0.5)
    assert volume_of(block) - volume_of(marked.mesh) == pytest.approx(cells.sum() * 0.5, rel=0.2)


def test_a_thin_plate_is_raised_but_not_engraved():
    """A 1.2 mm plate has no 1 mm wall behind a 0.6 mm cut, but there is room on top of it."""
    plate = box_mesh(40, 30, 1.2)
    with pytest.raises(DoesNotFitError, match="no flat face has room"):
        mark_part(plate, text_cells("L1"), cell_mm=0.6)
    assert mark_part(plate, text_cells("L1"), cell_mm=0.6, raised=True).mesh.size_mm[2] == pytest.approx(1.8)


def test_the_mark_lies_on_the_ring_and_not_over_its_hole():
    """Nine dots find the flat between the inner and the outer edge."""
    marked = mark_part(ring_mesh(60, 30, 5), dot_cells(13), cell_mm=0.8)
    assert max(abs(marked.at_mm[0]), abs(marked.at_mm[1])) == pytest.approx(22.5, abs=1.0)


def test_a_part_without_flat_faces_says_so():
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions=3, radius=15)
    with pytest.raises(DoesNotFitError, match="no flat face") as caught:
        mark_part(Mesh(ball.vertices, ball.faces), text_cells("A1"), cell_mm=0.6)
    assert "dots" in caught.value.remedy


def test_an_open_mesh_is_refused():
    block = box_mesh(30, 20, 10)
    with pytest.raises(GeometryError, match="not closed"):
        mark_part(Mesh(block.vertices, block.faces[:-1]), text_cells("A"), cell_mm=0.6)


@pytest.mark.parametrize("number", [0, 1, 13, 40, 255, 1000])
def test_dots_spell_the_number_and_notice_a_lost_one(number):
    """Written and read again; any dot moved to the other row is noticed by parity."""
    cells = dot_cells(number)
    assert read_dots(cells) == number
    for column in range(2, cells.shape[1], 2):
        broken = cells.copy()
        broken[[0, 2], column] = broken[[2, 0], column]
        with pytest.raises(InputError, match="contradict"):
            read_dots(broken)


def test_letters_differ_from_each_other_and_from_their_mirror_images_where_it_matters():
    """No two signs share a picture, so L12 cannot be read as L15."""
    signs = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-"
    pictures = {text_cells(s).tobytes() for s in signs}
    assert len(pictures) == len(signs)
    assert text_cells("L08").shape == (7, 17)


def test_what_cannot_be_written_is_named():
    with pytest.raises(InputError, match="cannot write 'ø7'"):
        text_cells("ø7")
    with pytest.raises(InputError, match="number 99 in 4 dots"):
        dot_cells(99, bits=4)
