"""The report on a part: every place drawn where it is, questions that can be sent, the same in both forms."""

import re
from dataclasses import replace

import numpy as np
import pypdfium2
import pytest

from cakewright.app.check_part import judge
from cakewright.app.init_cell import template_cell
from cakewright.app.report_part import part_sheet, write_report
from cakewright.documents.part_faces import shown_faces
from cakewright.documents.part_questions import QUESTIONS
from cakewright.documents.part_report import PartSheet, part_report_html
from cakewright.documents.part_report_pdf import part_report_pdf
from cakewright.documents.part_views import PartViews, Spot
from cakewright.findings import Finding, Severity
from cakewright.formats.stl import stl_bytes
from cakewright.model.mesh import Mesh
from tests.conftest import ROOT, box_mesh

ORANGE = (1.0, 0.62, 0.22)


def words_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    return re.sub(r"\s+", " ", " ".join(page.get_textpage().get_text_range() for page in document))


@pytest.fixture
def sheet():
    """A block with a doubt on its front, one inside and a remark on the file."""
    findings = (
        Finding(
            "part.thick-section", Severity.NOTE, "solid for 20 mm, limit 10 mm", "", "hollow it", (20.0, 15.0, 10.0)
        ),
        Finding(
            "part.thin-wall", Severity.WARNING, "a wall of 0.40 mm; limit 0.8 mm", "", "thicken it", (20.0, 0.0, 10.0)
        ),
        Finding("mesh.degenerate-faces", Severity.NOTE, "2 triangles have no area", "", "nothing", (1.0, 1.0, 0.0)),
    )
    return PartSheet("block <i>.stl", "ab" * 32, "PA12", "millimetre", box_mesh(40, 30, 20), True, findings,
                     (40.0, 30.0, 20.0), 24.0, 22.8, 12)  # fmt: skip


def test_both_forms_say_the_same_and_end_in_a_question(sheet):
    """The gravest first; remarks on the file are small print; a name cannot become markup."""
    page, paper = part_report_html(sheet), words_of(part_report_pdf(sheet))
    for text in ("It can be made; 1 point needs your decision first.", "May the wall be made thicker"):
        assert text in page and text in paper
    assert "block &lt;i&gt;.stl" in page and "<i>.stl" not in page
    assert page.index("0.40 mm") < page.index("solid for 20 mm") < page.index("2 triangles have no area")
    assert page.count("data:image/png") == 3
    assert "no direction shows it" in page and "hidden from every side" in paper


def test_the_place_is_coloured_where_it_is(sheet):
    """The middle of the front, seen from the front: the colour is about the spot on the picture."""
    views = PartViews(sheet.mesh, is_closed=True)
    picture = views.place(Spot(1, (20.0, 0.0, 10.0)), 300)
    axes, is_seen = views.look_at((20.0, 0.0, 10.0))
    assert is_seen and axes[2] @ np.array([0, -1.0, 0]) > 0.5
    warm = picture.pixels[:, :300, 0].astype(int) - picture.pixels[:, :300, 2] > 60
    rows, columns = np.nonzero(warm)
    width = picture.pixels.shape[1]
    assert len(rows) > 50
    assert abs(columns.mean() - 150) < 12 and width > 600


def test_in_a_hole_there_is_no_close_up_of_nothing(sheet):
    """A frame seen through its window: the whole part with the ring, no white square beside it."""
    bars = [box_mesh(40, 4, 4, at) for at in ((0, 0, 0), (0, 36, 0))] + [
        box_mesh(4, 32, 4, at) for at in ((0, 4, 0), (36, 4, 0))
    ]
    frame = Mesh(np.vstack([b.vertices for b in bars]), np.vstack([b.faces + 8 * n for n, b in enumerate(bars)]))
    views = PartViews(frame, is_closed=True)
    assert views.place(Spot(1, (20.0, 20.0, 2.0)), 300).pixels.shape[1] <= 320
    assert views.place(Spot(1, (20.0, 2.0, 4.0)), 300).pixels.shape[1] > 500


def test_a_place_inside_is_said_to_be_hidden(sheet):
    """No direction shows the middle of a solid block."""
    assert not PartViews(sheet.mesh, is_closed=True).is_in_sight((20.0, 15.0, 10.0))


def test_a_refused_file_gets_a_picture_of_where(tmp_path):
    """A box without lid: the hole is too large to be closed; it is ringed, and the remedy is a question."""
    cube = box_mesh(30, 30, 30)
    file = tmp_path / "open box.stl"
    file.write_bytes(stl_bytes(Mesh(cube.vertices, cube.faces[4:]), "box"))
    cell = template_cell()
    judged = judge(file, cell, cell.materials[0].name)
    assert judged.part is None and judged.mesh is not None
    page = part_report_html(part_sheet(judged, cell, cell.materials[0].name))
    assert "The file cannot be used" in page and "data:image/png" in page
    assert "Could you close the surface at this place" in page
    assert "We repaired the surface" not in page.partition("Questions, ready to send")[2]


def test_a_file_that_is_no_mesh_still_gets_a_report(tmp_path):
    """Without pictures, with the reason, in two files."""
    file = tmp_path / "letter.stl"
    file.write_bytes(b"Dear Sir,")
    cell = template_cell()
    sheet = part_sheet(judge(file, cell, cell.materials[0].name), cell, cell.materials[0].name)
    html, pdf = write_report(sheet, tmp_path / "out")
    assert "The file cannot be used" in html.read_text(encoding="utf-8") and pdf.read_bytes().startswith(b"%PDF")


def test_marked_faces_are_drawn_and_said(sheet):
    """The top of the block must look good: coloured on the picture, named in both forms; unmarked ones are offered."""
    bare = replace(sheet, findings=(), faces=shown_faces(sheet.mesh))
    page = part_report_html(bare)
    assert "No face was marked" in page and "must look good</b>" not in page
    top = next(f for f in bare.faces.listed if f.looks[2] > 0.9)
    marked = replace(bare, faces=shown_faces(sheet.mesh, [top.at_mm]))
    assert marked.faces.marked == (top.number,)
    page, paper = part_report_html(marked), words_of(part_report_pdf(marked))
    for text in (f"Face {top.number} must look good", "towards +Z, 12.0 cm², must look good"):
        assert text in page and text in paper
    views = PartViews(sheet.mesh, is_closed=True)

    def coloured(faces):
        pixels = faces.picture(views).pixels.astype(int)
        return int((pixels[..., 0] - pixels[..., 2] > 60).sum())

    assert coloured(marked.faces) > 5000 and coloured(bare.faces) == 0


def test_every_question_belongs_to_a_documented_finding():
    """No question for a code that nothing says."""
    shelf = ROOT / "docs" / "reference" / "findings"
    told = "".join(path.read_text(encoding="utf-8") for path in shelf.glob("*.md"))
    assert [code for code in QUESTIONS if code not in told] == []
