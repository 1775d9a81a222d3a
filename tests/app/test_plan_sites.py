"""Two sites with one order book: whole orders, shared by load, promised at one counter."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from cakewright.app.effort import effort_in_steps
from cakewright.app.plan_sites import Site, plan_sites, promises_csv, read_book, share_out
from cakewright.errors import InputError, OrderListError
from tests.app.worlds import HEADER, small_cell, write_order_book

MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)


@pytest.fixture
def sites():
    """Two cells alike; the second lies a day away and alone has a finish called 'tumbled'."""
    near = small_cell()
    far = replace(near, name="Far site", finishes=(*near.finishes, replace(near.finishes[0], name="tumbled")))
    return [Site(near), Site(far, transport_h=24)]


def book_of(tmp_path, sites, rows):
    """(order, part, quantity, finish, due) as a read order book, and its parts."""
    cell = sites[0].cell
    finish = cell.finishes[0].name
    text = [
        f"{n},{order},2027-03-01,Team,{part},A,{qty},{cell.materials[0].name},{fin or finish},{cell.classes[0].name},"
        f"{due},{part}.stl,"
        for n, (order, part, qty, fin, due) in enumerate(rows, start=1)
    ]  # fmt: skip
    book, parts = write_order_book(tmp_path, cell, text)
    assert book.read_text().startswith(HEADER)
    return read_book(book, sites), parts


def test_orders_stay_whole_and_the_load_is_shared(tmp_path, sites):
    """Three orders alike: two at the counter, one away; both lines of an order are made at one place."""
    rows = [(order, part, 4, "", "2027-03-12") for order in "ABC" for part in ("brick", "cube")]
    orders, _ = book_of(tmp_path, sites, rows)
    site_of, nowhere = share_out(orders.lines, sites)
    assert not nowhere
    by_order = {line.order: {site_of[m.line] for m in orders.lines if m.order == line.order} for line in orders.lines}
    assert all(len(places) == 1 for places in by_order.values())
    assert sorted(len([o for o, p in by_order.items() if p == {s.name}]) for s in sites) == [1, 2]


def test_what_only_one_site_can_do_goes_there(tmp_path, sites):
    """The tumbled line and all of its order go away; an order in the book that nobody can make whole is set aside."""
    rows = [("A", "brick", 2, "tumbled", "2027-03-12"), ("A", "cube", 2, "", "2027-03-12")]
    orders, _ = book_of(tmp_path, sites, rows)
    assert set(share_out(orders.lines, sites)[0].values()) == {"Far site"}
    _, nowhere = share_out(orders.lines, sites[:1])
    assert [a.line for a in nowhere] == [1, 2] and "order A" in nowhere[0].reason
    with pytest.raises(OrderListError, match="tumbled"):
        read_book(tmp_path / "orders.csv", sites[:1])


def test_what_could_not_arrive_in_time_stays_near(tmp_path, sites):
    """Due on the day it came in: from a day away it would be late before it began, however idle that site is."""
    rows = [("A", "brick", 50, "", "2027-03-01"), ("B", "brick", 50, "", "2027-03-01")]
    orders, _ = book_of(tmp_path, sites, rows)
    assert set(share_out(orders.lines, sites)[0].values()) == {sites[0].name}


def test_one_promise_at_the_counter(tmp_path, sites):
    """Each line is promised once; from away a day later than it is packed there, against the customer's own day."""
    rows = [("A", "brick", 6, "", "2027-03-12"), ("B", "cube", 6, "", "2027-03-12")]
    orders, parts = book_of(tmp_path, sites, rows)
    made = plan_sites(orders, sites, parts, start=MONDAY, effort=effort_in_steps(2))
    assert set(made.site_of.values()) == set(made.plans) == {s.name for s in sites}
    assert [p.line for p in made.promises] == [1, 2]
    for promise in made.promises:
        there = next(p for p in made.plans[made.site_of[promise.line]].promises if p.line == promise.line)
        road = timedelta(hours=24 if made.site_of[promise.line] == "Far site" else 0)
        assert promise.ready - there.ready == promise.p90 - there.p90 == road
        assert promise.due_by - there.due_by == road
        assert promise.due_by.astimezone(sites[0].cell.zone).date() == date(2027, 3, 12)
    assert any("24 h on the road" in p.reason for p in made.promises)
    table = promises_csv(orders, made, sites[0].cell).splitlines()
    assert table[0].startswith("line,order") and len(table) == 3
    assert {row.split(",")[5] for row in table[1:]} == {s.name for s in sites}


def test_sites_that_cannot_be_told_apart_are_refused(tmp_path, sites):
    """Two cells of one name, a road of less than no time."""
    orders, parts = book_of(tmp_path, sites, [("A", "brick", 1, "", "2027-03-12")])
    with pytest.raises(InputError, match="same name"):
        plan_sites(orders, [sites[0], sites[0]], parts)
    with pytest.raises(InputError, match="below zero"):
        plan_sites(orders, [Site(sites[0].cell, -1.0)], parts)
