"""The floor's pages: every step with a name, what blocks is said, and answers are the same as in the interface."""

import pytest

from cakewright.store import open_store
from tests.web.conftest import TUESDAY, client_over, week

RUN = "/plans/1/builds/B1/run"


@pytest.fixture
def client(new_database):
    with open_store(new_database) as store, client_over(store) as client:
        store.save_plan(week(), made_by="Mira", at=TUESDAY)
        yield client


def test_a_build_is_run_from_the_page(client):
    """Release, ten checks, labels, start, end: the page says at each step what is still missing."""
    assert "nobody has released it" in client.get(f"{RUN}?by=Jon").text
    assert client.post(f"{RUN}/start", data={"by": "Jon"}).status_code == 422
    client.post(f"{RUN}/release", data={"by": "Jon"})
    for n in range(1, 11):
        client.post(f"{RUN}/check", data={"by": "Jon", "check": f"c{n:02d}", "found": "a nick" if n == 4 else ""})
    for code in ("cakewright:plan-1/B1", "k1"):
        client.post(f"{RUN}/scan", data={"by": "Jon", "code": code})
    assert "the powder can was not scanned or typed" in client.get(RUN).text
    without = {"by": "Jon", "what": "powder", "reason": "label torn <off>"}
    assert "label torn &lt;off&gt;" in client.post(f"{RUN}/without", data=without).text
    text = client.get(f"{RUN}?by=Jon").text
    assert "May be started" in text
    assert "a nick" in text
    client.post(f"{RUN}/start", data={"by": "Jon"})
    client.post(f"{RUN}/end", data={"by": "Jon"})
    assert "Printed:" in client.get(RUN).text
    records = client.get("/api/v1/plans/1/floor")
    assert records.status_code == 200, records.text
    kinds = [r["kind"] for r in records.json()]
    assert kinds.count("check before the print") == 10
    assert client.post(f"{RUN}/dance", data={"by": "Jon"}).status_code == 404


def test_which_part_is_this(client):
    """The page and the interface agree; a comma is a point; nonsense is answered, not crashed on."""
    page = "/plans/1/builds/B1/identify"
    assert "Only pieces that nobody has found yet" in client.get(page).text
    answer = client.get(f"/api/v1{page}", params={"mass_g": 5, "size_mm": [28, 19]}).json()
    assert sum(one["probability"] for one in answer) == pytest.approx(1)
    text = client.get(page, params={"mass_g": "5,0", "size": ["28", "19", ""]}).text
    assert f"L{answer[0]['line']:02d}" in text
    assert "is no number" in client.get(page, params={"mass_g": "five"}).text
    assert client.get("/plans/1/lines/1/part.png").content.startswith(b"\x89PNG")


def test_counting_by_weight(client):
    """Ten pieces at 2 % spread: the page gives the count and how many may lie on the scale at once."""
    text = client.get("/plans/1/lines/1/count", params={"reference_g": "50", "total_g": "100"}).text
    assert "20 pieces" in text
    assert client.get("/plans/1/lines/1/count", params={"spread": "no"}).status_code == 422


def test_records_written_without_a_line_merge_later(client):
    """A tablet that was offline sends its records again: each is kept once."""
    said = [{"uid": f"tablet-{n:04d}", "kind": "note", "by": "Jon", "at": TUESDAY.isoformat(), "build": "B1",
             "data": {"text": f"note {n}"}} for n in range(3)]  # fmt: skip
    assert client.post("/api/v1/plans/1/floor", json=said[:2]).status_code == 201
    assert client.post("/api/v1/plans/1/floor", json=said).status_code == 201
    assert len(client.get("/api/v1/plans/1/floor").json()) == 3
    assert client.post("/api/v1/plans/1/floor", json=[{**said[0], "build": "B9", "uid": "x" * 8}]).status_code == 422
    gated = client.post("/api/v1/plans/1/floor", json=[{**said[0], "kind": "release", "uid": "y" * 8}])
    assert (gated.status_code, "has to pass its gate" in gated.text) == (422, True)


def test_values_are_entered_and_judged(client):
    """A value on the page; a comma is a point; nonsense is answered."""
    place = "/plans/1/lines/1/inspect"
    piece = client.get("/api/v1/plans/1/lines/1").json()
    text = client.get(f"{place}?by=Jon").text
    first = text.split('<select id="piece" name="piece"><option value="')[1].split('"')[0]
    sent = {"piece": first, "name": "width", "value": "10,05", "low": "9.9", "high": "10.1", "by": "Jon", "gauge": "c3"}
    assert client.post(place, data=sent, follow_redirects=False).status_code == 303
    assert "10.050" in client.get(place).text
    assert client.post(place, data={**sent, "value": "wide"}).status_code == 422
    assert "8 unlike values are needed" in client.get("/plans/1/charts").text
    assert client.get(f"{place}?aql=1.0").status_code == 200
    assert piece


def test_something_is_wrong(client):
    """Held, shown with what shares something, decided."""
    first = client.app.state.shelf.plan(1).builds[0].nest.placements[0].piece
    answer = client.post("/plans/1/wrong", data={"piece": first, "what": "crack <b>", "by": "Jon"})
    assert "crack &lt;b&gt;" in answer.text
    assert "same build" in client.get("/plans/1/wrong", params={"piece": first}).text
    number = client.get("/api/v1/plans/1/floor").json()[-1]["number"]
    text = client.post(
        f"/plans/1/wrong/{number}", data={"decision": "reject and remake", "by": "Ada", "cause": "x"}
    ).text
    assert "To make again" in text
    assert client.post("/plans/1/wrong", data={"piece": "L99-01", "what": "x", "by": "Jon"}).status_code == 422


def test_a_basket_goes_in_and_comes_out(client):
    """From the page: cautions beside the button, in, still in, out; a tablet that sends twice is kept once."""
    page = "/plans/1/baskets"
    text = client.get(f"{page}?by=Jon").text
    assert "door shut, extraction on" in text
    name = text.split('name="basket" value="')[1].split('"')[0]
    sent = {"by": "Jon", "basket": name, "station": "cabinet", "line": ["1", "2"], "media": "glass", "uid": "tablet-77"}
    for _ in range(2):
        assert "still in" in client.post(f"{page}/start", data=sent).text
    kept = [r for r in client.get("/api/v1/plans/1/floor").json() if r["kind"] == "basket"]
    assert [r["data"]["lines"] for r in kept] == ["1 2"]
    out = {"by": "Jon", "of": kept[0]["uid"], "found": "<b>"}
    assert "&lt;b&gt;" in client.post(f"{page}/end", data=out).text
    assert client.post(f"{page}/end", data=out).status_code == 422
    assert client.post(f"{page}/start", data={**sent, "uid": "tablet-78", "by": " "}).status_code == 422


def test_gauges_are_entered_studied_and_missed(client):
    """On the register with its day; a study that cannot be read comes back with its text; inspection warns."""
    page = "/plans/1/gauges"
    client.post(page, data={"name": "C3", "due": "2027-01-01", "by": "Jon"})
    assert "calibration was due 2027-01-01" in client.get(page).text
    answer = client.post(f"{page}/study", data={"name": "C3", "by": "Jon", "text": "1 2 3"})
    assert answer.status_code == 422
    assert "1 2 3</textarea>" in answer.text
    text = "\n".join(" ".join(str(part + 0.01 * trial) for trial in range(9)) for part in range(10))
    assert "of the spread" in client.post(f"{page}/study", data={"name": "C3", "by": "Jon", "text": text}).text
    value = {"piece": "L01-01", "name": "width", "value": "10", "by": "Jon", "gauge": "X9"}
    assert "not on the register" in client.post("/plans/1/lines/1/inspect", data=value).text
    gone = client.post(f"{page}/out", data={"name": "C3", "by": "Jon", "why": "dropped"}).text
    assert "No gauge is entered yet" in gone
