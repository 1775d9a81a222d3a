"""A tablet loses the network: pages it had open can be read, entries wait, and merge without loss."""

import pytest
from playwright.sync_api import expect, sync_playwright

from cakewright.store import PieceState, last_words, open_store
from cakewright.web.application import create_app
from tests.web.browser import ARGUMENTS, CHROMIUM, served
from tests.web.conftest import TUESDAY, client_over, week


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(week(), made_by="Mira", at=TUESDAY)
        yield store


def test_entries_wait_for_the_network_and_merge(store):
    """Two touches and one check without a network: kept on the device, sent in order when it is back, each once."""
    with served(create_app(store)) as address, sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context()
        page = context.new_page()
        unpack = f"{address}/plans/1/builds/B1/unpack?by=Mira"
        page.goto(unpack, wait_until="networkidle")
        page.wait_for_timeout(1500)  # the worker takes over
        page.goto(unpack, wait_until="networkidle")
        context.set_offline(True)
        page.goto(unpack)
        expect(page.locator("h1")).to_contain_text("Unpack B1")  # read from the device
        page.locator("button.d-found[aria-label^='Found ']").nth(0).click()
        page.locator("button.d-broken").nth(1).click()
        expect(page.locator("#waiting")).to_contain_text("2 entries are kept on this device")
        assert store.piece_records(1, "B1") == ()
        context.set_offline(False)
        page.evaluate("dispatchEvent(new Event('online'))")
        expect(page.locator("#waiting")).to_be_hidden(timeout=20000)
        browser.close()
    states = sorted(r.state for r in last_words(store.piece_records(1, "B1")).values())
    assert states == [PieceState.BROKEN, PieceState.FOUND]


def test_a_refused_entry_is_shown_and_not_lost_in_silence(store):
    """What the server refuses later stays on the page with its reason until somebody has seen it."""
    with served(create_app(store)) as address, sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{address}/plans/1/builds/B1/run?by=Mira", wait_until="networkidle")
        pairs = "[['check', 'c99'], ['by', 'Mira'], ['uid', 'd-000001']]"
        waiting = f"[{{uid: 'd-1', path: '/plans/1/builds/B1/run/check', pairs: {pairs}}}]"
        page.evaluate(f"() => localStorage.setItem('cakewright.waiting', JSON.stringify({waiting}))")
        page.reload(wait_until="networkidle")
        expect(page.locator("#waiting")).to_contain_text("Refused: there is no check")
        page.get_by_role("button", name="I have seen it").click()
        expect(page.locator("#waiting")).to_be_hidden()
        browser.close()


def test_the_time_is_that_of_the_device(store):
    """An entry made an hour ago keeps its time; a clock that is ahead gets the server's; months ago is refused."""
    with client_over(store) as client:
        check = {"check": "c01", "by": "Jon", "uid": "tablet-00001", "when": "2027-03-02T04:40:00.000Z"}
        place = "/plans/1/builds/B1/run/check"
        for _ in range(2):
            assert client.post(place, data=check, follow_redirects=False).status_code == 303
        ahead = {**check, "check": "c02", "uid": "tablet-00002", "when": "2027-03-09T00:00:00Z"}
        client.post(place, data=ahead)
        old = {**check, "check": "c03", "uid": "tablet-00003", "when": "2026-03-09T00:00:00Z"}
        assert client.post(place, data=old).status_code == 422
        first, second = store.floor.records(plan=1)
    assert first.at.isoformat() == "2027-03-02T04:40:00+00:00"
    assert first.kept_at == TUESDAY
    assert second.at == TUESDAY


def test_it_can_be_installed(store):
    """Manifest and worker are served where a browser looks for them."""
    with client_over(store) as client:
        assert client.get("/manifest.webmanifest").json()["display"] == "standalone"
        assert client.get("/worker.js").headers["content-type"].startswith("text/javascript")
