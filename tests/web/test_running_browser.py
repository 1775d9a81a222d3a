"""The pages of a running week in a real browser: nobody is shut out, nothing hangs over the side of a phone."""

import pytest
from playwright.sync_api import sync_playwright

from cakewright.app.answer_questions import Asked, answer_question, keep_question
from cakewright.app.failure_desk import Cause
from cakewright.app.progress import quiet
from cakewright.app.questions import AskWhatIf, HasStopped, PlanAgain
from cakewright.app.what_if import RushOrder
from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.app.running import MONDAY, running_week
from tests.web.browser import ARGUMENTS, CHROMIUM, barriers, complaints, served

NOON = "2027-03-01T12:00"
NOW = MONDAY.replace(hour=11)
ASKED = {
    "/plans/1/again": PlanAgain(NOW, (("A1", MONDAY.replace(hour=12), MONDAY.replace(day=2, hour=19)),)),
    "/plans/1/builds/B2/stopped": HasStopped(NOW, "B2", 40, Cause.HEAT),
    "/plans/1/what-if": AskWhatIf(NOW, RushOrder()),
}
PLACES = ("/plans/1/again", f"/plans/1/happened?by=Mira&at={NOON}", "/plans/1/calendar", "/promises")


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as tools:
        made = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield made
        made.close()


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    with open_store(tmp_path_factory.mktemp("running") / "cell.sqlite") as store:
        store.save_plan(running_week(), made_by="Mira", at=MONDAY)
        store.schedule.commit(plan=1, until=MONDAY.replace(hour=20), at=MONDAY, by="Mira")
        words = [keep_question(store, Asked(1, page[1:], question)) for page, question in ASKED.items()]
        for word in words:
            answer_question(quiet, store.address, word)
        answers = [f"{page}?answer={word}" for page, word in zip(ASKED, words, strict=True)]
        with served(create_app(store, clock=lambda: MONDAY.replace(hour=9))) as at:
            yield at, (*answers, *PLACES)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nobody_is_shut_out(browser, address, scheme):
    """No barrier by WCAG 2.2 AA and no complaint in the console, in both schemes."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    heard = complaints(page)
    found = {}
    for place in address[1]:
        page.goto(address[0] + place)
        found[place] = barriers(page)
    context.close()
    assert {k: v for k, v in found.items() if v} == {}
    assert heard == []


def test_every_page_fits_a_phone(browser, address):
    """Nothing hangs over the side at 390 px; what is pressed is at least 47 px high."""
    context = browser.new_context(viewport={"width": 390, "height": 900})
    page = context.new_page()
    for place in address[1]:
        page.goto(address[0] + place)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, place
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, .button, input, select, summary')]
               .filter(e => e.offsetParent && e.getBoundingClientRect().height < 47.5)
               .map(e => e.outerHTML.slice(0, 80))"""
        )
        assert small == [], place
    context.close()
