"""What was lost is made again: with the date of its line, in a list that the next plan reads, and once only."""

from dataclasses import replace

import pytest

from cakewright.app import contain
from cakewright.app.remake import mark_of_remake, remake_list, remakes, scrap_kg
from cakewright.formats.orders_csv import read_orders
from cakewright.formats.orders_write import orders_csv
from cakewright.store import PieceState
from tests.app.floor_worlds import NOW
from tests.documents.world import START


def reject(store, plan, piece):
    kept = contain.report_mistake(store, plan, piece, what="crack", cause="cold bed", by="Jon", at=NOW)
    contain.decide(store, plan, kept.number, contain.REMAKE, by="Ada", at=NOW)


def lose(store, piece, state=PieceState.BROKEN):
    store.record_piece(plan=1, build="B1", piece=piece, state=state, by="Jon", at=NOW)


def test_rejected_broken_and_missing_pieces_become_a_line_with_the_old_date(store, plan, tmp_path):
    """Three of six knobs are lost in three ways: one line of three, same part, same due day, read by our own reader."""
    reject(store, plan, "L02-01")
    lose(store, "L02-02")
    lose(store, "L02-03", PieceState.MISSING)
    (one,) = remakes(store, plan)
    assert dict(one.lost) == {"L02-01": "crack", "L02-02": "broken", "L02-03": "missing"}
    assert (one.order.line, one.order.quantity, one.order.due) == (8, 3, plan.line(2).due)
    assert one.scrap_g == pytest.approx(3 * 11.07, rel=0.01)
    file = tmp_path / "remake.csv"
    file.write_text(remake_list(store, plan), encoding="utf-8")
    (line,) = read_orders(file, plan.cell).lines
    assert line == replace(one.order, where="remake.csv, line 2")
    assert line.flags == ("remake of plan 1 L02",)
    file.write_text(remake_list(store, plan, with_orders=plan.orders.lines), encoding="utf-8")
    whole = read_orders(file, plan.cell)
    assert [x.line for x in whole.lines] == [1, 2, 3, 4, 5, 6, 7, 8]


def test_what_the_newest_plan_makes_again_is_not_asked_for_twice(store, plan):
    """The remake went into plan 2: plan 1 asks for nothing more; a further loss asks for one."""
    reject(store, plan, "L02-01")
    (one,) = remakes(store, plan)
    orders = replace(plan.orders, lines=(*plan.orders.lines, one.order))
    store.save_plan(replace(plan, orders=orders), made_by="Mira", at=NOW)
    (again,) = remakes(store, plan)
    assert (again.pieces, again.ordered_again, again.order) == (0, 1, None)
    reject(store, plan, "L02-04")
    (more,) = remakes(store, plan)
    assert (more.pieces, more.order.line) == (1, 9)
    assert mark_of_remake(plan, 2) == "remake of plan 1 L02"


def test_surplus_pieces_count_before_anything_is_made_again(store, plan):
    """Four ordered of which the build holds six (two against scrap): one broken costs nothing."""
    lines = tuple(replace(x, quantity=4) if x.line == 2 else x for x in plan.orders.lines)
    fewer = replace(plan, orders=replace(plan.orders, lines=lines))
    lose(store, "L02-01")
    assert [(r.line, r.pieces) for r in remakes(store, fewer)] == [(2, 0)]


def test_scrap_is_a_mass_of_powder(store, plan):
    """What was lost between two moments, by material; the powder account of the month names it."""
    reject(store, plan, "L02-01")
    end = NOW.replace(day=NOW.day + 1)
    assert scrap_kg(store, "PA12", START, end) == pytest.approx(0.01107, rel=0.01)
    assert scrap_kg(store, "PA12", end, end.replace(day=end.day + 1)) == 0.0
    assert scrap_kg(store, "gold", START, end) == 0.0


def test_a_written_list_reads_back_as_it_was(plan, tmp_path):
    """Quotes, commas, umlauts and formula signs in names survive."""
    file = tmp_path / "orders.csv"
    file.write_text(orders_csv(plan.orders.lines), encoding="utf-8")
    back = read_orders(file, plan.cell).lines
    assert [replace(x, where="") for x in back] == [replace(x, where="") for x in plan.orders.lines]
