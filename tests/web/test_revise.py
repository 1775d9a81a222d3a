"""The page of a new revision: it says what happens to each piece, keeps a quote, changes no plan."""

from dataclasses import replace

import pytest

from cakewright.store import open_store
from tests.app.running import MONDAY, running_week
from tests.web.conftest import asked, client_over
from tests.web.test_inbox import mesh_bytes


@pytest.fixture
def client(tmp_path):
    """A scheduled week before its first loading."""
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(running_week(), made_by="Mira", at=MONDAY)
        yield client_over(store, clock=lambda: MONDAY.replace(hour=5))


def send(client, number, content=None, **more):
    """Post a file as the new revision of a line."""
    files = {"file": ("next.stl", mesh_bytes() if content is None else content)}
    data = {"revision": "B2", "by": "Mira", "seconds": "0", **more}
    return asked(client, f"/plans/1/lines/{number}/revision", data, files=files)


def test_it_says_what_becomes_of_the_pieces(client):
    """Nested pieces: nothing lost, the papers are void; the price is kept as a quote with the new revision."""
    plan = running_week()
    line = replace(plan.line(1))
    assert f"revision {line.revision or 'none'}" in client.get("/plans/1/lines/1/revision").text
    answer = send(client, 1)
    assert answer.status_code == 200, answer.text
    assert "nested" in answer.text and "are void" in answer.text and "Q0001" in answer.text
    kept = client.get("/api/v1/quotes/1").json()["offer"]
    assert (kept["revision"], kept["quantity"]) == ("B2", line.quantity)
    assert client.app.state.shelf.store.newest() == 1


def test_bad_files_and_nobody_are_refused(client):
    """With the reason; nothing is kept."""
    assert "failed" in send(client, 1, b"solid nothing").text
    assert send(client, 1, b"").status_code == 422
    assert send(client, 1, by=" ").status_code == 422
    assert send(client, 77).status_code == 404
    assert client.get("/api/v1/quotes").json() == []
