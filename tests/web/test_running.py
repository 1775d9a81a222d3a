"""The pages of a running week: looking changes nothing, accepting makes a new plan, names are asked for."""

import re

import pytest

from cakewright.app import plan_build, stopped_heat
from cakewright.app.jobs import PAPERS
from cakewright.model.plan import TaskKind
from cakewright.store import open_store
from tests.app.running import MONDAY, running_week, task
from tests.web.conftest import client_over


@pytest.fixture(scope="module")
def plan():
    return running_week()


@pytest.fixture
def store(tmp_path, plan):
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(plan, made_by="Mira", at=MONDAY)
        yield store


@pytest.fixture
def client(store):
    """At 10:00 on the Monday of the week."""
    return client_over(store, clock=lambda: MONDAY.replace(hour=9))


def draft(text):
    return re.search(r'name="draft" value="([^"]+)"', text).group(1)


def test_every_page_answers(client, store):
    """Without a word said, each page is there and nothing is kept."""
    for address in ("again", "happened", "what-if", "builds/B1/stopped"):
        answer = client.get(f"/plans/1/{address}")
        assert answer.status_code == 200, address
    assert client.get("/promises").status_code == 200
    assert store.newest() == 1


def test_plan_again_is_kept_as_it_was_shown(client, store, plan):
    """The machine is out of use: the page says what moves, and the new plan has exactly those dates."""
    asked = {"name": "A1", "start": "2027-03-01T12:00", "end": "2027-03-02T20:00", "at": "2027-03-01T10:00"}
    shown = client.get("/plans/1/again", params=asked)
    assert "later" in shown.text
    answer = client.post("/plans/1/again", data={"draft": draft(shown.text), "by": "Mira"}, follow_redirects=False)
    assert answer.headers["location"] == "/plans/2"
    assert store.load_plan(2).made_by == "Mira"
    assert any(job.kind == PAPERS and job.folder == "plans/2" for job in store.jobs())  # its papers are being written
    assert any(f"L{p.line:02d}" in shown.text for p in plan.promises)


def test_nothing_is_kept_without_a_name_or_an_answer(client, store):
    """Both are said, neither makes a plan."""
    shown = client.get("/plans/1/again", params={"name": "A1", "start": "2027-03-01T12:00", "end": "2027-03-02T20:00"})
    assert client.post("/plans/1/again", data={"draft": draft(shown.text)}).status_code == 422
    assert client.post("/plans/1/again", data={"draft": "old", "by": "Mira"}).status_code == 422
    assert store.newest() == 1


def test_a_plan_is_told_to_people_and_its_promises_count(client, store):
    """One press; afterwards the page names who and when."""
    client.post("/plans/1/commit", data={"by": "Dev"})
    assert store.schedule.commitments()[0].by == "Dev"
    assert "committed" in client.get("/plans/1/again").text


def test_what_happened_is_noted_by_touch(client, store, plan):
    """Not begun: the page shows it, and planning again moves the build."""
    first = min(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start).key
    page = client.get("/plans/1/happened?by=Mira").text
    assert "Not begun" in page
    client.post("/plans/1/happened", data={"kind": "load and check", "build": first, "word": "not begun", "by": "Mira"})
    assert store.schedule.progress_of(1)[0].started is None
    assert "Noted by Mira" in client.get("/plans/1/happened?by=Mira").text
    assert f"{first} load and check" in client.get("/plans/1/again").text


def test_a_stop_shows_ways_out_and_one_is_taken(client, store, plan, monkeypatch):
    """The desk is a question; taking a way makes plan 2 with the missing pieces in a build of their own."""
    monkeypatch.setattr(plan_build, "heat_build", lambda meshes, placed, profile, hours, machine, cell: (
        plan_build.quick_cooling(profile, machine, cell), None))  # fmt: skip
    monkeypatch.setattr(stopped_heat, "heat_build", plan_build.heat_build)
    first = min(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start)
    asked = {"layer": first.profile.layers // 2, "cause": "power", "at": "2027-03-01T10:00"}
    shown = client.get(f"/plans/1/builds/{first.key}/stopped", params=asked)
    assert "Ways out, the best first" in shown.text and "Quarantine" in shown.text
    assert store.newest() == 1
    data = {"draft": draft(shown.text), "way": "again-now", "by": "Dev"}
    answer = client.post(f"/plans/1/builds/{first.key}/stopped", data=data, follow_redirects=False)
    assert answer.headers["location"] == "/plans/2"
    assert store.load_plan(2).build(first.key + "R").pieces > 0


@pytest.mark.parametrize("question", ["rush", "line", "chamber", "night", "down"])
def test_every_question_gets_a_table(client, question, plan):
    """Now and then, and that nothing is kept."""
    asked = {"question": question, "line": plan.promises[0].line, "name": "A1", "start": "2027-03-01T12:00",
             "end": "2027-03-02T12:00"}  # fmt: skip
    text = client.get("/plans/1/what-if", params=asked).text
    assert "late lines" in text and "nothing is kept" in text


@pytest.mark.parametrize(
    "address",
    [
        "/plans/1/builds/B1/stopped?layer=5&cause=ghosts",
        "/plans/1/builds/B1/stopped?layer=99999&cause=power&at=2027-03-01T12:00",
        "/plans/1/what-if?question=magic",
        "/plans/1/what-if?question=down&name=A1&start=x&end=y",
        "/plans/1/again?at=yesterday",
    ],
)
def test_what_cannot_be_meant_is_refused(client, address):
    """With a page that says what to do, not with a stack trace."""
    assert client.get(address).status_code == 422


def test_a_week_that_cannot_be_planned_again_says_why(client):
    """The only machine is away for five years: the page names it and keeps its forms."""
    asked = {"name": "A1", "start": "2027-03-01T12:00", "end": "2033-03-02T20:00"}
    answer = client.get("/plans/1/again", params=asked)
    assert answer.status_code == 200 and "cannot be planned again" in answer.text


def test_calendars_can_be_fetched(client, plan):
    """Each person and machine has one; a stranger has none."""
    page = client.get("/plans/1/calendar").text
    for address in re.findall(r'href="(/plans/1/calendars/[^"]+)"', page):
        answer = client.get(address)
        assert answer.status_code == 200 and answer.headers["content-type"].startswith("text/calendar")
        assert answer.content.startswith(b"BEGIN:VCALENDAR\r\n")
    assert page.count("/calendars/") == len(plan.cell.people) + len(plan.cell.machines)
    assert client.get("/plans/1/calendars/person/Nobody.ics").status_code == 404
