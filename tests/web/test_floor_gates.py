"""Specimens, holds, packing and training from the pages: the reason is on every page that could let a line out."""

import base64

import pytest

from cakewright.store import open_store
from tests.app.floor_worlds import week_with_bars
from tests.web.conftest import TUESDAY, client_over

SPECIMENS = "/plans/1/builds/B1/specimens"


@pytest.fixture
def client(tmp_path):
    with open_store(tmp_path / "cell.sqlite") as store, client_over(store) as client:
        store.save_plan(week_with_bars(), made_by="Mira", at=TUESDAY)
        yield client


def test_bars_are_entered_and_the_line_is_free(client):
    """Held on its own page, on packing and on the list, with the reason; after three good bars it may go."""
    line = client.app.state.shelf.plan(1).line(1)
    for address in ("/plans/1/lines/1", f"/plans/1/packing?order={line.order}", "/plans/1/held"):
        assert "no limit is entered for specimens of PA12" in client.get(address).text, address
    refused = client.post("/plans/1/lines/1/pack", data={"pieces": 1, "by": "Jon"})
    assert refused.status_code == 422
    assert "is held" in refused.text
    limit = {"quantity": "density", "least": "0,95", "unit": "g/cm³", "by": "Ada"}
    assert "at least 0.95" in client.post(f"{SPECIMENS}/limit", data=limit).text
    for n in (1, 2, 3):
        sent = {"piece": f"L05-0{n}", "quantity": "density", "value": "0.98", "by": "Jon", "uid": f"tablet-{n}-1"}
        for _ in range(2):
            assert client.post(SPECIMENS, data=sent).status_code == 200
    assert "Tested and passed" in client.get(SPECIMENS).text
    kept = [r for r in client.get("/api/v1/plans/1/floor").json() if r["data"].get("deed") == "value"]
    assert len(kept) == 3
    assert "Nothing holds it back" in client.get("/plans/1/lines/1").text
    assert "booked" in client.post(f"{SPECIMENS}/bench", data={"day": "2027-03-03", "by": "Jon"}).text


def test_a_held_line_goes_by_name_and_reason(client):
    """The release is on every page of the line."""
    assert client.post("/plans/1/lines/1/release", data={"reason": "", "by": "Ada"}).status_code == 422
    text = client.post("/plans/1/lines/1/release", data={"reason": "concession <9>", "by": "Ada"}).text
    assert "Released by Ada" in text
    assert "concession &lt;9&gt;" in client.get("/plans/1/lines/1").text


def test_training_is_entered_and_taken_back(client):
    """The matrix shows the day; a step with one name is marked; one's own training is refused."""
    page = "/plans/1/training"
    sent = {"person": "Dev", "step": "weigh and blend powder", "until": "2027-03-20", "by": "Mira"}
    text = client.post(page, data=sent).text
    assert "ends 2027-03-20" in text
    assert "one name" in text
    assert client.post(page, data={**sent, "by": "Dev"}).status_code == 422
    assert "taken back" in client.post(f"{page}/taken", data={**sent, "why": "left"}).text


def test_beside_a_print_notes_moves_and_pictures_are_kept(client):
    """From the run page: a note with its layer, a move, a picture as a tablet sends it and as a file."""
    run = "/plans/1/builds/B1/run"
    assert "Respirator" in client.get(f"{run}?by=Jon").text
    assert "layer 80:" in client.post(f"{run}/note", data={"by": "Jon", "text": "streak <b>", "layer": "80"}).text
    assert (
        "<b>K1</b> in <b>bench</b>"
        in client.post(f"{run}/move", data={"by": "Jon", "chamber": "K1", "to": "bench"}).text
    )
    png = b"\x89PNG\r\n\x1a\n" + bytes(40)
    text = "data:image/png;base64," + base64.b64encode(png).decode()
    for _ in range(2):
        sent = {"by": "Jon", "picture": text, "note": "layer 20", "uid": "tablet-a-77", "when": TUESDAY.isoformat()}
        assert 'src="/photos/1"' in client.post(f"{run}/photo", data=sent).text
    answer = client.post(f"{run}/photo", data={"by": "Jon"}, files={"file": ("a.png", png, "image/png")})
    assert 'src="/photos/2"' in answer.text
    shown = client.get("/photos/1")
    assert (shown.content, shown.headers["content-type"]) == (png, "image/png")
    assert client.get("/photos/9").status_code == 404
    assert client.post(f"{run}/photo", data={"by": "Jon", "picture": "hello"}).status_code == 422
    client.post(f"{run}/open-early", data={"by": "Jon", "reason": "hurry"})
    assert "look for warp" in client.post(f"{run}/warp", data={"by": "Jon", "piece": "L01-01", "verdict": "flat"}).text


def test_upkeep_is_entered_announced_and_done(client):
    """The build that would cross the limit stands on the page, in the morning and at the release."""
    page = "/plans/1/upkeep"
    sent = {"machine": "A1", "what": "sieve seal", "every": "5", "unit": "h printed", "by": "Mira"}
    assert "B1 would cross the limit" in client.post(page, data=sent).text
    assert "do it before B1" in client.get("/plans/1").text
    assert "do it before B1" in client.get("/plans/1/builds/B1/run").text
    assert client.post(f"{page}/postponed", data={**sent, "more": "2", "reason": ""}).status_code == 422
    done = {"machine": "A1", "what": "sieve seal", "by": "Mira", "before": "worn", "after": "new"}
    assert "before worn, after new" in client.post(f"{page}/done", data=done).text


@pytest.mark.parametrize(
    "address",
    [
        "/plans/1/builds/B1/run?by=Jon",
        "/plans/1/builds/B1/unpack?by=Jon",
        "/plans/1/builds/B1/powder?by=Jon",
        "/plans/1/builds/B1/stopped",
        "/plans/1/builds/B1/heat",
        "/plans/1/baskets?by=Jon",
        "/plans/1/upkeep?by=Jon",
        "/powder/book/sieve",
        "/powder/book/move",
        "/powder/book/open",
        "/powder/book/waste",
        "/powder/book/weigh",
        "/powder/change",
    ],
)
def test_where_work_can_hurt_the_caution_stands_with_its_source(client, address):
    """At the step itself: what to wear or leave, why, its source and status, and who has the last word."""
    text = client.get(address).text
    assert "common practice, no source" in text
    assert "Safety data sheet, manual and local rules win" in text


def test_the_file_for_the_machine_is_fetched_from_the_build(client):
    """A 3MF and an STL, drawn when asked for; another name is answered."""
    page = "/plans/1/builds/B1"
    assert f"{page}/machine-file/B1.3mf" in client.get(page).text
    answer = client.get(f"{page}/machine-file/B1.3mf")
    assert (answer.status_code, answer.content[:2], answer.headers["content-type"]) == (200, b"PK", "model/3mf")
    assert client.get(f"{page}/machine-file/B1.stl").status_code == 200
    for wrong in ("B1.exe", "B2.3mf"):
        assert client.get(f"{page}/machine-file/{wrong}").status_code == 404
