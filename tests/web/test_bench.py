"""Break-out: one touch for each piece, kept with a name, never lost."""

import re

import pytest

from cakewright.store import open_store
from tests.documents.world import week
from tests.web.conftest import TUESDAY, client_over

PAGE = "/plans/1/builds/B1/unpack"
RECORDS = "/api/v1/plans/1/builds/B1/records"


@pytest.fixture
def bench(tmp_path):
    """Pages over a store of their own, since these tests write."""
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(week(), made_by="Mira", at=TUESDAY)
        yield client_over(store)


def touch(client, piece, state, by="Mira", **headers):
    return client.post(PAGE, data={"piece": piece, "state": state, "by": by}, headers=headers, follow_redirects=False)


def test_nobody_touches_without_a_name(bench):
    """Without a name the page asks for it; a touch without one is refused and nothing is kept."""
    assert "Choose your name first" in bench.get(PAGE).text
    assert touch(bench, "L01-01", "found", by="").status_code == 422
    assert bench.get(RECORDS).json() == []


def test_a_touch_is_kept_and_shown(bench):
    """Found, missing and broken are counted; what remains is told; htmx gets the list only."""
    assert touch(bench, "L05-01", "found").status_code == 303
    touch(bench, "L05-02", "broken")
    drawn = touch(bench, ["L02-01", "L02-02"], "found", **{"hx-request": "true"}).text
    assert "<html" not in drawn
    assert re.search(r"<b>15</b> of 19 still in the cake.*3 found, 0 missing, 1 broken", drawn)
    said = bench.get(RECORDS).json()
    assert [(r["piece"], r["state"], r["by"]) for r in said][:2] == [
        ("L05-01", "found", "Mira"),
        ("L05-02", "broken", "Mira"),
    ]


def test_taking_back_leaves_both_words(bench):
    """A wrong touch is taken back by another one; the piece is open again and the history stays."""
    touch(bench, "L05-01", "missing")
    touch(bench, "L05-01", "open")
    assert "<b>19</b> of 19" in bench.get(PAGE, params={"by": "Mira"}).text
    assert len(bench.get(RECORDS).json()) == 2


def test_from_the_top_down_and_the_fragile_announced(bench):
    """Clips lie on top and are fragile: announced first; brackets come last."""
    text = bench.get(PAGE, params={"by": "Mira"}).text
    assert "Fragile L05-01" in text
    places = [text.index(f'id="{piece}"') for piece in ("L05-01", "L03-01", "L02-01", "L01-01")]
    assert places == sorted(places)


def test_the_interface_refuses_strange_words(bench):
    """A state or a piece that does not exist is answered in the one error shape."""
    for word in ({"piece": "L01-01", "state": "eaten", "by": "Mira"}, {"piece": "L99-01", "state": "found", "by": "M"}):
        answer = bench.post(RECORDS, json=word)
        assert answer.status_code == 422
        assert set(answer.json()["error"]) == {"code", "found", "remedy", "where"}
    kept = bench.post(RECORDS, json={"piece": "L01-01", "state": "found", "by": "Mira", "note": "warm"})
    assert (kept.status_code, kept.json()["note"]) == (201, "warm")
