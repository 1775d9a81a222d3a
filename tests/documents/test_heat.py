"""Pictures and papers of heat: what they say is what was computed, with and without a record of heat."""

import re
from dataclasses import replace

import numpy as np
import pytest

from cakewright.documents.cooling_sheet import cooling_sheet_pdf
from cakewright.documents.heat_charts import density_svg, heat_pictures
from cakewright.documents.heat_pictures import moment_near, moment_words, section_svg
from cakewright.documents.heat_words import (
    early_words,
    energy_by_line,
    energy_of,
    energy_words,
    heat_doubts,
    may_leave_words,
    piece_rows,
    risk_of,
    risk_words,
    warp_note,
)
from cakewright.documents.report import report_html
from cakewright.documents.traveller import traveller_pdf
from cakewright.documents.unpack_map import unpack_map_pdf
from tests.documents.paper import text_of
from tests.documents.world import week
from tests.store.conftest import heat


@pytest.fixture(scope="module")
def warm():
    """The invented week; its first build has a record of heat with a doubt about L01-01."""
    plan = week()
    return replace(plan, builds=(replace(plan.builds[0], heat=heat(plan.builds[0])), *plan.builds[1:]))


def test_the_cooling_sheet_says_when_where_and_what_early_means(warm):
    """Times, the hottest place as a person finds it, a table for readings, pieces that are cold last, the caution."""
    text = text_of(cooling_sheet_pdf(warm, "B1"))
    for word in (
        "Cooling sheet",
        "not before",
        "95 mm from the left",
        "below the surface",
        "Cold last",
        "May warp: L01-01",
    ):
        assert word in text
    assert "measured below 50 °C" in text


def test_the_cooling_sheet_of_an_older_plan_has_no_inside(warm):
    """Without a record the sheet still hangs on the chamber, with less on it."""
    text = text_of(cooling_sheet_pdf(warm, "B2"))
    assert "not before" in text
    assert "What the inside looks like" not in text


def test_report_traveller_and_map_carry_heat(warm):
    """The doubts are where people look: report, step of lifting out, map of unpacking."""
    html = report_html(warm)
    assert "heat.soft-for-long" in html
    assert "Opening clock" in html
    assert "Chance that it stops" in html
    assert "may leave the machine" in text_of(traveller_pdf(warm, "B1"))
    assert "May warp: L01-01" in text_of(unpack_map_pdf(warm, "B1"))


def test_the_cut_shows_only_what_lies_there(warm):
    """At the first moment the upper half is missing; the words tell before from after."""
    build = warm.builds[0]
    first, last = section_svg(build, 0), section_svg(build, 1)
    assert first.count("<rect") < last.count("<rect")
    assert moment_words(build.heat, 0).endswith("before the print end")
    assert moment_near(build.heat, 1e9) == 1
    assert not re.search(r"nan|inf", first)


def test_a_picture_survives_nasty_names(warm):
    """Every picture is well-formed and names itself for those who cannot see it."""
    from xml.etree import ElementTree

    build = warm.builds[0]
    files = heat_pictures(warm, build)
    assert len(files) == 6
    assert len(heat_pictures(warm, warm.builds[1])) == 2
    for svg in files.values():
        root = ElementTree.fromstring(svg)
        assert root.get("aria-label")
        assert "style" not in root.attrib


def test_early_opening_counts_the_hot_pieces(warm):
    """Hottest first, with a word whether that is too hot."""
    build = warm.builds[0]
    rows = piece_rows(warm, build, 120.0)
    assert [r.opened_c for r in rows] == sorted((r.opened_c for r in rows), reverse=True)
    hot = sum(c > 50 for _, c in build.heat.opened_at(120.0))
    assert sum(r.is_hot for r in rows) == hot
    if hot:
        assert f"{hot} of {build.pieces} pieces" in early_words(build, 120.0)


def test_shares_of_energy_add_up_and_equal_pieces_are_equal(warm):
    """The lines of a build together draw what the build draws; a line's share follows its mass."""
    build = warm.builds[0]
    use, shares = energy_of(warm, build), energy_by_line(warm, build)
    assert sum(kwh for _, kwh, _ in shares) == pytest.approx(use.kwh)
    assert sum(gas for _, _, gas in shares) == pytest.approx(use.gas_m3)
    assert "default figures, unverified" in energy_words(warm, build)


def test_measured_power_is_used_and_said(warm):
    """A machine with its own figures: double power, double printing energy, and the words say whose they are."""
    machine = replace(warm.cell.machines[0], printing_kw=4.0, warm_up_kwh=5.0)
    own = replace(warm, cell=replace(warm.cell, machines=(machine,)))
    assert energy_of(own, own.builds[0]).printing_kwh == pytest.approx(2 * energy_of(warm, warm.builds[0]).printing_kwh)
    assert "machine's own figures" in energy_words(own, own.builds[0])


def test_risk_is_told_with_bounds(warm):
    """Chance within its bounds; what a stop spoils is the cost of pieces begun."""
    risk = risk_of(warm, warm.builds[0])
    assert risk.low < risk.chance < risk.high
    assert np.all(risk.at_risk.cut >= -1e-9)
    assert "of 60 builds on record" in risk_words(warm, warm.builds[0])


def test_doubts_and_notes_are_empty_without_heat(warm):
    """Nothing is invented for a plan made before heat was kept."""
    build = warm.builds[1]
    assert (
        warp_note(build) == may_leave_words(warm, build) == early_words(build, 60.0) == density_svg(warm, build) == ""
    )
    assert all(f.code.startswith("energy.") for f in heat_doubts(warm, build))
