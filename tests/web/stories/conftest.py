"""Demo cell B, small, planned once; each story gets its own copy, a clock to set and a browser."""

import os
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.cell_b import MONDAY, copied, planned_database, small_parts
from tests.web.browser import ARGUMENTS, CHROMIUM, complaints, served


@pytest.fixture(scope="session")
def planned(tmp_path_factory):
    """The planned small week; nobody writes to it. All test processes share it."""
    base = tmp_path_factory.getbasetemp()
    return planned_database(base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base)


@pytest.fixture(scope="session")
def meshes(tmp_path_factory):
    """The mesh files of the small week."""
    return small_parts(tmp_path_factory.mktemp("meshes"))


@pytest.fixture(scope="module")
def chromium():
    with sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


class Person:
    """Somebody at a screen: their page, their clock, what the console complained about."""

    def __init__(self, page, at, store, shots):
        self.page, self.at, self.store, self.shots = page, at, store, shots
        self.now = MONDAY
        self.heard = complaints(page)

    def is_at(self, day: int, hour: int, minute: int = 0) -> None:
        """The clock on the wall: a day of March 2027."""
        self.now = MONDAY.replace(day=day, hour=hour, minute=minute)

    def goes_to(self, below: str) -> None:
        self.page.clock.set_fixed_time(self.now)  # a tablet sends its own time with what was done
        self.page.goto(self.at + below, wait_until="load")

    def text(self) -> str:
        """What can be read on the page, when it has come whole."""
        self.page.wait_for_load_state("load")
        return self.page.locator("main").inner_text()

    def presses(self, name: str, nth: int = 0) -> None:
        self.page.get_by_role("button", name=name, exact=True).nth(nth).click()

    def shows(self, name: str) -> None:
        """Keep a picture for whoever looks by eye: only when CAKEWRIGHT_SHOTS names a folder."""
        if self.shots:
            self.page.screenshot(path=Path(self.shots) / f"{name}.png", full_page=True)


@contextmanager
def somebody(chromium, database, width, height=900):
    with open_store(database) as store:
        clock = {}
        app = create_app(store, clock=lambda: clock["person"].now if clock else MONDAY)
        with served(app) as at:
            context = chromium.new_context(viewport={"width": width, "height": height}, accept_downloads=True)
            context.set_default_timeout(60_000)
            person = Person(context.new_page(), at, store, os.environ.get("CAKEWRIGHT_SHOTS", ""))
            clock["person"] = person
            yield person
            context.close()
        assert person.heard == []


@pytest.fixture
def desk(chromium, planned, tmp_path):
    """At a desk."""
    with somebody(chromium, copied(planned, tmp_path), 1280) as person:
        yield person


@pytest.fixture
def tablet(chromium, planned, tmp_path):
    """At the machine or the bench, with gloves on."""
    with somebody(chromium, copied(planned, tmp_path), 820, 1180) as person:
        yield person
