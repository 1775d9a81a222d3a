"""Papers that hang on the bench: large enough for one metre, no tag over another, and what was measured on them."""

import numpy as np
import pytest

from cakewright.documents.inspection_report import Inspected, InspectedSize, inspection_report_pdf
from cakewright.documents.packing_list import packing_list_pdf
from cakewright.documents.tags import box_mm, size_of, spread_tags
from cakewright.documents.unpack_map import unpack_map_pdf
from tests.documents.paper import pages, picture_of, place_of, text_of
from tests.documents.world import week

_MM = 72 / 25.4
READABLE_MM = 5.0  # a two-hundredth of one metre: a usual rule for signs, from memory


@pytest.fixture(scope="module")
def the_map():
    return unpack_map_pdf(week(), "B1")


def test_the_map_is_large_enough_for_one_metre(the_map):
    """Depth and tray letter are five millimetres high or more; ink is black or grey on white only."""
    for words in ("0 – 20 mm deep", "6 ×"):
        _left, bottom, _right, top = place_of(the_map, words)
        assert (top - bottom) / _MM >= READABLE_MM - 0.6, words  # boxes of letters without a descender are lower
    grey = picture_of(the_map, scale=2.0)
    assert grey.min() == 0
    assert np.percentile(grey, 60) == 255


def test_every_band_begins_a_sheet_of_its_own(the_map):
    """One band lies beside the cake at a time."""
    assert pages(the_map) >= 3
    place_of(the_map, "20 – ", page=1)


def test_no_tag_covers_another():
    """Twelve tags dropped on two spots end apart, inside the picture, and say where they belong."""
    named = [(f"B {n:02d}", 0.3 if n % 2 else 0.9, 0.5) for n in range(12)]
    pt = size_of(len(named))
    placed = spread_tags(named, 112.0, 100.0, pt)
    assert [t.text for t in placed] == [text for text, _, _ in named]
    boxes = [(t.at[0] * 112, t.at[1] * 100, *box_mm(t.text, pt)) for t in placed]
    for i, (x, y, w, h) in enumerate(boxes):
        assert w / 2 <= x <= 112 - w / 2
        assert h / 2 <= y <= 100 - h / 2
        for x2, y2, w2, h2 in boxes[i + 1 :]:
            assert abs(x - x2) >= (w + w2) / 2 - 0.01 or abs(y - y2) >= (h + h2) / 2 - 0.01
    assert any(t.is_moved for t in placed)
    assert spread_tags([], 112.0, 100.0, pt) == ()


def test_a_held_line_stands_on_top_of_the_packing_list():
    """In words, before anything is in the box; without a hold nothing of it is there."""
    text = text_of(packing_list_pdf(week(), "bracket-1", {1: "B1: 2 of 3 bars tested"}))
    assert text.index("DO NOT PACK L01: B1: 2 of 3 bars tested.") < text.index("In the box")
    assert "DO NOT PACK" not in text_of(packing_list_pdf(week(), "bracket-1"))


def test_what_was_measured_is_on_the_inspection_report():
    """The sampling plan, values by piece, what is outside, who measured; room for more stays."""
    size = InspectedSize("bore", "5.9 to 6.1", "P6", {"L01-01": "6.02", "L01-02": "6.2"}, is_good=False)
    known = Inspected(4, 4, "zero acceptance", ("L01-03", "L01-04"), (size,), "the sample is bad", "Jon")
    pdf = inspection_report_pdf(week(), 1, known)
    text = text_of(pdf)
    for said in ("4 · 4 · zero acceptance", "bore 5.9 to 6.1 P6 6.02 6.2 OUTSIDE", "To measure: L01-03, L01-04.",
                 "So far: the sample is bad. Measured by Jon.", "Room for more sizes"):  # fmt: skip
        assert said in text, said
    assert pages(pdf) <= 2
