"""Finishing and inspection: which grey part is this, the baskets of today."""

import re

from tests.web.browser import barriers


def test_which_of_these_grey_parts_is_this(tablet):
    """Mass and sizes in, ranked candidates with pictures out; mirror twins are called so; confirming is kept."""
    page = tablet.page
    tablet.is_at(2, 9)
    tablet.goes_to("/plans/1/builds/B2/identify")
    page.get_by_label("Mass (g)").fill("20,0")
    for number, size in ((1, "78"), (2, "66"), (3, "29")):
        page.get_by_label(f"Size {number} (mm)").fill(size)
    tablet.presses("Which one?")
    said = tablet.text()
    assert "L03" in said and "L04" in said
    assert "mirrored twin of L04: scale and callipers cannot tell them apart" in said
    chances = [int(p) for p in re.findall(r"(\d+) %", said)]
    assert chances == sorted(chances, reverse=True)
    assert page.locator("main img").count() >= 2
    assert barriers(page) == []
    tablet.shows("F1-identify")
    page.locator("#by1").select_option("Pilar Osei")
    page.get_by_role("button", name="It is one of L03").click()
    page.wait_for_load_state("load")
    records = tablet.store.piece_records(1, "B2")
    assert [(r.by, r.piece[:3]) for r in records] == [("Pilar Osei", "L03")]


def test_todays_baskets(tablet):
    """By recipe and colour, look-alikes apart, with hour, due day and room in the bath; the two finishes of a day."""
    tablet.is_at(2, 9)
    tablet.goes_to("/plans/1/baskets?by=Pilar+Osei")
    said = tablet.text()
    assert "L03 and L04 must not lie together" in said
    assert re.search(r"dye unit, holds 40 l · planned Wed 3 Mar", said)
    assert "litres loose in the basket" in said
    assert tablet.page.locator("button", has_text="It goes in now").count() >= 5
    ticked = [
        box.is_checked() for box in tablet.page.locator("form:has(input[value='basket 6']) input[name=line]").all()
    ]
    assert ticked[:3] == [True, False, True], "the twin is left out of the first load"
    tablet.shows("F2-baskets")
