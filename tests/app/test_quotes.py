"""A quote: what it rests on, what it does to the plan, and what becomes of it."""

from __future__ import annotations

import csv
import io
import itertools
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import openpyxl
import pypdfium2
import pytest

from cakewright import plan_week, read_orders, write_plan
from cakewright.app.check_part import loose_line
from cakewright.app.effort import effort_in_steps
from cakewright.app.fit_in_plan import as_new_line, fit_in_plan
from cakewright.app.inbox import ORDERS, Inbox
from cakewright.app.intake import read_part
from cakewright.app.keep_quotes import accept, keep_quote, order_accepted, sheet_of
from cakewright.app.quantity_prices import quantity_prices
from cakewright.app.quotes import make_offer
from cakewright.documents.workbook import plan_xlsx, workbook_xlsx
from cakewright.errors import DoesNotFitError, InputError
from cakewright.formats.stl import write_stl
from cakewright.model.offer import OfferState
from cakewright.store import open_store
from tests.app.worlds import small_cell, write_order_book
from tests.conftest import box_mesh

SUNDAY = datetime(2027, 2, 28, 8, tzinfo=UTC)
MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A planned week, and a block that somebody asks for."""
    folder = tmp_path_factory.mktemp("quotes")
    cell = small_cell()
    book, parts = write_order_book(folder, cell)
    plan = plan_week(read_orders(book, cell), cell, parts, start=MONDAY, effort=effort_in_steps(5))
    plan, _ = write_plan(plan, folder / "out", at=MONDAY)
    file = folder / "wedge.stl"
    write_stl(file, box_mesh(30, 30, 12), "wedge")
    return plan, file


@pytest.fixture(scope="module")
def offer(shop):
    plan, file = shop
    line = replace(loose_line(file, plan.cell, None, quantity=4), customer="Team")
    effort = effort_in_steps(3)
    return make_offer(
        file, line, plan.cell, plan, now=SUNDAY, clock=time.monotonic, settled=("tolerances",), effort=effort
    )


def test_the_price_lies_between_its_ends(offer):
    """Low, likely and high rise; columns add up to the cent; a price is cost with margin, rounded up to the step."""
    assert Decimal(0) < offer.low <= offer.likely <= offer.high
    step = Decimal(repr(small_cell().rates.price_step))
    assert offer.high % step == 0
    alone = sum((r.alone for r in offer.rows), Decimal(0))
    assert abs(offer.high - alone * Decimal(repr(1 + offer.margin))) <= step + Decimal("0.02")


def test_it_is_tried_in_the_plan_as_it_stands(shop, offer):
    """The block fits into the build that is not loaded yet; the offer names it, what it adds, and a day."""
    plan, _ = shop
    assert any(b.key in offer.feasible for b in plan.builds)
    assert "of plan 1" in offer.feasible
    assert offer.ready is not None
    assert all(row.in_plan is not None for row in offer.rows)


def test_a_loaded_build_takes_nothing(shop):
    """Once the chambers are loaded, the plan has no room, and the reason says so."""
    plan, file = shop
    late = max(t.end for t in plan.schedule.tasks)
    line = as_new_line(loose_line(file, plan.cell, None), plan)
    part = replace(read_part(line, plan.cell, file), key=line.key)
    inside, why = fit_in_plan(plan, line, part, now=late, effort=effort_in_steps(1))
    assert inside is None
    assert "still to be loaded" in why[0]


def test_a_build_that_grows_keeps_every_piece(shop):
    """Taking a line into a build leaves nobody out, and the build is verified anew."""
    plan, file = shop
    line = as_new_line(loose_line(file, plan.cell, None, quantity=3), plan)
    part = replace(read_part(line, plan.cell, file), key=line.key)
    inside, _ = fit_in_plan(plan, line, part, now=SUNDAY, effort=effort_in_steps(1))
    assert inside is not None
    before = {p.piece for p in plan.build(inside.build.key).nest.placements}
    after = {p.piece for p in inside.build.nest.placements}
    assert before < after
    assert len(after - before) == 3
    assert inside.build.verification.is_clear
    assert inside.more_s > 0
    assert {p.line for p in inside.promises} == {*plan.part_of_line, line.line}


def test_unit_cost_over_quantity_falls_and_only_real_drops_are_worth_asking_for(shop):
    """One piece pays for a build alone; breaks are a tenth cheaper than every smaller quantity."""
    plan, file = shop
    line = loose_line(file, plan.cell, None)
    prices = quantity_prices(line, read_part(line, plan.cell, file), plan.cell, (1, 2, 10, 11, 40))
    assert [p.quantity for p in prices] == [1, 2, 10, 11, 40]
    assert prices[0].unit > 3 * prices[2].unit
    lowest = itertools.accumulate((p.unit for p in prices), min)
    drops = [p.unit <= 0.9 * low for low, p in zip(lowest, prices[1:], strict=False)]
    assert [p.is_break for p in prices] == [False, *drops]
    assert prices[3].unit < prices[2].unit and not prices[3].is_break


def test_a_part_that_does_not_fit_is_refused_before_any_search(shop, tmp_path):
    plan, _ = shop
    write_stl(tmp_path / "mast.stl", box_mesh(20, 20, 2000), "mast")
    line = replace(loose_line(tmp_path / "mast.stl", plan.cell, None), nominal_size_mm=(20, 20, 2000))
    with pytest.raises(DoesNotFitError):
        make_offer(tmp_path / "mast.stl", line, plan.cell, plan, now=SUNDAY, clock=time.monotonic)


def test_from_quote_to_order_list(shop, offer, tmp_path, new_database):
    """Accepted quotes become rows that the reader of order lists takes, with their meshes; then they are 'ordered'."""
    plan, file = shop
    with open_store(new_database) as store:
        store.save_plan(plan, made_by="", at=MONDAY)
        kept = keep_quote(store, offer, file, at=SUNDAY, by="Ada")
        again = keep_quote(store, replace(offer, quantity=9), file, at=SUNDAY, by="Ada", replaces=kept.number)
        assert again.key == f"{kept.key}-2"
        assert store.offer(kept.number, 1).state is OfferState.REVISED
        assert store.offer(kept.number).offer.quantity == 9
        accept(store, kept.number, at=MONDAY, by="Ada")
        box = Inbox(tmp_path / "inbox")
        tray = order_accepted(store, box, at=MONDAY, by="Ada")
        listed = read_orders(box.tray(tray) / ORDERS, plan.cell)
        assert [(x.part, x.quantity, x.order) for x in listed.lines] == [("wedge", 9, again.key)]
        assert [f.name for f in box.files(tray)] == [file.name]
        assert store.offer(kept.number).state is OfferState.ORDERED
        with pytest.raises(InputError, match="no quote is accepted"):
            order_accepted(store, box, at=MONDAY, by="Ada")


def test_an_expired_quote_is_not_accepted(shop, offer, new_database):
    """After its day it must be made anew; answering twice is refused as well."""
    _, file = shop
    with open_store(new_database) as store:
        kept = keep_quote(store, offer, file, at=SUNDAY, by="")
        with pytest.raises(InputError, match="held until"):
            accept(store, kept.number, at=SUNDAY + timedelta(days=400), by="")
        store.step_offer(kept.number, OfferState.DECLINED, at=SUNDAY, by="")
        with pytest.raises(InputError, match="cannot become accepted"):
            accept(store, kept.number, at=SUNDAY, by="")


def test_the_store_gives_back_what_was_offered(shop, offer, new_database):
    _, file = shop
    with open_store(new_database) as store:
        kept = keep_quote(store, offer, file, at=SUNDAY, by="Ada")
        assert store.offer(kept.number).offer == offer


def test_the_sheet_says_it_all(shop, offer):
    """Price, day, breakdown, other quantities and open questions are on the paper."""
    plan, file = shop
    pages = pypdfium2.PdfDocument(sheet_of(offer, "Q0001", plan.cell, file, made=date(2027, 3, 1)))
    text = "".join(page.get_textpage().get_text_range() for page in pages)
    for said in ("Q0001", "Team", "refresh burden", f"{offer.likely:,.2f}", "Other quantities", "Still to settle"):
        assert said in text, said
    assert len(pages) <= 3


def test_a_workbook_runs_nothing():
    """Formulas typed by a stranger stay text (CWE-1236); numbers and days keep their kind. Read by openpyxl."""
    nasty = '=HYPERLINK("http://x")'
    book = openpyxl.load_workbook(
        io.BytesIO(workbook_xlsx({"a/b": (("x", "n", "d"), [(nasty, 1.5, date(2027, 3, 1))])}))
    )
    sheet = book["a-b"]
    assert sheet["A2"].value == nasty
    assert sheet["A2"].data_type == "s"
    assert sheet["B2"].value == 1.5
    assert sheet["C2"].value.date() == date(2027, 3, 1)


def test_the_plan_as_a_workbook(shop):
    """Every row of the CSV tables is there, numbers as numbers."""
    plan, _ = shop
    from cakewright.documents.tables import quotes_csv

    book = openpyxl.load_workbook(io.BytesIO(plan_xlsx(plan)))
    rows = list(csv.DictReader(io.StringIO(quotes_csv(plan))))
    sheet = book["quotes"]
    heads = [cell.value for cell in sheet[1]]
    totals = [row[heads.index("total")].value for row in sheet.iter_rows(min_row=2)]
    assert totals == pytest.approx([float(row["total"]) for row in rows])
    assert Path(plan.orders.source).name == "orders.csv"
