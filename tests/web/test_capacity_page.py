"""The page of capacity on a week that can really be scheduled: every set-up with its price, or that it is not known."""

import re

import pytest

from cakewright.store import open_store
from tests.app.running import MONDAY, running_week
from tests.web.conftest import asked, client_over


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    with open_store(tmp_path_factory.mktemp("capacity") / "cell.sqlite") as store:
        store.save_plan(running_week(), made_by="Mira", at=MONDAY)
        yield client_over(store, clock=lambda: MONDAY)


def rows(text):
    """Cells of each row by the name of their column."""
    found = {}
    for row in re.findall(r"<tr><th scope=\"row\" data-name=\"Set-up\">(.*?)</tr>", text, re.S):
        name, rest = row.split("</th>", 1)
        found[name] = dict(re.findall(r'<td data-name="([^"]+)"[^>]*>(.*?)</td>', rest, re.S))
    return found


def test_every_set_up_is_a_row(client):
    """Five rows; what a chamber costs is not known, and so its kilogram is not either."""
    assert "Nothing changes by asking" in client.get("/plans/1/capacity").text
    answer = asked(client, "/plans/1/capacity", {})
    assert answer.status_code == 200
    table = rows(answer.text)
    assert len(table) == 5
    assert table["two more chambers"]["Added a week"] == "price not known"
    assert table["two more chambers"]["Cost of a kg with it"] == "not known"
    assert table["as it is"]["Each extra kg a week"] == "hardly more"
    assert "0.00" in table["as it is"]["Added a week"]


def test_a_typed_price_is_used(client):
    """35 a week for a chamber: two cost 70; what was typed stays in its field."""
    answer = asked(client, "/plans/1/capacity", {"chamber": "35,0", "machine": "0"})
    table = rows(answer.text)
    assert "70.00" in table["two more chambers"]["Added a week"]
    assert "not known" not in table["two more chambers"]["Cost of a kg with it"]
    assert re.search(r'id="chamber"[^>]*value="35"', answer.text)


def test_scripts_ask_the_same(client):
    """202 with a job; the set-ups with their late lines and kilograms as its answer."""
    begun = client.post("/api/v1/plans/1/capacity", json={"chamber": 35})
    assert begun.status_code == 202
    client.get(f"/jobs/{begun.json()['number']}/events")
    told = client.get(f"/api/v1/jobs/{begun.json()['number']}/answer").json()
    assert told["figures"][0][0] == "as it is" and len(told["figures"]) == 5
    assert client.post("/api/v1/plans/1/capacity", json={"chamber": -1}).status_code == 422


@pytest.mark.parametrize("typed", ["much", "-3", "1e99"])
def test_a_price_that_is_none_is_refused(client, typed):
    """Each with what was found."""
    answer = client.post("/plans/1/capacity", data={"chamber": typed})
    assert answer.status_code == 422 and typed in answer.text
