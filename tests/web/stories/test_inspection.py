"""Finishing and inspection: inspect only what matters, and a machine that drifts."""

from dataclasses import replace
from datetime import timedelta

import pytest

from cakewright.app import scale_change
from cakewright.formats.lengths_csv import WantedLength
from tests.cell_b import MONDAY
from tests.web.browser import barriers
from tests.web.stories.test_operator import small_targets

INSPECT = "/plans/1/lines/29/inspect?by=Pilar+Osei"
STEADY, LOW = (1.0003, 0.9997, 1.0002, 0.9998, 1.0003, 0.9998, 1.0001), (0.9970, 0.9971, 0.9969)


def measures(tablet, piece, value):
    page = tablet.page
    page.get_by_label("Piece").select_option(piece)
    for label, text in (("What", "bore 28"), ("At least", "27.85"), ("At most", "28.15"), ("Gauge", "calliper 3")):
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_label("Value", exact=True).fill(value)
    tablet.presses("Keep it")
    page.get_by_role("row").filter(has_text=piece).filter(has_text=value.replace(",", ".")).wait_for()


def test_inspect_only_what_matters(tablet):
    """Size and places of the sample; the gauge's day; one bad value fails the line and holds what shares with it."""
    page = tablet.page
    tablet.is_at(10, 12)
    tablet.goes_to("/plans/1/gauges?by=Pilar+Osei")
    form = page.locator("form:has(input[type=date])").first
    form.locator("input[name=name]").fill("calliper 3")
    form.locator("input[type=date]").fill("2027-03-09")
    form.get_by_role("button", name="Keep it").click()
    page.get_by_text("calibration was due 2027-03-09").first.wait_for()
    tablet.goes_to(INSPECT)
    said = tablet.text()
    assert "zero acceptance" in said and "4 of 4 pieces, at most 0 bad" in said
    assert "spread over the height of the cake: L29-1, L29-2, L29-3, L29-4" in said
    assert page.locator(".huge").inner_text().strip() == "open"
    assert small_targets(page) == []
    measures(tablet, "L29-2", "28,05")
    measures(tablet, "L29-1", "28,31")
    assert "calliper 3" in tablet.text() and "was due" in tablet.text()
    assert page.locator(".huge").inner_text().strip() not in ("open", "accept", "good")
    assert "Bad: L29-1" in tablet.text()
    assert barriers(page) == []
    tablet.shows("F3-inspect")
    page.get_by_role("link", name="Something is wrong").click()
    page.get_by_text("Shares something with L29-1").wait_for()
    assert "same build" in tablet.text() and "L29-2" in tablet.text()
    page.get_by_label("What do you see?").fill("bore oval")
    page.get_by_label("Who says so?").select_option("Pilar Osei")
    tablet.presses("Hold it")
    page.locator("article", has_text="bore oval").wait_for()
    assert "pieces share something with it" in page.locator("article", has_text="bore oval").inner_text()
    tablet.goes_to("/plans/1/lines/29")
    assert "held" in tablet.text().lower()
    tablet.shows("F3-held")


@pytest.fixture
def drifting(desk):
    """Ten ladders of machine B1, one in each of ten plans: seven steady, then three low."""
    plan = desk.store.load_plan(1)
    for n, scale in enumerate((*STEADY, *LOW)):
        version = desk.store.save_plan(plan, made_by="Ines Marlow", at=MONDAY) if n else 1
        lengths = [WantedLength(0, wanted, scale * wanted + 0.1) for wanted in (10.0, 40.0, 80.0, 120.0)]
        scale_change.keep_ladder(desk.store, replace(plan, version=version), "B1", lengths, by="Pilar Osei",
                                 at=MONDAY + timedelta(days=n))  # fmt: skip
    return desk


def test_drift(drifting):
    """A rule that fires in one group proposes a new scale with its effect; a second person approves it."""
    desk, page = drifting, drifting.page
    desk.is_at(12, 9)
    desk.goes_to("/plans/10/charts")
    page.get_by_role("link", name="Scale of the machines").click()
    page.get_by_label("Who are you?").select_option("Pilar Osei")
    desk.presses("That is me")
    said = desk.text()
    assert "Machine B1, axis x" in said or "B1, axis x" in said
    assert "A part of 100 mm will measure +0.0" in said
    assert page.locator("main svg").count() >= 1
    assert "PA12" in page.locator("table").first.inner_text()
    assert barriers(page) == []
    desk.shows("F4-proposed")
    page.get_by_label("Who are you?").select_option("Ines Marlow")
    desk.presses("That is me")
    page.get_by_label("Effective from").select_option(label="the next plan")
    desk.presses("Approve it")
    page.get_by_text("effective from the first build of plan 11").wait_for()
    assert "by Ines Marlow" in desk.text()
    desk.shows("F4-approved")


def test_noise_is_left_alone(desk):
    """Values without a rule that fires: a chart, and no change is proposed."""
    desk.is_at(10, 12)
    plan = desk.store.load_plan(1)
    lengths = [WantedLength(0, wanted, wanted + 0.1) for wanted in (10.0, 40.0, 80.0)]
    scale_change.keep_ladder(desk.store, plan, "B1", lengths, by="Pilar Osei", at=MONDAY)
    desk.goes_to("/plans/1/scale?by=Ines+Marlow")
    assert "Leave it:" in desk.text() and "too few" in desk.text()
    assert desk.page.get_by_role("button", name="Approve it").count() == 0
