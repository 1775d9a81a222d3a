"""Quotes on the page: a file goes in, an answer comes out, the customer says yes, an order list follows."""

import pytest

from cakewright.app.asked_quotes import AskedQuote, keep_asked
from cakewright.app.jobs import QUOTE
from cakewright.store import open_store
from cakewright.web.limited import LimitedShelf
from tests.app.worlds import small_cell
from tests.web.conftest import TUESDAY, client_over, opened, week
from tests.web.test_inbox import mesh_bytes


@pytest.fixture
def client(tmp_path):
    from dataclasses import replace

    path = tmp_path / "cell.sqlite"
    with open_store(path) as store, client_over(store) as client:
        store.save_plan(week(), made_by="Mira", at=TUESDAY)
        client.app.state.desk._cell = (1, small_cell())  # the invented week's cell cannot start a print
        client.app.state.shelf._plans[1] = replace(week(), cell=small_cell(), builds=())
        yield client


def ask(client, name="block.stl", content=None, **more):
    """Ask, wait for the job; the answer that leads to the quote, or that refused at once."""
    files = {"file": (name, mesh_bytes() if content is None else content)}
    asked = client.post("/quotes", data={"quantity": "3", "seconds": "0", **more}, files=files, follow_redirects=False)
    return opened(client, asked)


def test_from_file_to_answer_to_order_list(client):
    """The page of the quote, its sheet, the yes of the customer, and the tray with the order list."""
    answer = ask(client, customer="Team <b>", due="2027-04-01", settled="marking")
    assert answer.status_code == 303, answer.text
    place = answer.headers["location"]
    text = client.get(place).text
    assert "Team &lt;b&gt;" in text
    assert "no room" in text
    assert client.get(f"{place}/sheet.pdf").content.startswith(b"%PDF")
    assert client.get("/api/v1/quotes/1").json()["offer"]["quantity"] == 3
    client.post(f"{place}/answer", data={"said": "accepted", "by": "Mira"})
    assert "accepted" in client.get("/quotes").text
    tray = client.post("/quotes/order", follow_redirects=False).headers["location"]
    assert "block.stl" in client.get(tray).text
    assert "ordered" in client.get(place).text


def test_a_file_that_is_no_mesh_is_answered_with_its_fault(client):
    """Nothing is kept, the reason is said."""
    answer = ask(client, content=b"solid nothing")
    assert "failed" in answer.text and "To do:" in answer.text
    assert client.get("/api/v1/quotes").json() == []
    assert ask(client, content=b"").status_code == 422
    assert ask(client, name="..%2Fevil.stl").status_code == 422
    assert ask(client, due="someday").status_code == 422


def test_a_repeat_needs_no_file(client):
    """The same part in another quantity, from the kept file: a quote of its own, with part and revision as before."""
    place = ask(client, customer="Team").headers["location"]
    again = {"quantity": "20", "seconds": "0", "by": "Mira"}
    answer = opened(client, client.post(f"{place}/again", data=again, follow_redirects=False))
    assert answer.status_code == 303, answer.text
    assert answer.headers["location"] == "/quotes/2"
    first, second = (client.get(f"/api/v1/quotes/{n}").json()["offer"] for n in (1, 2))
    assert (second["quantity"], first["quantity"]) == (20, 3)
    same = ("part", "revision", "customer", "file", "file_sha256", "material", "finish", "quality_class")
    assert all(first[name] == second[name] for name in same)
    assert client.post("/quotes/77/again", data={"quantity": "2"}).status_code == 404
    for held in (client.app.state.shelf.store.folder / "quotes").iterdir():
        held.unlink()
    gone = client.post(f"{place}/again", data={"quantity": "2", "seconds": "0"})
    assert gone.status_code >= 400 and "quote it with its file" in gone.text


def test_asked_before_a_restart_and_made_after_it(client):
    """File and wishes are kept until the quote is there: a job that was interrupted makes it at a press."""
    desk, shelf = client.app.state.desk, client.app.state.shelf
    wishes = AskedQuote("block.stl", 7, customer="Team", seconds=0.0, by="Mira")
    word = keep_asked(shelf.store, wishes, [mesh_bytes()], small_cell())
    number = shelf.store.add_job(kind=QUOTE, by="Mira", folder=f"asked/{word}", at=TUESDAY)
    assert desk.recover() == 1
    answer = opened(client, client.post(f"/jobs/{number}/again", follow_redirects=False))
    assert answer.headers["location"] == "/quotes/1"
    assert client.get("/api/v1/quotes/1").json()["offer"]["quantity"] == 7
    assert not (shelf.store.folder / "asked" / word).exists()


def test_a_limited_account_follows_its_own_quotes_only(client):
    """The job of a quote is seen by whoever sees its customer, before it is made and afterwards; others are not."""
    shelf = client.app.state.shelf
    ask(client, customer="Team")
    word = keep_asked(shelf.store, AskedQuote("block.stl", customer="Other"), [mesh_bytes()], small_cell())
    waiting = shelf.store.add_job(kind=QUOTE, by="Mira", folder=f"asked/{word}", at=TUESDAY)
    papers = shelf.store.add_job(kind="write the papers of a plan", by="Mira", folder="plans/1", at=TUESDAY)
    jobs = [shelf.store.job(number) for number in (1, waiting, papers)]
    assert [LimitedShelf(shelf, ["team"]).shows_job(job) for job in jobs] == [True, False, False]
    assert [LimitedShelf(shelf, ["Other"]).shows_job(job) for job in jobs] == [False, True, False]
