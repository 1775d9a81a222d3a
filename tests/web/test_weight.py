"""What a page weighs and draws: counted, so that it repeats."""

import gzip
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect, sync_playwright

import cakewright.web
from cakewright.model.build import Placement
from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.app.hand_nest import hand_week
from tests.web.browser import ARGUMENTS, CHROMIUM, served
from tests.web.conftest import TUESDAY

STATIC = Path(cakewright.web.__file__).parent / "static"
MOST_SCRIPTS = 1_000_000  # bytes compressed, all pages together
MOST_FIRST = 120_000  # bytes compressed before the morning page is painted
MOST_MOVING = 24_000 + 20  # triangles while it turns on a slow machine; chamber and floor are the rest
TURN = """async () => {
  const canvas = document.querySelector('.nest canvas'); canvas.focus();
  const end = performance.now() + 20000;
  let few = 0;
  while (performance.now() < end && few < 3) {
    canvas.dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowLeft', bubbles: true }));
    await new Promise(requestAnimationFrame);
    few += canvas.dataset.coarse === 'yes' ? 1 : 0;
  }
  return Number(canvas.dataset.triangles);
}"""


def crowded_week(pieces=300):
    """The small build with many pieces on a grid, of three parts: for drawing only."""
    plan = hand_week()
    keys = ["clip", "knob", "ball"]
    placed = []
    for n in range(pieces):
        key, line = keys[n % 3], {"clip": 5, "knob": 2, "ball": 1}[keys[n % 3]]
        at = np.array([15 + 18 * (n % 10), 15 + 23 * (n // 10 % 10), 20 + 35 * (n // 100)], float)
        placed.append(Placement(f"L{line:02d}-{n:03d}", key, line, np.eye(3), at, float(at[2] - 17), float(at[2] + 17)))
    build = plan.builds[0]
    return replace(plan, builds=(replace(build, nest=replace(build.nest, placements=tuple(placed))),))


def compressed(path):
    return len(gzip.compress(path.read_bytes(), 6))


def test_all_scripts_together_are_light():
    """Every script that any page may load, libraries included, is under a megabyte on the way to the browser."""
    weights = {path.name: compressed(path) for path in STATIC.rglob("*.js")}
    assert sum(weights.values()) < MOST_SCRIPTS, weights
    assert weights["three.core.js"] > 10_000  # the count has seen the large ones


def test_little_comes_before_the_first_paint(client):
    """The page, its style and the scripts in its head that wait for nobody; no picture, no library that draws."""
    text = client.get("/plans/2").text
    scripts = re.findall(r'<script src="/static/([^"]+)"( defer)?', text)
    blocking = [name for name, later in scripts if not later]
    assert blocking == ["theme.js", "say.js"]
    assert not any("three" in name or "uplot" in name.lower() for name, _ in scripts)
    first = len(gzip.compress(text.encode(), 6)) + compressed(STATIC / "style.css")
    assert first + sum(compressed(STATIC / name) for name in blocking) < MOST_FIRST


@pytest.fixture(scope="module")
def crowded(tmp_path_factory):
    with open_store(tmp_path_factory.mktemp("crowd") / "cell.sqlite") as store:
        store.save_plan(crowded_week(), made_by="Mira", at=TUESDAY)
        yield store


def test_three_hundred_pieces_are_a_handful_of_draw_calls(crowded):
    """Each part is drawn once for all its pieces, and once more for the inside while the nest is cut.

    Where the machine is slow (here it draws in software) a turning nest has few triangles until it rests.
    """
    with served(create_app(crowded, clock=lambda: TUESDAY)) as address, sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": 1000, "height": 800})
        page.goto(f"{address}/plans/1/builds/B1")
        canvas = page.locator(".nest canvas")
        expect(canvas).to_have_attribute("data-calls", "6", timeout=20_000)  # three parts, frame, floor, front line
        page.locator("#layer").fill("300")
        expect(canvas).to_have_attribute("data-calls", "9", timeout=20_000)
        page.locator("#layer").fill("100000")
        expect(canvas).to_have_attribute("data-calls", "6", timeout=20_000)
        pieces = crowded.load_plan(1).builds[0].nest.placements
        parts = crowded.load_plan(1).parts
        whole = sum(len(parts[p.part_key].mesh.faces) for p in pieces)
        moving = page.evaluate(TURN)
        assert moving < MOST_MOVING < whole / 5
        said = re.compile(str(whole + 2))  # and the floor: all of it once it rests
        expect(canvas).to_have_attribute("data-triangles", said, timeout=20_000)
        browser.close()
