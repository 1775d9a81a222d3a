"""The powder ledger over JSON: what a scale or a script sends and reads."""

import pytest

from cakewright.app.powder_books import look
from tests.app.test_powder import file_store as store
from tests.app.test_powder import plan, printed, stocked
from tests.web.conftest import client_over
from tests.web.test_powder import LATER

__all__ = ["plan", "stocked", "store"]  # fixtures
V = "/api/v1/powder"


@pytest.fixture
def client(store):
    """The interface over a stocked cell."""
    return client_over(store, clock=lambda: LATER)


def test_cans_and_entries_are_those_of_the_books(client, store):
    """Six cans, an entry for each; a page of entries begins after the number asked for."""
    cans = client.get(f"{V}/cans").json()
    assert {can["key"]: can["kg"] for can in cans} == {c.key: c.kg for c in look(store).shelf()}
    entries = client.get(f"{V}/entries", params={"after": 4}).json()
    assert [e["number"] for e in entries] == [5, 6]
    assert entries[0]["source"] == "stock at the start"


def test_a_scale_appends_a_movement_and_a_reading(client, store):
    """The answer is what was kept; a refusal keeps nothing and has the one shape of errors."""
    made = client.post(f"{V}/entries", json={"source": "u01", "target": "U02", "kg": 2.5, "by": "scale 1"})
    assert (made.status_code, made.json()["grams"]) == (201, 2500)
    read = client.post(f"{V}/cans/U02/readings", json={"kg": 10.4, "by": "scale 1", "reason": "drift"})
    assert (read.status_code, read.json()["kg"]) == (201, 10.4)
    before = store.powder.mark()
    for body in ({"source": "U01", "target": "U02", "kg": 99, "by": "x"}, {"source": "U01", "target": "Q", "by": "x"}):
        refused = client.post(f"{V}/entries", json=body)
        assert refused.status_code == 422
        assert set(refused.json()["error"]) == {"code", "found", "remedy", "where"}
    assert client.post(f"{V}/entries", json={"source": "U01", "target": "U02", "kg": 0, "by": "x"}).status_code == 422
    assert store.powder.mark() == before


def test_recall_for_a_script(store, plan):
    """Every lot, or the ones asked for, with orders and pieces."""
    printed(store, plan)
    client = client_over(store, clock=lambda: LATER)
    every = client.get(f"{V}/recall").json()
    assert {r["lot"] for r in every} == {"V-7712", "V-7740", "stock at the start"}
    one = client.get(f"{V}/recall", params={"lot": "V-7712", "at_least": 0.05}).json()[0]
    assert one["pieces"] == plan.build("B1").pieces == sum(o["pieces"] for o in one["orders"])
    assert client.get(f"{V}/recall", params={"lot": "V-1"}).status_code == 422
