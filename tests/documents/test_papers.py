"""Papers of the floor: what they say, where it stands, and that names cannot break them."""

import re
from dataclasses import replace

import pytest

from cakewright.documents.labels import labels_pdf, line_id
from cakewright.documents.powder_slip import allowed, powder_slip_pdf
from cakewright.documents.sheet import set_pdf
from cakewright.documents.traveller import CHECKS, traveller_pdf
from cakewright.documents.unpack_map import unpack_map_pdf
from cakewright.documents.words import build_id, title, tray_letter, trays
from cakewright.errors import CakewrightError
from cakewright.model.build import Removal
from cakewright.safety import CLOSING
from tests.documents.paper import find_qr, holds_qr, pages, picture_of, place_of, text_of
from tests.documents.world import NASTY

PAPERS = {
    "traveller": traveller_pdf,
    "powder slip": powder_slip_pdf,
    "unpacking map": unpack_map_pdf,
    "labels": labels_pdf,
}


@pytest.fixture(scope="module")
def papers(plan):
    return {(name, b.key): make(plan, b.key) for name, make in PAPERS.items() for b in plan.builds}


def test_traveller_says_what_the_person_at_the_machine_needs(papers):
    text = text_of(papers["traveller", "B1"])
    for said in (
        "A1 · K1",
        "Mon 1 Mar 08:00",  # load, local time
        "Mon 1 Mar 17:30",  # print end
        "Tue 2 Mar 02:30",  # likely opening
        "range Tue 2 Mar 01:30 – 04:30",
        "6.40 kg",
        "2.56 kg virgin",
        "3.84 kg used",
        "Released by (second person)",
        *CHECKS,
    ):
        assert said in text


def test_big_facts_are_big_and_on_the_first_page(papers):
    """The start is set at least 5 mm high (capitals and digits): readable at 1 m."""
    left, bottom, right, top = place_of(papers["traveller", "B1"], "08:00")
    assert (top - bottom) * 25.4 / 72 > 5.0
    assert right - left > 40
    key = place_of(papers["traveller", "B1"], "B1")
    assert key[1] > bottom, "the build key stands above the times"


def test_a_build_that_must_not_start_says_so_at_the_top(papers, plan):
    text = text_of(papers["traveller", "B2"])
    assert "DO NOT START – clearance: L04-01 and L04-02: 1.20 mm apart, asked 5 mm." in text
    assert "DO NOT START – removal: L04-01 and L04-02 cannot be separated without force." in text
    assert "DO NOT START" not in text_of(papers["traveller", "B1"])
    assert place_of(papers["traveller", "B2"], "DO NOT START")[1] > 600


@pytest.mark.parametrize("name", ["traveller", "unpacking map", "labels"])  # the powder slip names no parts
def test_names_are_printed_as_they_are(papers, name):
    """Hash, dollar, star, quotes, brackets, backslash and at-sign mean nothing to the typesetter."""
    text = text_of(papers[name, "B1"]).replace(" ", "")
    for word in NASTY.split():  # words: a label breaks long names over lines, beside its letter
        assert word in text
    assert "clip<tiny>" in text


@pytest.mark.parametrize("name", ["traveller", "powder slip", "unpacking map"])
def test_qr_code_holds_the_id(papers, plan, name):
    """The modules printed are those of the plain text id, module by module."""
    grey = picture_of(papers[name, "B1"], scale=6)
    corner, side = find_qr(grey)
    assert build_id(plan, "B1") == "cakewright:plan-3/build-B1"
    assert holds_qr(grey, corner, side, build_id(plan, "B1"))
    assert not holds_qr(grey, corner, side, build_id(plan, "B2"))


@pytest.mark.parametrize("name", PAPERS)
def test_papers_are_black_and_white(plan, name):
    """Nothing depends on colour: red, green and blue are equal everywhere."""
    import numpy as np
    import pypdfium2

    with pypdfium2.PdfDocument(PAPERS[name](plan, "B1")) as document:
        rgb = np.asarray(document[0].render(scale=1).to_pil().convert("RGB")).astype(int)
    assert np.ptp(rgb, axis=2).max() <= 8


@pytest.mark.parametrize("name", ["traveller", "powder slip", "unpacking map"])
def test_cautions_stand_on_the_paper_and_defer(papers, name):
    text = text_of(papers[name, "B1"])
    assert "Respirator N95 or better" in text
    assert CLOSING in text


def test_ppe_stands_at_its_step(papers):
    """Heat gloves belong to lifting the chamber, the respirator to weighing before it."""
    page = 1
    pdf = papers["traveller", "B1"]
    weigh, lift = place_of(pdf, "Weigh and fill", page), place_of(pdf, "Lift the chamber", page)
    respirator, heat = place_of(pdf, "Respirator", page), place_of(pdf, "Heat-resistant gloves", page)
    assert weigh[1] > respirator[1] > lift[1] > heat[1]


def test_powder_slip_gives_limits(papers):
    text = text_of(papers["powder slip", "B1"])
    assert "3.84 kg" in text and "3.80 to 3.88" in text
    assert "2.56 kg" in text and "2.53 to 2.59" in text
    assert "Used stock grows by 1.78 kg; at 12 % refresh it would stay level." in text
    assert "30 g/m³" in text
    low, high = allowed(10.0)
    assert low < 10 < high


def test_labels_name_each_tray(papers, plan):
    text = text_of(papers["labels", "B2"])
    letters = trays(plan.build("B2"))
    assert set(letters) == {4, 6}
    assert "L06" in text and "3 pieces" in text
    assert line_id(plan, "B2", 6) == "cakewright:plan-3/build-B2/line-6"


def test_tray_letters_avoid_digits_lookalikes():
    letters = [tray_letter(i) for i in range(60)]
    assert len(set(letters)) == 60
    assert not re.search("[IO]", "".join(letters))
    assert letters[:3] == ["A", "B", "C"] and letters[24] == "AA"


def test_unpacking_map_goes_down_and_warns(papers):
    text = text_of(papers["unpacking map", "B1"])
    assert text.index("0 – 20 mm deep") < text.index("20 – 40 mm deep") < text.index("80 – 100 mm deep")
    assert "C 01 (L02-01) is hooked under D 01: do not lift it yet, it comes free below 120 mm." in text
    assert "Fragile, coming: A clip <tiny> rev A: 6 from 7 mm" in text
    assert "L04-01) and" in text_of(papers["unpacking map", "B2"]) or "hang together" in text_of(
        papers["unpacking map", "B2"]
    )


@pytest.mark.parametrize("name", PAPERS)
def test_pages_are_not_blank(papers, name):
    for build in ("B1", "B2"):
        pdf = papers[name, build]
        for page in range(pages(pdf)):
            assert (picture_of(pdf, page, scale=1) < 128).mean() > 0.002


def test_same_plan_same_paper(plan):
    assert traveller_pdf(plan, "B1") == traveller_pdf(plan, "B1")


def test_a_template_that_cannot_be_set_is_our_error(plan):
    """Missing data is reported as one of our errors, naming the paper."""
    with pytest.raises(CakewrightError, match="traveller"):
        set_pdf("traveller", {"id": "x", "title": "t"})


def test_papers_keep_to_their_pages(papers):
    """A traveller is one sheet, printed on both sides; a powder slip is one side."""
    for build in ("B1", "B2"):
        assert pages(papers["traveller", build]) == 2
        assert pages(papers["powder slip", build]) == 1


def test_long_names_are_shortened_but_keep_their_revision(plan):
    """One line, at most so many characters, places to break in long runs, revision at the end."""
    line = replace(plan.line(1), part="a\nvery " * 30, revision="F")
    assert title(line, 40).endswith("… rev\u00a0F") and len(title(line, 40)) <= 47
    run = title(replace(line, part="x" * 60), 64)
    assert run.replace("\u200b", "") == "x" * 60 + " rev\u00a0F"
    assert max(len(piece) for piece in run.split()[0].split("\u200b")) <= 18
    assert title(replace(line, part="knob", revision="")) == "knob"


def test_forty_lines_with_long_names_stay_inside_the_page(plan):
    """A traveller of 40 lines is still one sheet, and nothing runs over its right edge."""
    lines = tuple(
        replace(plan.line(6), line=i, part="left bracket of the sensor-housing " * 3 + str(i)) for i in range(1, 41)
    )
    old = plan.build("B2")
    pieces = tuple(replace(old.nest.placements[-1], piece=f"L{i:02d}-01", line=i) for i in range(1, 41))
    build = replace(
        old,
        lines=tuple(range(1, 41)),
        nest=replace(old.nest, placements=pieces),
        removal=Removal(tuple(p.piece for p in pieces), (), ()),
        verification=replace(old.verification, violations=()),
    )
    world = replace(plan, builds=(build,), orders=replace(plan.orders, lines=lines))
    pdf = traveller_pdf(world, "B2")
    assert pages(pdf) == 2
    assert "and 16 lines more: see the unpacking map" in text_of(pdf)
    for paper in (pdf, unpack_map_pdf(world, "B2"), labels_pdf(world, "B2")):
        assert (picture_of(paper, 0, scale=2)[:, -20:] > 200).all()


def test_the_map_never_promises_the_early_end_of_the_range(papers):
    """Opening is told as likely and slow case, and a measurement is asked for."""
    text = text_of(papers["unpacking map", "B1"])
    assert "should be cool Tue 2 Mar 02:30, slow case Tue 2 Mar 04:30" in text
    assert "01:30" not in text
    assert "measure before you open: below 50 °C" in text
