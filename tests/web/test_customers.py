"""An account that is limited to customers sees theirs and nothing of others, on every address there is."""

from __future__ import annotations

import re
from dataclasses import replace
from importlib import import_module
from pkgutil import iter_modules

import pytest
from fastapi import APIRouter

from cakewright import web
from cakewright.app.accounts import add_account
from cakewright.app.customers import let_see
from cakewright.model.order import OrderList
from cakewright.store import open_store
from cakewright.store.accounts import Role
from tests.store.filled import offer
from tests.web.conftest import TUESDAY, week
from tests.web.test_guard import GOOD, browser, logged_in

OURS, THEIRS = "Harbour Lab", "Red Kiln"


@pytest.fixture
def clock():
    return lambda: TUESDAY


@pytest.fixture
def store(tmp_path):
    """Line 2 is for one customer, the others for another; a quote for each; Sam sees one of them."""
    plan = week()
    lines = tuple(replace(line, customer=OURS if line.line == 2 else THEIRS) for line in plan.orders.lines)
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(replace(plan, orders=OrderList("orders.csv", lines, ())), made_by="Mira", at=TUESDAY)
        for name in (OURS, THEIRS):
            store.save_offer(replace(offer(), customer=name), at=TUESDAY, by="Mira")
        for name, role in (("Ada", Role.PLANNER), ("Sam", Role.SALES), ("Rob", Role.READER)):
            add_account(store, name, role, GOOD, at=TUESDAY)
        let_see(store, "Sam", [OURS])
        yield store


def addresses():
    """Every address that can be read, with the plan, builds, lines and quotes there are."""
    values = {"version": "1", "key": "B1", "number": "1", "build": "B1", "line": "1", "quote": "2", "job": "1",
              "name": "quotes", "kind": "machine", "point": "0", "way": "0", "can": "V-1", "deed": "start"}  # fmt: skip
    modules = [import_module(f"cakewright.web.{m.name}") for m in iter_modules(web.__path__)]
    routers = {id(r): r for m in modules for r in vars(m).values() if isinstance(r, APIRouter)}
    paths = {route.path for router in routers.values() for route in router.routes if "GET" in route.methods}
    return sorted(re.sub(r"\{(\w+)(:path)?\}", lambda m: values.get(m[1], "x"), path) for path in paths)


def test_nothing_of_others_on_any_page(store, clock):
    """Whatever address is tried, neither the other customer's name nor their part names are in the answer."""
    client = logged_in(store, clock, "Sam")
    tried = addresses()
    assert len(tried) > 80
    told = {}
    for address in tried:
        answer = client.get(address)
        assert THEIRS not in answer.text, address
        assert "bracket" not in answer.text.replace("bracket-1-", ""), address
        told[address] = answer.status_code
    assert told["/plans/1/lines"] == 200
    assert {told[a] for a in told if a.startswith(("/powder", "/inbox", "/plans/1/builds", "/plans/1/numbers"))} <= {
        403
    }
    assert told["/plans/1/lines/1"] == 404
    assert client.get("/plans/1/lines/2").status_code == 200


def test_quotes_of_others_are_not_there(store, clock):
    """Neither listed nor answered, nor made; an account without limits sees both."""
    client = logged_in(store, clock, "Sam")
    assert [k["offer"]["customer"] for k in client.get("/api/v1/quotes").json()] == [OURS]
    assert client.get("/quotes/2").status_code == 404
    assert client.post("/quotes/2/answer", data={"said": "accepted"}).status_code == 404
    files = {"file": ("clip.stl", b"solid x\nendsolid x\n")}
    refused = client.post("/quotes", data={"customer": THEIRS}, files=files)
    assert (refused.status_code, "does not see" in refused.text) == (422, True)
    assert client.post("/quotes/order").status_code == 403
    assert len(logged_in(store, clock, "Rob").get("/api/v1/quotes").json()) == 2


def test_the_first_page_of_a_limited_account_are_its_lines(store, clock):
    """Not the morning of the cell."""
    client = logged_in(store, clock, "Sam")
    assert client.get("/").headers["location"] == "/plans/1?by=Sam"
    assert client.get("/plans/1").headers["location"] == "/plans/1/lines"
    assert browser(store, clock).get("/plans/1/lines").status_code == 303


def test_a_planner_sets_a_day_takes_an_export_and_deletes(store, clock):
    """From the page; a reader may look at it and change nothing; all of it is on record."""
    client = logged_in(store, clock, "Ada")
    assert OURS in client.get("/customers").text
    day = {"customer": OURS, "day": "2027-03-02", "note": "contract"}
    assert client.post("/customers/day", data=day).status_code == 303
    assert "due" in client.get("/customers").text
    made = client.post("/customers/export", data={"customer": OURS})
    assert made.content.startswith(b"PK")
    refused = client.post("/customers/delete", data={"customer": OURS, "name_again": OURS})
    assert (refused.status_code, "not ready yet" in refused.text) == (422, True)
    wrong = client.post("/customers/delete", data={"customer": OURS, "name_again": "Harbour", "although_open": "yes"})
    assert wrong.status_code == 422
    done = client.post("/customers/delete", data={"customer": OURS, "name_again": OURS, "although_open": "yes"})
    assert "What stays, and why" in done.text
    deeds = {(r.account, r.deed) for r in store.accounts.changes()}
    assert {("Ada", f"POST /customers/{what}") for what in ("day", "export", "delete")} <= deeds
    assert logged_in(store, clock, "Rob").post("/customers/delete", data=day).status_code == 403
