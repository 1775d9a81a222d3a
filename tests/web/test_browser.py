"""The pages in a browser: no complaints, nobody shut out, the nest turns and is cut."""

import re

import pytest
from playwright.sync_api import expect, sync_playwright

from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.web.browser import ARGUMENTS, CHROMIUM, barriers, complaints, served
from tests.web.conftest import TUESDAY
from tests.web.test_pages import ALL

DRAWN = re.compile("[1-9]")
WIDTHS = {"phone": 390, "tablet": 820, "desktop": 1440}


@pytest.fixture(scope="module")
def chromium():
    with sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def address(database):
    with open_store(database) as store, served(create_app(store, clock=lambda: TUESDAY)) as at:
        yield at


@pytest.fixture
def page(chromium):
    context = chromium.new_context(viewport={"width": 1440, "height": 900})
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nobody_is_shut_out(chromium, address, scheme):
    """No page has a barrier by WCAG 2.2 AA nor a complaint in the console; dark differs in its contrasts only."""
    context = chromium.new_context(viewport={"width": 1440, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    heard = complaints(page)
    found = {}
    for below in ALL:
        page.goto(address + below)
        if below.endswith(("/B1", "/B2")):
            expect(page.locator(".nest canvas")).to_have_attribute("data-frames", DRAWN)
            expect(page.locator(".plot canvas")).to_have_count(2)
        found[below] = barriers(page, only=["color-contrast"] if scheme == "dark" else None)
    context.close()
    assert {k: v for k, v in found.items() if v} == {}
    assert heard == []


@pytest.mark.parametrize("device", WIDTHS)
def test_every_page_fits_its_screen(chromium, address, device):
    """Nothing hangs over the side on a phone, a tablet or a desk; everything to press is at least 24 px, deeds 44."""
    context = chromium.new_context(viewport={"width": WIDTHS[device], "height": 900})
    page = context.new_page()
    for below in ALL:
        page.goto(address + below)
        assert page.evaluate("document.documentElement.scrollWidth") <= WIDTHS[device], below
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, .button, input, select, .places a, .tiles a, summary')]
               .filter(e => e.offsetParent && e.getBoundingClientRect().height < 47.5)
               .map(e => e.outerHTML.slice(0, 80))"""
        )
        assert small == [], below
    context.close()


def test_the_nest_turns_is_cut_and_picked(page, address):
    """With the keyboard alone: the picture turns, the cut moves, a piece is picked and leads to its line."""
    heard = complaints(page)
    page.goto(f"{address}/plans/2/builds/B1", wait_until="networkidle")
    canvas = page.locator("canvas").first
    expect(canvas).to_have_attribute("data-frames", DRAWN)
    canvas.focus()
    before = canvas.get_attribute("data-frames"), canvas.screenshot()
    page.keyboard.press("ArrowLeft")
    expect(canvas).not_to_have_attribute("data-frames", before[0])
    assert canvas.screenshot() != before[1]
    page.keyboard.press("Home")
    for _ in range(3):
        page.keyboard.press("PageUp")
    expect(page.locator("svg.cut path")).to_have_count(4)  # the four brackets
    assert "of 1350" in page.locator("#layer-now").inner_text()
    page.keyboard.press("Enter")
    assert "L05-01" in page.locator(".picked").inner_text()
    page.locator(".picked a").click()
    page.wait_for_url("**/lines/5")
    assert heard == []


def test_what_if_it_stops_here(page, address):
    """Pressing the button and moving the cut tells what a stop there would leave."""
    heard = complaints(page)
    page.goto(f"{address}/plans/2/builds/B1", wait_until="networkidle")
    page.get_by_role("button", name="Show what a stop here leaves").click()
    page.locator("#layer").fill("300")
    expect(page.locator(".fates-head")).to_contain_text("4 whole, 0 near the stop, 6 half made, 9 not begun")
    assert barriers(page) == []
    assert heard == []


def test_a_click_in_the_picture_picks_what_is_there(page, address):
    """Clicking the middle of the duct picks a duct; clicking beside everything picks nothing."""
    page.goto(f"{address}/plans/2/builds/B1", wait_until="networkidle")
    expect(page.locator(".nest canvas")).to_have_attribute("data-frames", DRAWN)
    box = page.locator(".nest canvas").bounding_box()
    page.mouse.click(box["x"] + box["width"] * 0.34, box["y"] + box["height"] * 0.45)
    assert "duct" in page.locator(".picked").inner_text()
    page.mouse.click(box["x"] + 5, box["y"] + 5)
    assert "Pick a piece" in page.locator(".picked").inner_text()


def test_lines_are_found_while_typing(page, address):
    """The list shrinks as one types, without loading the page again."""
    page.goto(f"{address}/plans/2/lines", wait_until="networkidle")
    page.locator("#q").press_sequentially("knob")
    expect(page.locator("#rows tbody tr")).to_have_count(1)
    assert "knob 28 mm" in page.locator("#rows").inner_text()
    assert page.url.endswith("/lines")


def test_light_and_dark_by_hand(page, address):
    """The choice of somebody is kept from page to page."""
    page.goto(f"{address}/plans/2")
    page.locator("button.theme").click()
    page.goto(f"{address}/plans/2/lines")
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"


@pytest.mark.parametrize("width", [1100, 1180, 1440])
def test_the_head_of_a_page_is_one_row(page, address, width):
    """Menu and buttons stand beside each other from a small desk on; at 1180 px the menu wrapped once."""
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(f"{address}/plans/2")
    tops = page.evaluate("[...document.querySelectorAll('.places a, .top > .button, .theme')].map(e => e.offsetTop)")
    assert len(tops) > 8
    assert max(tops) - min(tops) < 20
