"""Papers for customers and colleagues: quote, packing list, inspection report, certificate, handover."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from cakewright.documents.certificate import certificate_pdf
from cakewright.documents.handover import handover_pdf, quiet_hours
from cakewright.documents.inspection_report import inspection_report_pdf, spread_over_height
from cakewright.documents.packing_list import line_mass_g, packing_list_pdf
from cakewright.documents.quote_sheet import quote_sheet_pdf
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind
from tests.documents.paper import find_qr, holds_qr, pages, picture_of, text_of
from tests.documents.world import NASTY


def test_quote_without_prices_says_that_it_is_at_cost(plan):
    text = text_of(quote_sheet_pdf(plan, "knobs"))
    assert "44.90 cu" in text and "7.48 cu" in text
    assert "no margin is added" in text
    assert "90 %: Wed 3 Mar 18:30" in text


def test_quote_with_a_price_range_shows_it(plan):
    price = {2: (Decimal("80.00"), Decimal("90.00"), Decimal("120.00"))}
    text = text_of(quote_sheet_pdf(plan, "knobs", prices=price, valid_until=date(2027, 4, 1)))
    assert "90.00 cu" in text and "80.00 to 120.00" in text and "15.00 cu" in text
    assert "2027-04-01" in text
    assert "no margin is added" not in text


def test_quote_asks_what_is_not_settled(plan):
    """The order list knows file, quantity, date and material; tolerances and acceptance are asked for."""
    text = text_of(quote_sheet_pdf(plan, "knobs"))
    assert "Which sizes matter, with which tolerance?" in text
    assert "By which day" not in text and "Which material" not in text


def test_quote_names_lines_that_cannot_be_quoted(plan):
    text = text_of(quote_sheet_pdf(plan, "lost"))
    assert "not quoted" in text and "cover.stl is missing" in text
    assert "0 of 1 line" in text


def test_packing_list_gives_source_and_mass(plan):
    """Six knobs, cylinders of radius 14 and height 19 mm in 48 facets at 0.95 g/cm³: 66 g."""
    text = text_of(packing_list_pdf(plan, "knobs"))
    assert "B1 tray C" in text and "66.5 g" in text and "28 × 28 × 19 mm · 11.1 g each" in text
    assert line_mass_g(plan, plan.line(2)) == pytest.approx(6 * 0.95 * 3.1326 * 14**2 * 19 / 1000, rel=1e-3)


def test_packing_list_says_what_is_not_in_the_box(plan):
    text = text_of(packing_list_pdf(plan, "lost"))
    assert "Not in this delivery" in text
    assert "L07 cover rev D, 2 pieces: the mesh file cover.stl is missing" in text


def test_inspection_report_is_one_page_and_names_places(plan):
    pdf = inspection_report_pdf(plan, 1)
    text = text_of(pdf)
    assert pages(pdf) == 1
    assert all(word in text for word in NASTY.split())
    assert "60.00" in text and "40.00" in text and "8.00" in text
    assert "18.24" in text  # 60 x 40 x 8 mm at 0.95 g/cm³
    assert "B1 · A1 · tray D · 4 pieces" in text
    assert plan.parts["plate"].origin.sha256[:16] in text


def test_pieces_to_measure_come_from_bottom_middle_and_top(plan):
    """Of three pieces all are named; of pieces at different heights the lowest and the highest are among them."""
    assert len(spread_over_height(plan.build("B2"), 6)) == 3
    rings = spread_over_height(plan.build("B2"), 4)
    assert rings[0] == "L04-02"  # its ring stands on edge, 12 mm up, lower than the others
    assert rings[-1] == "L04-01"


def test_a_line_without_pieces_has_no_inspection_report(plan):
    with pytest.raises(InputError, match=r"line 7 has no pieces.*use one of: 1, 2, 3, 4, 5, 6"):
        inspection_report_pdf(plan, 7)
    with pytest.raises(InputError, match="line 99"):
        inspection_report_pdf(plan, 99)


def test_certificate_is_a_draft_that_invents_nothing(plan):
    text = text_of(certificate_pdf(plan, "bracket-1"))
    assert "DRAFT from a plan: not valid until the results are filled in and a person has signed." in text
    assert "as far as their public summaries name them" in text
    for item in ("Process classification", "Test specimens", "Retest and rejection", "Deviations and concessions"):
        assert item in text
    assert "recorded for 4 pieces" in text


@pytest.mark.parametrize("make", [quote_sheet_pdf, packing_list_pdf, certificate_pdf])
def test_unknown_order_is_named_with_the_known_ones(plan, make):
    with pytest.raises(InputError, match="order 'nobody' is not in the plan -> use one of: air, bracket-1"):
        make(plan, "nobody")


def test_qr_of_an_order_holds_its_id(plan):
    grey = picture_of(packing_list_pdf(plan, "knobs"), scale=6)
    corner, side = find_qr(grey)
    assert holds_qr(grey, corner, side, "cakewright:plan-3/order-knobs")


def test_the_weekend_is_the_longest_quiet_stretch(plan):
    """Friday 16:30 to Monday 06:30 local, while B2 cools."""
    start, end = quiet_hours(plan)
    assert start == datetime(2027, 3, 5, 15, 30, tzinfo=UTC)
    assert end == datetime(2027, 3, 8, 5, 30, tzinfo=UTC)


def test_handover_says_what_ends_and_who_may(plan):
    pdf = handover_pdf(plan)
    text = text_of(pdf)
    assert pages(pdf) == 1
    assert "Nobody is in for 62 h" in text
    assert "Cake of B2 is cool" in text and "Fri 5 Mar 20:00" in text
    assert "holds the cake of B2, hot until about Fri 5 Mar 20:00, break-out Mon 8 Mar 09:00" in text
    assert "Mira and Dev" in text and "one name only: a risk" in text
    assert "call the emergency number" in text and "common practice, no source" in text
    assert "Mon 8 Mar 09:00 B2 unpack and sieve Mira" in text


def test_handover_of_a_night_shows_the_print_that_ends_in_it(plan):
    night = (datetime(2027, 3, 1, 15, 30, tzinfo=UTC), datetime(2027, 3, 2, 5, 30, tzinfo=UTC))
    pdf = handover_pdf(plan, *night)
    text = text_of(pdf)
    assert pages(pdf) == 1
    assert "B1 is printed" in text and "± 27 min" in text
    assert "Cake of B1 is cool" in text


def test_a_chamber_between_two_tasks_is_not_called_empty(plan):
    """The cake of B2 is cool on Friday and stands in K2 until Monday, without any task in between."""
    tasks = tuple(
        replace(t, end=t.start + timedelta(hours=1)) if t.build == "B2" and t.kind is TaskKind.COOL else t
        for t in plan.schedule.tasks
    )
    text = text_of(handover_pdf(replace(plan, schedule=replace(plan.schedule, tasks=tasks))))
    assert "K2 holds the cake of B2" in text
    assert "A1 and K1 nothing planned: empty or off" in text


def test_handover_must_end_after_it_starts(plan):
    with pytest.raises(InputError, match="before it starts"):
        handover_pdf(plan, plan.start, plan.start - timedelta(hours=1))


def test_a_cell_that_never_sleeps_has_nothing_to_hand_over(plan):
    from datetime import time

    from cakewright.model.cell import Shift

    day, night = Shift(tuple(range(7)), time(0), time(12)), Shift(tuple(range(7)), time(12), time(0))
    mira = replace(plan.cell.people[0], shifts=(day, night))
    always = replace(plan, cell=replace(plan.cell, people=(mira,)))
    with pytest.raises(InputError, match="somebody is always in"):
        handover_pdf(always)
