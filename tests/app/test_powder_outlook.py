"""The coming weeks of powder, the month's account, and what a plan says about its stock."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from cakewright.app.powder_books import look
from cakewright.app.powder_deeds import discard, weigh_in
from cakewright.app.powder_month import month_books
from cakewright.app.powder_outlook import coming_deliveries, outlook, powder_findings, with_powder_findings
from cakewright.app.powder_stock import stocked_cell, stocked_from
from cakewright.errors import InputError
from tests.app.test_powder import MIRA, at, plan, printed, stocked
from tests.app.test_powder import file_store as store
from tests.documents.world import START, week

__all__ = ["plan", "stocked", "store"]  # fixtures
MARCH = (datetime(2027, 3, 1, tzinfo=UTC), datetime(2027, 4, 1, tzinfo=UTC))


def stock_of(plan, virgin_kg, used_kg):
    """The plan in a cell with other stock."""
    materials = tuple(replace(m, virgin_kg=virgin_kg, used_kg=used_kg) for m in plan.cell.materials)
    return replace(plan, cell=replace(plan.cell, materials=materials))


def test_a_plan_says_which_build_lacks_how_much(plan):
    """Virgin powder for the first build only: the second is named with its kilograms, and a date to order by."""
    first, second = plan.builds[0].powder, plan.builds[1].powder
    poor = stock_of(plan, first.virgin_kg + second.virgin_kg - 1.5, 200)
    found = {f.code: f for f in powder_findings(poor)}
    assert found["powder.virgin-short"].message == "not enough virgin powder for build B2: 1.5 kg missing"
    assert found["powder.order-by"].remedy.startswith("order virgin powder by 01 Mar 2027")
    assert "powder.used-short" not in found
    assert {"powder.virgin-short"} <= {f.code for f in with_powder_findings(poor).findings}


def test_a_full_shelf_says_nothing(plan):
    """Half a tonne of each lasts beyond every lead time."""
    assert powder_findings(stock_of(plan, 500, 500)) == ()


def test_the_pace_and_the_break_even_come_from_the_builds(plan):
    """Charges add up, and the surplus of the week is that of its builds."""
    material = plan.builds[0].material
    seen = outlook(plan, material, virgin_kg=40, used_kg=30, today=START.date())
    needs = [b.powder for b in plan.builds]
    assert seen.charge_kg_per_week == pytest.approx(sum(n.charge_kg for n in needs))
    assert seen.surplus_kg_per_week == pytest.approx(sum(n.surplus_kg for n in needs), abs=0.05)
    assert seen.month_surplus_kg == pytest.approx(seen.surplus_kg_per_week * 4.348, rel=1e-3)
    assert (seen.projection.virgin_kg[0] <= seen.projection.virgin_kg[2]).all()


def test_less_refresh_keeps_virgin_powder_longer(plan):
    """At half the ratio the order may come later, and the used stock grows less."""
    material = plan.builds[0].material
    rich = outlook(plan, material, virgin_kg=40, used_kg=300, today=START.date(), refresh_ratio=0.5, weeks=16)
    lean = outlook(plan, material, virgin_kg=40, used_kg=300, today=START.date(), refresh_ratio=0.25, weeks=16)
    assert lean.surplus_kg_per_week < rich.surplus_kg_per_week
    assert rich.order_by is not None
    assert lean.order_by is None or lean.order_by > rich.order_by


def test_a_delivery_on_its_way_moves_the_order_date(plan):
    """20 kg in week 2 let the order wait; what cannot be read as a delivery is refused."""
    material, stock = plan.builds[0].material, {"virgin_kg": 25, "used_kg": 100, "today": START.date(), "weeks": 16}
    alone = outlook(plan, material, **stock)
    helped = outlook(plan, material, deliveries=coming_deliveries("20@2"), **stock)
    assert alone.order_by is not None
    assert helped.order_by is None or helped.order_by > alone.order_by
    for bad in ("20", "x@2", "20@0", "-5@1", "20@x"):
        with pytest.raises(InputError, match="is no delivery"):
            coming_deliveries(bad)


def test_a_material_that_is_not_printed_is_refused(plan):
    """The error names it."""
    with pytest.raises(InputError, match="no build of PA66"):
        outlook(plan, "PA66", virgin_kg=1, used_kg=1, today=START.date())


def test_the_ledger_is_the_stock_of_the_next_plan(store, tmp_path):
    """Once powder is booked, the kilograms of the cell file are not used any more."""
    cell = week().cell
    seen = stocked_cell(cell, store, START.date())
    assert (seen.material("PA12").virgin_kg, seen.material("PA12").used_kg) == (40, 22)
    assert stocked_cell(cell, store, date(2028, 2, 1)).material("PA12").virgin_kg == 0
    assert stocked_from(cell, tmp_path / "none.sqlite", START.date()) is cell


def test_the_month_closes_and_names_what_is_missing(store, plan):
    """In = parts + waste + stock + not explained; the differences are listed with their names."""
    printed(store, plan)
    discard(store, "U02", 1.5, reason="too old", at=at(1000), **MIRA)
    weigh_in(store, "U01", round(look(store).ledger.kg("U01") - 0.3, 3), reason="scale", at=at(1001), **MIRA)
    books = month_books(look(store), "PA12", *MARCH)
    account = books.account
    assert account.opening_kg == 0
    assert account.delivered_kg == pytest.approx(62)
    assert account.unexplained_kg == pytest.approx(sum(-kg for _, kg, _ in books.named))
    assert ("too old", 1.5) in books.waste_by_cause
    assert ("U01", -0.3, "scale") in [(can, round(kg, 3), why) for can, kg, why in books.named]
    shelf = sum(can.kg for can in look(store).shelf("PA12"))
    assert account.closing_kg == pytest.approx(shelf)
    assert "U02" in books.not_weighed
    assert "U01" not in books.not_weighed
    april = month_books(look(store), "PA12", MARCH[1], MARCH[1] + timedelta(days=30))
    assert april.account.opening_kg == pytest.approx(account.closing_kg)
