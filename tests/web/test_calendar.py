"""One task moved on the calendar: by hand, by keys, by form and by script; accepted, refused, taken back."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect, sync_playwright

from cakewright.app.jobs import PAPERS
from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.app.running import MONDAY, running_week
from tests.web.browser import ARGUMENTS, CHROMIUM, barriers, complaints, served
from tests.web.conftest import client_over, opened

EARLY = MONDAY - timedelta(hours=2)
PAGE = "/plans/1/calendar"


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(running_week(), made_by="Mira", at=EARLY)
        yield store


@pytest.fixture
def client(store):
    return client_over(store, clock=lambda: EARLY)


def last_print(store):
    tasks = [t for t in store.load_plan(1).schedule.tasks if t.kind == "print"]
    return max(tasks, key=lambda t: t.start)


def keeps(client, asked):
    """Keep a move by script and wait for its job."""
    answer = client.post("/api/v1/plans/1/tasks", json=asked)
    assert answer.status_code == 202, answer.text
    client.get(f"/jobs/{answer.json()['number']}/events")
    return client.get(f"/api/v1/jobs/{answer.json()['number']}").json()


def test_a_move_is_answered_in_words_and_kept_by_name(client, store):
    """The last print a day later: the page says what moves; kept, it is a new plan with the print where it was put."""
    late = last_print(store)
    when = (late.start + timedelta(days=1)).isoformat()
    seen = client.get(PAGE + "/move", params={"task": f"{late.build}/print", "start": when})
    assert seen.status_code == 200
    assert "Keep it as a new plan" in seen.text
    assert store.newest() == 1
    draft = seen.text.split('name="draft" value="')[1].split('"')[0]
    kept = opened(client, client.post(PAGE + "/move", data={"draft": draft, "by": "Mira"}, follow_redirects=False))
    assert kept.headers["location"] == "/plans/2/calendar?moved=1"
    assert any(job.kind == PAPERS and job.folder == "plans/2" for job in store.jobs())
    moved = next(t for t in store.load_plan(2).schedule.of_build(late.build) if t.kind == "print")
    assert moved.start == late.start + timedelta(days=1)
    back = client.post("/plans/1/calendar/take-back", data={"by": "Mira"}, follow_redirects=False)
    assert back.headers["location"] == "/plans/3/calendar"
    assert store.load_plan(3).schedule.tasks == store.load_plan(1).schedule.tasks


def test_what_cannot_be_done_says_why(client, store):
    """A load in the middle of the night is refused with a reason, and nothing can be accepted."""
    late = last_print(store)
    night = late.start.replace(hour=1, minute=0) + timedelta(days=1)
    asked = {"task": f"{late.build}/load", "start": night.isoformat()}
    answer = client.post("/api/v1/plans/1/tasks/judged", json=asked).json()
    assert not answer["is_possible"]
    assert answer["refused"]
    refused = client.post("/api/v1/plans/1/tasks", json={**asked, "by": "Mira"})
    assert refused.status_code == 422
    assert set(refused.json()["error"]) == {"code", "found", "remedy", "where"}
    assert "cannot go there" in client.get(PAGE + "/move", params=asked).text
    assert client.get(PAGE + "/move", params={**asked, "task": "B99/load"}).status_code == 422
    assert store.newest() == 1


def test_kept_by_script(client, store):
    """The interface answers with a job; when it is done its plan is the new version."""
    late = last_print(store)
    when = (late.start + timedelta(days=1)).isoformat()
    assert keeps(client, {"task": f"{late.build}/print", "start": when, "by": "Mira"})["plan"] == 2
    stale = client.post("/api/v1/plans/1/tasks", json={"task": f"{late.build}/print", "start": when, "by": "Mira"})
    assert stale.status_code == 422 and "plan 2 has been kept since" in stale.text


def test_the_calendar_tells_what_differs_from_what_people_were_told(client, store):
    """After plan 1 was told, plan 2 shows the difference in a sentence and outlines the old places."""
    client.post("/plans/1/commit", data={"by": "Mira", "hours": 2})
    late = last_print(store)
    when = (late.start + timedelta(days=1)).isoformat()
    keeps(client, {"task": f"{late.build}/print", "start": when, "by": "Mira"})
    text = client.get("/plans/2/calendar").text
    assert "Against plan 1, which people were told" in text
    assert 'class="told"' in text
    assert f"told: {late.build} print" in text
    assert "Against plan" not in client.get("/plans/1/calendar").text


def test_dragged_and_pushed_in_a_browser(store):
    """A bar dragged two hours to the right and one pushed by keys are both answered below; nobody is shut out."""
    late = last_print(store)
    with served(create_app(store, clock=lambda: EARLY)) as address, sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        heard = complaints(page)
        page.goto(address + PAGE)
        bar = page.locator(f'.lane[data-kind=machine] [data-task="{late.build}/print"]')
        bar.scroll_into_view_if_needed()
        at = bar.locator(".bar").bounding_box()
        page.mouse.move(at["x"] + 20, at["y"] + 20)
        page.mouse.down()
        page.mouse.move(at["x"] + 44, at["y"] + 22, steps=5)
        page.mouse.up()
        answer = page.locator("#moving")
        expect(answer).to_contain_text(f"{late.build}/print", timeout=20_000)
        expect(answer.locator("h2")).to_have_count(1, timeout=20_000)
        assert page.url.endswith("/calendar")
        bar.focus()
        page.keyboard.press("Escape")
        expect(answer).to_be_hidden()
        for _ in range(4):
            page.keyboard.press("ArrowRight")
        expect(answer).to_contain_text("60 min later")
        for _ in range(23):
            page.keyboard.press("Shift+ArrowRight")
        page.keyboard.press("Enter")
        expect(answer.get_by_role("button", name="Keep it as a new plan")).to_be_visible(timeout=20_000)
        assert barriers(page) == []
        answer.locator("select").select_option(index=1)
        answer.get_by_role("button", name="Keep it as a new plan").click()
        page.wait_for_url("**/plans/2/calendar?moved=1", timeout=60_000)
        page.get_by_role("button", name="Take it back").wait_for()
        assert heard == []
        browser.close()
