"""The heat page: sliders answer with parts of it, numbers come as JSON, old plans say what they lack."""

import re
from datetime import timedelta

import pytest
from playwright.sync_api import sync_playwright

from cakewright.documents.heat_pictures import moment_words
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import moment
from cakewright.model.plan import TaskKind
from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.web.browser import ARGUMENTS, CHROMIUM, served
from tests.web.conftest import TUESDAY, client_over, warm_week

HEAT = "/plans/2/builds/B1/heat"


def test_the_page_says_when_and_what_early_means(client):
    """Clock, cut, pieces, risk, energy and dose are there, with the caution that nothing is released."""
    text = client.get(HEAT).text
    for word in (
        "release nothing",
        "not before",
        "Opening clock",
        "Cut through the cake",
        "too hot",
        "kWh",
        "Chance that",
    ):
        assert word in text
    assert "heat.soft-for-long" in text


def test_the_sliders_bring_only_their_part(client):
    """The moment changes the cut, the hours change the table; values beyond the ends are held."""
    first, last = (client.get(f"{HEAT}/cut", params={"at": at}).text for at in (0, 99))
    assert "before the print end" in first
    assert "after the print end" in last
    assert "<main" not in first
    early, late = (client.get(f"{HEAT}/opened", params={"after_h": h}).text for h in (0, 9))
    assert early != late


@pytest.mark.parametrize("address", [f"{HEAT}/cut?at=-1", f"{HEAT}/opened?after_h=-2", f"{HEAT}/opened?after_h=nan"])
def test_nonsense_is_refused(client, address):
    """Negative moments and hours that are no number."""
    assert client.get(address).status_code == 422


def test_a_plan_without_heat_says_so(client):
    """Plans made before heat was kept still show their page, and the parts say what is missing."""
    assert "Plan again" in client.get("/plans/2/builds/B2/heat").text
    assert client.get("/plans/2/builds/B2/heat/cut").status_code == 404


def test_numbers_for_scripts(client):
    """The interface gives every piece, its temperature when opened early, and the powder's dose."""
    answer = client.get("/api/v1" + HEAT, params={"after_h": 0.01}).json()
    assert len(answer["pieces"]) == len(answer["opened_c"]) == 19
    assert answer["dose_mean_h"] > 0
    assert answer["kwh"] > 0
    empty = client.get("/api/v1/plans/2/builds/B2/heat").json()
    assert empty["pieces"] == []


def test_the_bench_hears_about_warp(client):
    """Whoever unpacks sees which pieces may have moved, before the first touch."""
    assert "May warp: L01-01" in client.get("/plans/2/builds/B1/unpack?by=Mira").text
    assert "May warp" not in client.get("/plans/2/builds/B2/unpack?by=Mira").text


def test_the_clock_and_the_sentence_name_one_moment_to_leave(client):
    """The mark on the clock waits for the cell's own minimum as the sentence below it does."""
    text = client.get(HEAT).text
    said = re.search(r"The chamber may leave the machine .*?(\d\d:\d\d)", text)
    mark = re.search(r">(?:\w{3} )?(\d\d:\d\d)</text><text[^>]*>may leave<", text)
    assert said and mark and said[1] == mark[1]


def test_the_cut_is_that_of_now_while_the_cake_cools(client, monkeypatch):
    """By the clock of the plan; before and after, the cut at the print end is shown."""
    assert "Now, as far as is known" not in client.get(HEAT).text
    shelf = client.app.state.shelf
    build = next(b for b in shelf.plan(2).builds if b.key == "B1")
    kept_s = float(build.heat.time_s[-2])
    now = hours_of(shelf.plan(2), build).print_end + timedelta(seconds=kept_s + 1)
    monkeypatch.setattr(shelf, "clock", lambda: now)
    assert f"Now, as far as is known, {moment_words(build.heat, -2)}</b>" in client.get(HEAT).text


def test_it_counts_from_the_print_end_that_was_noted(tmp_path):
    """Two hours late: the opening is two hours later, here, at the bench and on the build's page."""
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(warm_week(), made_by="Mira", at=TUESDAY)
        plan = store.load_plan(1)
        build = next(b for b in plan.builds if b.key == "B1")
        planned = hours_of(plan, build)
        late = planned.print_end + timedelta(hours=2)
        client = client_over(store, clock=lambda: late + timedelta(hours=1))
        page = "/plans/1/builds/B1"
        early = moment(planned.opening[0], plan.cell.zone)
        assert "nobody has noted another" in client.get(f"{page}/heat").text and early in client.get(page).text
        store.schedule.note_progress(plan=1, kind=TaskKind.PRINT, build="B1", started=planned.print_start, ended=late,
                                     at=late, by="Dev Marten")  # fmt: skip
        text = client.get(f"{page}/heat").text
        assert f"as Dev Marten noted it: {moment(late, plan.cell.zone)}" in text
        later = moment(planned.opening[0] + timedelta(hours=2), plan.cell.zone)
        for place in (f"{page}/heat", page, f"{page}/unpack?by=Mira"):
            said = client.get(place).text
            assert later in said and f"<dd>{early}</dd>" not in said, place


def test_drawn_pictures_follow_the_theme(database):
    """In the dark no picture is white paper, and its words are light on it; on colour they stay dark."""
    read = """() => ['', ' svg > rect', ' svg text[font-weight]', ' svg rect + text'].map(n => '.picture' + n).map(
      (name, i) => getComputedStyle(document.querySelector(name))[i ? 'fill' : 'backgroundColor'])"""
    with (
        open_store(database) as store,
        served(create_app(store, clock=lambda: TUESDAY)) as at,
        sync_playwright() as tools,
    ):
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        found = {}
        for scheme in ("light", "dark"):
            page = browser.new_page(color_scheme=scheme)
            page.goto(at + HEAT)
            found[scheme] = [sum(map(int, re.findall(r"\d+", c)[:3])) for c in page.evaluate(read)]
        browser.close()
    (paper, ground, ink, _), (night, floor, words, on_colour) = found["light"], found["dark"]
    assert paper > 700 and ground > 700 and ink < 150
    assert night < 150 and floor < 150 and words > 600 and on_colour < 150


def test_temperature_against_time_is_on_the_page(client):
    """The curves of the build: area by height and temperature by time, drawn from the interface."""
    text = client.get(HEAT).text
    assert 'data-curves="/api/v1/plans/2/builds/B1/curves"' in text and "Temperature after the print end" in text
