"""What a person waits for at the pages: first paint, and frames of a nest of 300 pieces while it turns.

    PYTHONPATH=. .venv/bin/python benchmarks/web_pages.py [database]

With a database its newest plan is shown too. Frames are drawn in software by a headless browser: a machine with any
graphics card is faster.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright
from tests.web.browser import ARGUMENTS, CHROMIUM, served
from tests.web.conftest import TUESDAY
from tests.web.test_weight import crowded_week

from cakewright.store import open_store
from cakewright.web.application import create_app

PAINT = """() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null"""
SHARP = """(is_so) => { document.querySelector('.nest canvas').dataset.sharp = is_so; }"""
TURN = """async (seconds) => {
  const canvas = document.querySelector('.nest canvas'); canvas.focus();
  const before = Number(canvas.dataset.frames), begin = performance.now();
  while (performance.now() - begin < seconds * 1000) {
    canvas.dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowLeft', bubbles: true }));
    await new Promise(requestAnimationFrame);
  }
  return (Number(canvas.dataset.frames) - before) / ((performance.now() - begin) / 1000);
}"""


def first_paint_ms(page: Page, address: str, times: int = 5) -> float:
    """Median of several visits, milliseconds from the press to the first words."""
    found = []
    for _ in range(times):
        page.goto(address, wait_until="load")
        painted = page.evaluate(PAINT)
        while painted is None:  # our own content policy forbids waiting by a text of script
            page.wait_for_timeout(20)
            painted = page.evaluate(PAINT)
        found.append(float(painted))
    return statistics.median(found)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        given = [Path(sys.argv[1])] if len(sys.argv) > 1 else []
        made = Path(folder) / "cell.sqlite"
        with open_store(made) as store:
            store.save_plan(crowded_week(), made_by="benchmark", at=TUESDAY)
        print(f"{'what':44} {'value':>10}")
        for path in [made, *given]:
            with open_store(path) as store, served(create_app(store, clock=lambda: TUESDAY)) as at:
                plan, name = store.newest(), "300 pieces" if path == made else path.name
                for below in ("", "/lines", "/builds", "/builds/B1", "/calendar", "/powder"):
                    ms = first_paint_ms(page, f"{at}/plans/{plan}{below}")
                    print(f"{name + ': first paint ' + (below or '/'):44} {ms:7.0f} ms")
                page.goto(f"{at}/plans/{plan}/builds/B1")
                page.locator(".nest canvas[data-frames]").wait_for()
                calls = page.locator(".nest canvas").get_attribute("data-calls")
                page.evaluate(SHARP, "yes")
                whole = float(page.evaluate(TURN, 4))
                drawn = page.locator(".nest canvas").get_attribute("data-triangles")
                page.evaluate(SHARP, "")
                page.evaluate(TURN, 1)  # it notices that it is slow
                moving = float(page.evaluate(TURN, 4))
                few = page.locator(".nest canvas").get_attribute("data-triangles")
                print(f"{name + ': frames a second, all of it':44} {whole:7.1f}    {drawn} triangles")
                print(f"{name + ': frames a second while turning':44} {moving:7.1f}    {few} triangles")
                print(f"{name + ': ratio':44} {moving / whole:7.1f}")
                print(f"{name + ': draw calls a frame':44} {calls:>7}")
        browser.close()


if __name__ == "__main__":
    main()
