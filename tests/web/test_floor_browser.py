"""The floor's pages in a browser: nobody is shut out with gloves on, and a picture waits for the network."""

import struct
import zlib
from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect, sync_playwright

from cakewright.app import run_build, scale_change, specimens, upkeep
from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.app.floor_worlds import week_with_bars
from tests.app.test_scale_change import ladder
from tests.web.browser import ARGUMENTS, CHROMIUM, barriers, complaints, served
from tests.web.conftest import TUESDAY

PLAN = "/plans/1"
FULL = [
    "/held?by=Mira",
    "/builds/B1/specimens?by=Mira",
    "/training?by=Mira",
    "/upkeep?by=Mira",
    "/packing?order=bracket-1&by=Mira",
    "/scale?by=Mira",
    "/builds/B1/run?by=Jon",
    "/lines/2/count?reference_g=50&total_g=20&by=Mira",
    "/baskets?by=Mira",
    "/lines/1",
    "",
]


@pytest.fixture
def store(tmp_path):
    """A cell with something on every page: limits, upkeep, a ladder, a cake opened early."""
    plan = week_with_bars()
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(plan, made_by="Mira", at=TUESDAY)
        build = plan.build("B1")
        specimens.enter_limit(store, plan, material="PA12", quantity="density", least=0.9, unit="g/cm³", by="Ada",
                              at=TUESDAY)  # fmt: skip
        specimens.enter_value(store, plan, build, piece="L05-01", quantity="density", value=0.8, by="Jon", at=TUESDAY)
        upkeep.enter_rule(store, plan, machine="A1", what="seal", every=5, unit="hours", already=0, by="Mira",
                          at=TUESDAY)  # fmt: skip
        scale_change.keep_ladder(store, plan, "B1", ladder(1.001), by="Jon", at=TUESDAY)
        run_build.open_early(store, plan, build, by="Jon", at=TUESDAY, reason="customer at the door")
        yield store


def png(width=64, height=48):
    """A real picture: grey rows."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = b"".join(b"\0" + bytes([y * 5 % 256]) * width for y in range(height))
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


def test_nobody_is_shut_out_and_gloves_are_enough(store):
    """No barrier in light and dark, nothing over the side of a phone, everything to press 12 mm high or more."""
    with served(create_app(store, clock=lambda: TUESDAY)) as at, sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        found = {}
        for scheme, width in (("light", 1280), ("dark", 390)):
            context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
            page = context.new_page()
            heard = complaints(page)
            for below in FULL:
                page.goto(at + PLAN + below)
                found[scheme, below] = barriers(page, only=["color-contrast"] if scheme == "dark" else None)
                assert page.evaluate("document.documentElement.scrollWidth") <= width, below
                small = page.evaluate(
                    """() => [...document.querySelectorAll('main :is(button, .button, input, select, summary)')]
                       .filter(e => e.offsetParent && e.type !== 'checkbox' && e.getBoundingClientRect().height < 45.4)
                       .map(e => e.outerHTML.slice(0, 90))"""
                )
                assert small == [], below
            assert heard == []
            context.close()
        browser.close()
    assert {k: v for k, v in found.items() if v} == {}


def test_a_picture_taken_without_a_network_is_kept_when_it_is_back(store):
    """Made small on the device, kept there, sent once: it stands on the page of the build with its note."""
    with served(create_app(store, clock=lambda: datetime.now(UTC))) as at, sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context(viewport={"width": 820, "height": 1180})
        page = context.new_page()
        page.goto(f"{at}{PLAN}/builds/B1/run?by=Jon")
        page.set_input_files("#file", {"name": "layer.png", "mimeType": "image/png", "buffer": png()})
        expect(page.locator("form:has(#file) .told")).to_contain_text("ready to be kept")
        page.fill("#pn", "layer 20")
        context.set_offline(True)
        page.get_by_role("button", name="Keep the picture").click()
        expect(page.locator("#waiting")).to_contain_text("1 entry is kept on this device")
        assert store.photos.of_build(1, "B1") == ()
        context.set_offline(False)
        expect(page.locator(".photos img")).to_have_attribute("alt", "layer 20", timeout=20_000)
        (kept,) = store.photos.of_build(1, "B1")
        assert (kept.note, kept.by, kept.media_type) == ("layer 20", "Jon", "image/jpeg")
        browser.close()
