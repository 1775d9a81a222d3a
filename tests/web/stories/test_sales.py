"""Sales on the phone: price and date, a rush that breaks nobody, an order that comes again."""

import re
from dataclasses import replace
from math import cos, radians, sin

import numpy as np
import pytest

from cakewright.app.contain import report_mistake
from cakewright.app.jobs import QUOTE
from cakewright.formats.stl import write_stl
from cakewright.store import PieceState
from tests.web.browser import barriers
from tests.web.conftest import spent_s

LEAST_S = 60


@pytest.fixture
def calling(desk):
    """Tuesday at nine, somebody is on the phone."""
    desk.is_at(2, 9)
    return desk


def asks(desk, file, pieces, customer="Somebody new", due="2027-03-10", seconds=None):
    """Fill in the form and press; the job goes on to the quote by itself; `seconds` of search as a script says."""
    page = desk.page
    desk.goes_to("/quotes")
    page.get_by_label("Mesh file", exact=True).set_input_files(file)
    for label, text in (("Pieces", str(pieces)), ("Asked for by", due), ("Customer", customer)):
        page.get_by_label(label, exact=True).fill(text)
    for label, choice in (("Material", "PA12"), ("Finish", "blasted"), ("Class", "standard")):
        page.get_by_label(label, exact=True).select_option(choice)
    if seconds is not None:
        page.locator("form[action='/quotes']").evaluate(
            "(form, s) => form.append(Object.assign(document.createElement('input'), "
            "{type: 'hidden', name: 'seconds', value: s}))", str(seconds))  # fmt: skip
    desk.presses("Quote it")
    page.wait_for_url("**/jobs/*")
    desk.shows("S1-job")
    page.wait_for_url(re.compile(r"/quotes/\d+"), timeout=300_000, wait_until="load")


def test_price_and_date_on_the_phone(calling, meshes, caplog):
    """A range of price, P50 and P90, what it is made of; what is missing are questions; a rush names who pays.

    Seconds are those of the processor: other programs may be at work on the machine of the test.
    """
    with caplog.at_level("INFO", logger="cakewright"):
        asks(calling, meshes / "slider_D.stl", 40)
    assert 0 < spent_s(caplog, QUOTE) < LEAST_S
    said = calling.text()
    assert re.search(r"in full mixed builds to [\d.]+ cu in builds of its own", said)
    assert re.search(r"Half of the simulated weeks by 2027-03-\d\d, nine of ten by 2027-03-\d\d", said)
    for row in ("machine", "powder", "hands", "finish", "risk"):
        assert row in said.lower(), row
    assert "Which sizes matter, with which tolerance?" in said
    assert re.search(r"Taking it at once costs others [\d.]+ cu: .*L\d\d loses", said)
    assert barriers(calling.page) == []
    calling.shows("S1-quote")


def test_rush_without_breaking_others(calling):
    """Every line with its chance as planned and then, and what a rush must cost; asking keeps nothing."""
    page = calling.page
    calling.goes_to("/plans/1/what-if")
    page.get_by_label("Print hours").fill("8")
    page.get_by_label("Pieces").fill("40")
    calling.presses("Who loses how much?")
    page.wait_for_url("**/what-if?answer=*")
    said = calling.text()
    assert "late lines to be expected" in said and "loses most" in said
    assert re.search(r"L\d\d", page.locator("details").first.inner_text())
    assert calling.store.newest() == 1
    assert barriers(page) == []
    calling.shows("S2-rush")


def turned(mesh, degrees):
    """The same part in another turn, as another program would write it."""
    c, s = cos(radians(degrees)), sin(radians(degrees))
    return replace(mesh, vertices=mesh.vertices @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]).T)


def test_repeat_order(calling, tmp_path):
    """Renamed and turned it is found with its yield, price and complaint; an equal name with another shape warns."""
    plan = calling.store.load_plan(1)
    old, build = plan.parts[plan.part_of_line[29]], plan.builds_of(29)[0]
    pieces = [p.piece for p in build.pieces_of(29)]
    for piece, state in zip(pieces, [PieceState.FOUND] * 3 + [PieceState.BROKEN], strict=True):
        calling.store.record_piece(plan=1, build=build.key, piece=piece, state=state, by="Pilar Osei", at=calling.now)
    report_mistake(calling.store, plan, pieces[0], what="bore oval", cause="", by="Pilar Osei", at=calling.now)
    write_stl(tmp_path / "optic_holder.stl", turned(old.mesh, 37), "another name")
    calling.is_at(8, 9)  # every build is loaded: no room is tried
    asks(calling, tmp_path / "optic_holder.stl", 4, seconds=0)
    said = calling.page.locator("section", has_text="Made before").last.inner_text()
    assert "L29" in said and old.name in said
    assert "75 %" in said and "3 found, 1 broken, 0 missing" in said
    assert "bore oval" in said and re.search(r"cost [\d.]+ cu each in the plan", said)
    calling.shows("S3-repeat")
    stretched = replace(old.mesh, vertices=old.mesh.vertices * np.array([1.0, 1.0, 1.1]))
    write_stl(tmp_path / old.origin.file, stretched, old.name)
    asks(calling, tmp_path / old.origin.file, 4, seconds=0)
    assert "has another shape than that of" in calling.page.locator(".stop").inner_text()
    assert barriers(calling.page) == []
    calling.shows("S3-same-name")
