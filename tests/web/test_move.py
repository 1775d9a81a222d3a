"""A nest changed by hand on its page and by script: judged, kept as a version, nested again around the pinned."""

import pytest
from playwright.sync_api import expect, sync_playwright

from cakewright.app.jobs import PAPERS
from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.app.hand_nest import hand_week
from tests.app.test_move_part import BEFORE
from tests.web.browser import ARGUMENTS, CHROMIUM, barriers, complaints, served
from tests.web.conftest import client_over

NEST = "/api/v1/plans/1/builds/B1/nest"


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(hand_week(), made_by="Mira", at=BEFORE)
        yield store


def test_judging_changes_nothing_and_is_no_entry_in_the_record(store):
    """Wrong places come back in words and millimetres; no version and no entry in the record of changes is made."""
    client = client_over(store, clock=lambda: BEFORE)
    asked = {"moves": [{"piece": "L02-01", "x_mm": 73.5, "turns": [{"axis": "z", "degrees": 90}]}]}
    answer = client.post(NEST + "/judged", json=asked).json()
    assert not answer["is_good"]
    assert answer["wrongs"][0]["found_mm"] == pytest.approx(3.5, abs=1e-6)
    assert answer["height_mm"] == answer["height_before_mm"] == 110
    assert store.newest() == 1
    assert len(store.accounts.changes()) == 0


def test_kept_by_script(store):
    """A job that ends with the new version and its page; then the papers; the scene names what is pinned."""
    client = client_over(store, clock=lambda: BEFORE)
    body = {"moves": [{"piece": "L02-01", "y_mm": 36}], "pinned": ["L02-01"], "by": "Mira"}
    answer = client.post(NEST, json=body)
    assert answer.status_code == 202
    number = answer.json()["number"]
    client.get(f"/jobs/{number}/events")  # ends with the job
    job = client.get(f"/api/v1/jobs/{number}").json()
    assert (job["state"], job["plan"], job["folder"]) == ("done", 2, "plans/2/builds/B1?kept=1"), job
    opened = client.get(f"/jobs/{number}?then=open", follow_redirects=False)
    assert opened.headers["location"] == "/plans/2/builds/B1?kept=1"
    assert any(job.kind == PAPERS and job.folder == "plans/2" for job in store.jobs())
    assert b'"pinned": ["L02-01"]' in client.get("/api/v1/plans/2/builds/B1/scene").content
    assert "pinned" in client.get("/plans/2/builds/B1?kept=1").text


@pytest.mark.parametrize(
    ("body", "status"),
    [({"moves": [{"piece": "L02-01", "x_mm": 73.5}], "by": "Mira"}, 422), ({"moves": [], "by": " "}, 422),
     ({"moves": [{"piece": "L77", "x_mm": 7}], "by": "Mira"}, 422),
     ({"moves": [{"piece": "L02-01", "x_mm": 1e9}], "by": "M"}, 422),
     ({"moves": "all"}, 422)],
)  # fmt: skip
def test_refusals_have_the_one_shape(store, body, status):
    """What cannot be kept is answered with what was found, and nothing is kept."""
    answer = client_over(store, clock=lambda: BEFORE).post(NEST, json=body)
    assert answer.status_code == status
    assert set(answer.json()["error"]) == {"code", "found", "remedy", "where"}
    assert store.newest() == 1


def test_by_hand_in_a_browser(store):
    """Typed, by keys and by dragging: judged at once in words, kept with a name, the old plan one press away."""
    with served(create_app(store, clock=lambda: BEFORE)) as address, sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        heard = complaints(page)
        page.goto(f"{address}/plans/1/builds/B1", wait_until="networkidle")
        page.get_by_role("button", name="L02-01").click()
        page.get_by_role("button", name="Move pieces").click()
        canvas, says = page.locator(".nest canvas"), page.locator(".judged")
        corner = lambda: [float(page.locator(f".place [name={axis}]").input_value()) for axis in "xyz"]  # noqa: E731
        assert corner() == pytest.approx([86, 16, 0], abs=0.01)
        canvas.focus()
        for key in ("ArrowRight", "Shift+ArrowUp", "PageUp", "r"):
            page.keyboard.press(key)
        assert corner() == pytest.approx([87, 26, 1], abs=0.1)
        expect(says).to_contain_text("Clear", timeout=20_000)
        page.locator(".place [name=x]").fill("73,5")
        page.keyboard.press("Tab")
        expect(page.locator(".wrongs li")).to_contain_text("L02-01 stands 3.5", timeout=20_000)
        expect(page.get_by_role("button", name="Keep as a new plan")).to_be_disabled()
        assert barriers(page) == []
        page.get_by_role("button", name="Put it back").click()
        expect(says).to_contain_text("Nothing is moved")
        at = canvas.bounding_box()
        drag_from = _piece_on_screen(page, at, "L01-02")
        page.mouse.move(*drag_from)
        page.mouse.down()
        page.mouse.move(drag_from[0] - 150, drag_from[1] + 20, steps=6)
        page.mouse.up()
        expect(says).to_contain_text("Wrong", timeout=20_000)
        moved = corner()
        assert moved[2] == pytest.approx(0, abs=0.01)  # along the floor
        assert abs(moved[0] - 10) + abs(moved[1] - 60) > 5
        page.get_by_role("button", name="Put everything back").click()
        page.get_by_role("button", name="L02-01").click()
        page.get_by_role("button", name="Pin this piece").click()
        page.locator(".place [name=y]").fill("36")
        page.keyboard.press("Tab")
        expect(says).to_contain_text("Clear", timeout=20_000)
        page.locator(".keep [name=by]").fill("Mira")
        page.get_by_role("button", name="Keep as a new plan").click()
        page.wait_for_url("**/plans/2/builds/B1?kept=1", timeout=60_000)
        expect(page.locator(".moving")).to_contain_text("Kept as plan 2")
        assert heard == []
        browser.close()
    assert [p.piece for p in store.load_plan(2).build("B1").nest.placements if p.pinned] == ["L02-01"]


def _piece_on_screen(page, box, piece):
    """A point of the picture where that piece is seen: pressed until the words beside the picture name it."""
    for down in (0.5, 0.55, 0.6, 0.65, 0.7, 0.75):
        for across in (0.3, 0.35, 0.4, 0.45, 0.5, 0.55):
            at = box["x"] + box["width"] * across, box["y"] + box["height"] * down
            page.mouse.click(*at)
            if page.locator(".picked").inner_text().startswith(piece):
                return at
    raise AssertionError(f"{piece} is nowhere in the picture")


def test_nested_again_as_a_job(store):
    """The job ends with a new plan, or says that nothing lower was found; asked without a name it is refused."""
    client = client_over(store, clock=lambda: BEFORE)
    assert client.post(NEST + "/again", json={"seconds": 1, "by": " "}).status_code == 422
    asked = client.post(NEST + "/again", json={"seconds": 1, "by": "Mira"})
    assert asked.status_code == 202
    number = asked.json()["number"]
    events = client.get(f"/jobs/{number}/events").text  # ends with the job
    job = store.job(number)
    assert job.state.is_final
    assert job.plan == store.newest() == 2 or "no lower nest" in job.found, (job, events)
    again = client.post(f"/jobs/{number}/again", follow_redirects=False)
    assert again.headers["location"] == "/plans/1/builds/B1"
