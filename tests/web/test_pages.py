"""What each page says, without a browser."""

import re
from html.parser import HTMLParser

import pytest

from cakewright.store import open_store
from tests.web.conftest import client_over

PAGES = [
    "",
    "/lines",
    "/lines/2",
    "/lines/2/part",
    "/lines/7",
    "/builds",
    "/builds/B1",
    "/builds/B2",
    "/builds/B1/unpack?by=Mira",
    "/builds/B1/run?by=Mira",
    "/lines/2/inspect?by=Mira",
    "/charts",
    "/wrong",
    "/baskets?by=Mira",
    "/gauges?by=Mira",
    "/builds/B1/specimens?by=Mira",
    "/held?by=Mira",
    "/packing?order=bracket-1&by=Mira",
    "/training?by=Mira",
    "/upkeep?by=Mira",
    "/scale?by=Mira",
    "/charts?kind=ewma",
    "/builds/B1/identify?mass_g=5&size=28",
    "/lines/2/count?reference_g=50&total_g=100",
    "/builds/B1/heat",
    "/builds/B1/wishes",
    "/builds/B2/heat",
    "/calendar",
    "/powder",
    "/papers",
    "/orders/status",
    "/numbers",
    "/capacity",
]
ALL = [
    "/plans",
    "/display",
    "/customers",
    "/inbox",
    "/jobs/1",
    "/quotes",
    "/quotes/1",
    "/api/docs",
    *(f"/plans/2{below}" for below in PAGES),
]


class Seen(HTMLParser):
    """Collects what a content policy would forbid, and every link."""

    def __init__(self):
        super().__init__()
        self.inline, self.links, self.ids = [], set(), []

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.inline += [name for name in given if name.startswith("on") or name == "style"]
        if tag == "style" or (tag == "script" and "src" not in given):
            self.inline.append(tag)
        self.links |= {given[name] for name in ("href", "src") if given.get(name)}
        self.ids += [given["id"]] if "id" in given else []


def seen(client, address):
    answer = client.get(address)
    assert answer.status_code == 200, f"{address}: {answer.status_code}"
    found = Seen()
    found.feed(answer.text)
    return found


@pytest.mark.parametrize("address", ALL)
def test_nothing_inline_and_nothing_from_elsewhere(client, address):
    """A page carries no script or style of its own and points to no other machine; ids are unique."""
    found = seen(client, address)
    assert found.inline == []
    assert [link for link in found.links if re.match(r"(https?:)?//", link)] == []
    assert len(found.ids) == len(set(found.ids))


def test_every_link_leads_somewhere(client):
    """Following every link of every page, papers and tables included, never ends in an error."""
    todo, done = {"/"}, set()
    while todo:
        address = todo.pop()
        done.add(address)
        answer = client.get(address)
        assert answer.status_code == 200, f"{address}: {answer.status_code}"
        if answer.headers["content-type"].startswith("text/html"):
            found = Seen()
            found.feed(answer.text)
            todo |= {link.split("#")[0] for link in found.links if link.startswith("/")} - done - {""}
    assert {"/plans/2/papers/B1/traveller.pdf", "/plans/2/tables/quotes.csv", "/plans/1"} <= done


def test_the_morning_at_0640(client):
    """On Tuesday at 06:40 the cake of B1 may be opened, Mira unpacks it at nine, three lines are late."""
    text = client.get("/").text
    assert "Tue 2 Mar, 06:40" in text
    assert re.search(r"B1</a> in K1.*?may be opened", text, re.S)
    assert re.search(r"Mira.*?09:00–11:00.*?unpack and sieve", text, re.S)
    assert "cake of B1 is cool only on Tuesday 08:00" in text
    assert "ask the customer for it" in text


def test_another_moment(client):
    """Monday at noon B1 prints and the cake is too hot to open at nineteen."""
    assert "running since Mon 1 Mar 08:30" in client.get("/plans/2", params={"at": "2027-03-01T12:00"}).text
    assert "too hot to open" in client.get("/plans/2", params={"at": "2027-03-01T19:00"}).text


def test_names_that_hurt_are_shown_as_they_are(client):
    """A part called <b> is text, not markup."""
    text = client.get("/plans/2/lines").text
    assert "&lt;b&gt;ü&lt;/b&gt;" in text
    assert "<b>ü" not in text


def test_finding_a_line_while_on_the_phone(client):
    """Typing part of the name leaves the lines that hold it; htmx gets rows only."""
    rows = client.get("/plans/2/lines", params={"q": "KNOB"}, headers={"hx-request": "true"}).text
    assert "knob 28 mm" in rows
    assert "duct" not in rows
    assert "<html" not in rows
    assert "No line holds all of these words" in client.get("/plans/2/lines", params={"q": "zeppelin"}).text


def test_a_build_that_must_not_start_says_so(client):
    """B2 has two hooked rings too near to each other: both its page and the list warn."""
    for address in ("/plans/2/builds", "/plans/2/builds/B2"):
        assert "DO NOT START" in client.get(address).text


def test_an_old_plan_says_that_it_is_old(client):
    """Looking at version 1 one is told of version 2."""
    assert "The newest is" in client.get("/plans/1").text
    assert "The newest is" not in client.get("/plans/2").text


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("/plans/9", "no plan version 9"),
        ("/plans/2/lines/77", "no line 77"),
        ("/plans/2/builds/B9", "no build B9"),
        ("/plans/2/papers/B1/poem.pdf", "no paper"),
        ("/plans/2/tables/poems.csv", "no table"),
        ("/nowhere", "no such page"),
    ],
)
def test_what_is_not_there(client, address, said):
    """A wrong address is answered with a page that says what to do."""
    answer = client.get(address)
    assert answer.status_code == 404
    assert said in answer.text
    assert "To the first page" in answer.text


def test_a_moment_nobody_understands(client):
    """A wrong time is refused with an example of a right one."""
    answer = client.get("/plans/2", params={"at": "teatime"})
    assert answer.status_code == 422
    assert "2027-03-01T06:40" in answer.text


def test_an_empty_database_tells_how_to_begin(tmp_path):
    """The first page of an empty store names the command."""
    with open_store(tmp_path / "new.sqlite") as store:
        client = client_over(store)
        assert "cakewright plan" in client.get("/").text
        assert client.get("/plans").status_code == 200


@pytest.mark.parametrize("name", ["packing-list", "certificate", "quote-sheet"])
def test_papers_of_an_order(client, name):
    """Each order has its papers; a stranger's order number is answered with not found."""
    order = client.app.state.shelf.plan(2).orders.lines[0].order
    answer = client.get(f"/plans/2/orders/{name}.pdf", params={"order": order})
    assert answer.status_code == 200
    assert answer.content.startswith(b"%PDF")
    assert client.get(f"/plans/2/orders/{name}.pdf", params={"order": "?"}).status_code == 404
    assert client.get("/plans/2/orders/poem.pdf", params={"order": order}).status_code == 404


def test_the_tables_come_as_one_workbook(client):
    """A ZIP with the parts of a workbook."""
    answer = client.get("/plans/2/tables.xlsx")
    assert answer.status_code == 200
    assert answer.content.startswith(b"PK")
