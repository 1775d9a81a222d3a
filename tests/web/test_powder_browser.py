"""The powder pages in a browser: nobody is shut out, they fit a phone, and a weighing is judged while one types."""

import pytest
from playwright.sync_api import expect, sync_playwright

from cakewright.web.application import create_app
from tests.app.test_powder import file_store as store
from tests.app.test_powder import plan, printed, stocked
from tests.web.browser import ARGUMENTS, CHROMIUM, barriers, complaints, served
from tests.web.test_powder import ADDRESSES, LATER

__all__ = ["plan", "stocked", "store"]  # fixtures


@pytest.fixture
def address(store, plan):
    """The pages after one printed build."""
    printed(store, plan)
    with served(create_app(store, clock=lambda: LATER)) as at:
        yield at


def test_nobody_is_shut_out_and_every_page_fits(address):
    """No barrier by WCAG 2.2 AA in light or dark, nothing over the side of a phone, targets of at least 12 mm."""
    with sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        found = {}
        for scheme, width in (("light", 1280), ("dark", 390)):
            context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
            page = context.new_page()
            heard = complaints(page)
            for below in ADDRESSES:
                page.goto(address + below)
                found[scheme, below] = barriers(page, only=["color-contrast"] if scheme == "dark" else None)
                assert page.evaluate("document.documentElement.scrollWidth") <= width, below
                small = page.evaluate(
                    """() => [...document.querySelectorAll('main :is(button, .button, input, select, summary)')]
                       .filter(e => e.offsetParent && e.type !== 'checkbox' && e.getBoundingClientRect().height < 45)
                       .map(e => e.outerHTML.slice(0, 90))"""
                )
                assert small == [], below
            assert heard == []
            context.close()
        browser.close()
    assert {k: v for k, v in found.items() if v} == {}


def test_a_weighing_is_judged_while_the_can_stands_on_the_scale(address):
    """The word changes from 'take out' to 'good' before anything is booked."""
    with sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_context(viewport={"width": 820, "height": 1180}).new_page()
        heard = complaints(page)
        page.goto(f"{address}/plans/1/builds/B2/powder?by=Mira", wait_until="networkidle")
        asked = float(page.locator('input[name^="asked:"]').first.input_value())
        scale = page.locator('input[name^="kg:"]').first
        scale.fill(f"{asked + 0.5:.2f}")
        scale.press("Tab")
        expect(page.locator("#w1")).to_contain_text("take out 0.50 kg")
        scale.fill(f"{asked:.2f}")
        scale.press("Tab")
        expect(page.locator("#w1")).to_contain_text("good")
        assert heard == []
        browser.close()
