"""The pages of a running week: looking changes nothing, accepting makes a new plan, names are asked for."""

import re
from datetime import timedelta

import pytest

from cakewright.app.answer_questions import Asked, keep_question
from cakewright.app.jobs import AGAIN, PAPERS
from cakewright.app.questions import PlanAgain
from cakewright.model.plan import TaskKind
from cakewright.store import open_store
from tests.app.running import MONDAY, running_week, task
from tests.web.conftest import asked, client_over, opened


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
    away = {"name": "A1", "start": "2027-03-01T12:00", "end": "2027-03-02T20:00", "at": "2027-03-01T10:00"}
    shown = asked(client, "/plans/1/again/asked", away)
    assert "later" in shown.text and store.newest() == 1
    answer = asked(client, "/plans/1/again", {"draft": draft(shown.text), "by": "Mira"})
    assert answer.url.path == "/plans/2"
    made = store.load_plan(2)
    assert made.made_by == "Mira"
    dates = shown.text.partition('id="dates"')[2].partition('id="tasks"')[0]
    told = {int(n) for n in re.findall(r">L(\d\d)<", dates)}
    gap = {p.line: abs(p.ready - plan.promise(p.line).ready) for p in made.promises}
    assert told and told == {n for n, late in gap.items() if late > timedelta(minutes=15)}
    assert any(job.kind == PAPERS and job.folder == "plans/2" for job in store.jobs())  # its papers are being written


def test_an_answer_is_there_after_a_restart_and_is_used_up_once(client, store):
    """Another server over the same store shows it and keeps it; a second press is told that it is gone."""
    shown = asked(
        client, "/plans/1/again/asked", {"name": "A1", "start": "2027-03-01T12:00", "end": "2027-03-02T20:00"}
    )
    other, data = client_over(store, clock=lambda: MONDAY.replace(hour=9)), {"draft": draft(shown.text), "by": "Mira"}
    assert other.get(shown.url.path, params=shown.url.params).text == shown.text
    assert asked(other, "/plans/1/again", data).url.path == "/plans/2"
    assert client.post("/plans/1/again", data=data).status_code == 422
    assert "no longer at hand" in client.get(shown.url.path, params=shown.url.params).text


def test_a_question_that_was_cut_off_is_asked_again_at_a_press(client, store):
    """It was interrupted before its answer: the job's page asks it once more, with the same words."""
    word = keep_question(store, Asked(1, "plans/1/again", PlanAgain(MONDAY.replace(hour=9))))
    number = store.add_job(kind=AGAIN, by="", folder=f"plans/1/again?answer={word}", at=MONDAY)
    assert client.app.state.desk.recover() == 1
    again = opened(client, client.post(f"/jobs/{number}/again", follow_redirects=False))
    assert again.headers["location"] == f"/plans/1/again?answer={word}"
    assert "Taken as begun" in client.get(again.headers["location"]).text


def test_scripts_ask_and_keep_with_the_same_functions(client, store, plan):
    """202 with a job; its answer in words and numbers; kept as a plan by a job of its own."""
    first = min(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start)
    stop = {"layer": first.profile.layers // 2, "cause": "power", "at": "2027-03-01T10:00"}
    begun = client.post(f"/api/v1/plans/1/builds/{first.key}/stopped", json=stop)
    assert begun.status_code == 202
    number = begun.json()["number"]
    client.get(f"/jobs/{number}/events")
    answer = client.get(f"/api/v1/jobs/{number}/answer").json()
    assert answer["can_be_kept"] and "again-now" in {way["way"] for way in answer["ways"]}
    stop = {**stop, "layer": first.profile.layers}  # nothing has to be nested: the test stays short
    number = client.post(f"/api/v1/plans/1/builds/{first.key}/stopped", json=stop).json()["number"]
    client.get(f"/jobs/{number}/events")
    kept = f"/api/v1/jobs/{number}/answer/kept"
    assert client.post(kept, json={"by": "Dev", "way": "magic"}).status_code == 422
    job = client.post(kept, json={"by": "Dev", "way": "give-up"}).json()
    client.get(f"/jobs/{job['number']}/events")
    done = client.get(f"/api/v1/jobs/{job['number']}").json()
    assert (done["state"], done["plan"]) == ("done", 2)
    assert store.schedule.stops()[0].by == "Dev"
    asking = client.post("/api/v1/plans/2/what-if", json={"question": "rush", "at": "2027-03-01T10:00"}).json()
    client.get(f"/jobs/{asking['number']}/events")
    told = client.get(f"/api/v1/jobs/{asking['number']}/answer").json()
    assert told["figures"] and not told["can_be_kept"]
    assert client.get("/api/v1/jobs/99/answer").status_code == 404


def test_nothing_is_kept_without_a_name_or_an_answer(client, store):
    """Both are said, neither makes a plan."""
    word = keep_question(store, Asked(1, "plans/1/again", PlanAgain(MONDAY.replace(hour=9))))
    assert client.post("/plans/1/again", data={"draft": word}).status_code == 422
    assert client.post("/plans/1/again", data={"draft": word, "by": "Mira"}).status_code == 422  # not answered yet
    for old in ("old", "../../secrets", "0" * 16):
        assert client.post("/plans/1/again", data={"draft": old, "by": "Mira"}).status_code == 422
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
    began = {"kind": "print", "build": first, "word": "began", "by": "Mira & Dev"}
    refused = client.post("/plans/1/happened", data=began)
    assert refused.status_code == 422 and "was not scanned or typed" in refused.text
    told = client.post("/plans/1/happened", data={**began, "without": "no reader"}, follow_redirects=False)
    assert told.headers["location"] == "/plans/1/happened?by=Mira+%26+Dev"
    assert store.schedule.progress_of(1)[-1].started is not None
    assert f"{first} load and check" in asked(client, "/plans/1/again/asked", {}).text


def test_a_stop_shows_ways_out_and_one_is_taken(client, store, plan):
    """The desk is a question; taking a way makes plan 2. (Nesting what is missing: tests/app/test_recover.)"""
    first = min(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start)
    stop = {"layer": first.profile.layers, "cause": "power", "at": "2027-03-01T10:00"}
    shown = asked(client, f"/plans/1/builds/{first.key}/stopped/asked", stop)
    assert "Ways out, the best first" in shown.text and "Quarantine" in shown.text
    assert store.newest() == 1
    data = {"draft": draft(shown.text), "way": "give-up", "by": "Dev", "note": "agreed with Team"}
    assert client.post(f"/plans/1/builds/{first.key}/stopped", data={**data, "way": "magic"}).status_code == 422
    assert asked(client, f"/plans/1/builds/{first.key}/stopped", data).url.path == "/plans/2"
    assert "stopped after layer" in store.load_plan(2).build(first.key).reason
    assert store.schedule.stops()[0].note == "agreed with Team"


@pytest.mark.parametrize("question", ["rush", "line", "chamber", "night", "down"])
def test_every_question_gets_a_table(client, question, plan):
    """Now and then, and that nothing is kept."""
    change = {"question": question, "line": plan.promises[0].line, "name": "A1", "start": "2027-03-01T12:00",
              "end": "2027-03-02T12:00"}  # fmt: skip
    text = asked(client, "/plans/1/what-if", change).text
    assert "late lines" in text and "nothing is kept" in text


@pytest.mark.parametrize(
    ("address", "data"),
    [
        ("/plans/1/builds/B1/stopped/asked", {"layer": 5, "cause": "ghosts", "at": "2027-03-02T12:00"}),
        ("/plans/1/builds/B1/stopped/asked", {"layer": 99999, "cause": "power", "at": "2027-03-02T12:00"}),
        ("/plans/1/builds/B1/stopped/asked", {"layer": 5, "cause": "power", "at": "2027-03-01T01:00"}),
        ("/plans/1/what-if", {"question": "magic"}),
        ("/plans/1/what-if", {"question": "line", "line": "77"}),
        ("/plans/1/what-if", {"question": "down", "name": "A1", "start": "x", "end": "y"}),
        ("/plans/1/again/asked", {"at": "yesterday"}),
        ("/plans/1/again/asked", {"name": "A9", "start": "2027-03-01T12:00", "end": "2027-03-02T12:00"}),
        ("/plans/1/again/asked", {"name": "A1", "start": "2027-03-02T12:00", "end": "2027-03-01T12:00"}),
    ],
)
def test_what_cannot_be_meant_is_refused(client, store, address, data):
    """At once, with a page that says what to do; no job is begun."""
    assert client.post(address, data=data).status_code == 422
    assert store.jobs() == ()


def test_a_week_that_cannot_be_planned_again_says_why(client):
    """The only machine is away for five years: the job says so, and the way back keeps what was filled in."""
    away = {"name": "A1", "start": "2027-03-01T12:00", "end": "2033-03-02T20:00"}
    answer = asked(client, "/plans/1/again/asked", away)
    assert "failed" in answer.text and "To do:" in answer.text and "1800 days" in answer.text
    back = client.post("/jobs/1/again")
    assert 'value="2033-03-02T20:00"' in back.text


def test_calendars_can_be_fetched(client, plan):
    """Each person and machine has one; a stranger has none."""
    page = client.get("/plans/1/calendar").text
    for address in re.findall(r'href="(/plans/1/calendars/[^"]+)"', page):
        answer = client.get(address)
        assert answer.status_code == 200 and answer.headers["content-type"].startswith("text/calendar")
        assert answer.content.startswith(b"BEGIN:VCALENDAR\r\n")
    assert page.count("/calendars/") == len(plan.cell.people) + len(plan.cell.machines)
    assert client.get("/plans/1/calendars/person/Nobody.ics").status_code == 404
