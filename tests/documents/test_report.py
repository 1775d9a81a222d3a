"""The report: one page that needs nothing else and says the worst first."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from cakewright.documents.gantt_rows import bundled, lanes_of, lonely_openings, waiting_lines
from cakewright.documents.report import report_html
from cakewright.documents.report_curves import nice_step, steps
from cakewright.documents.staffing import is_staffed, staffed
from tests.documents.contrast import colours_of, too_faint
from tests.documents.world import START

VOID = {"meta", "img", "br", "link", "input", "hr"}


class Page(HTMLParser):
    """Collects tags and text and notices tags that do not match."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-3:]}"
        self.open.pop()

    def handle_data(self, data):
        if not self.open or self.open[-1] != "style":
            self.text.append(data)

    @property
    def words(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.text))


@pytest.fixture(scope="module")
def html(plan) -> str:
    return report_html(plan)


@pytest.fixture(scope="module")
def page(html) -> Page:
    return Page(html)


def test_tags_match(page):
    assert page.open == []


def test_nothing_is_fetched_from_outside(html, page):
    """No script, no outside address; the only 'http' is the name of the SVG language."""
    assert "<script" not in html
    assert set(re.findall(r"https?://[^\"' )<]+", html)) <= {"http://www.w3.org/2000/svg"}
    assert "@import" not in html
    for tag, attributes in page.tags:
        for name in ("src", "href", "xlink:href"):
            value = attributes.get(name)
            assert value is None or value.startswith(("data:image/png;base64,", "#")), (tag, value)


def test_links_inside_the_page_lead_somewhere(page):
    ids = {a["id"] for _, a in page.tags if "id" in a}
    targets = {a["href"][1:] for t, a in page.tags if t == "a"}
    assert targets <= ids
    assert {"build-B1", "build-B2", "lines", "findings"} <= targets


def test_summary_comes_first_and_says_what_is_wrong(page):
    words = page.words
    assert "3 of 7 lines on time, 3 late, 1 not in the plan." in words
    first = words.index("Do not start as it is")
    assert first < words.index("Late") < words.index("Not in the plan") < words.index("Calendar")
    assert "cake of B1 is cool only on Tuesday 08:00" in words
    assert "→ ask the customer for it" in words
    assert "L04-01 and L04-02 cannot be separated without force." in words


def test_late_lines_are_marked_by_word_and_shape(page):
    assert "▲ late by 18 h" in page.words
    assert "● on time" in page.words
    assert "✕ set aside" in page.words


def test_names_are_escaped(html, page):
    assert "<b>ü</b>" not in html
    assert "clip <tiny> rev A" in page.words
    assert 'bracket #3 "$x$" *bold* <b>ü</b> \\ @ref' in page.words


def test_pictures_travel_inside(page, plan):
    images = [a for t, a in page.tags if t == "img"]
    assert len(images) == 2 * len(plan.builds)
    assert all(a["alt"] for a in images)


def test_powder_is_said_in_words(page):
    assert "0.55 kg go into parts, 0.23 kg are lost, 5.62 kg come back." in page.words
    assert "Used stock grows by 1.78 kg; at 12 % refresh it would stay level." in page.words


def test_cakes_that_ripen_alone_stand_out(plan, html):
    """Both cakes of the world get cool when nobody is in: in the night, and on Friday evening."""
    assert set(lonely_openings(plan)) == {"B1", "B2"}
    assert html.count('class="ripe"') == 2


def test_a_cake_that_gets_cool_in_working_hours_is_not_lonely(plan):
    build = plan.build("B1")
    noon = replace(build.cooling, opening_s=(18 * 3600.0, 18.5 * 3600, 19 * 3600))  # print end Mon 17:30 local
    world = replace(plan, builds=(replace(build, cooling=noon), plan.build("B2")))
    assert set(lonely_openings(world)) == {"B2"}


def test_staffed_hours_follow_shifts_and_holidays(plan):
    from datetime import date, timedelta

    week = staffed(plan.cell, START - timedelta(days=1), START + timedelta(days=6))
    assert len(week) == 5
    assert is_staffed(week, START)  # Monday 07:00 local, Dev is in
    assert not is_staffed(week, START + timedelta(days=5))  # Saturday
    closed = replace(plan.cell, holidays=(date(2027, 3, 1),))
    assert not is_staffed(staffed(closed, START, START + timedelta(days=7)), START)


def test_every_task_is_on_the_calendar(plan, html):
    """Each task appears once for each machine, chamber, station and person it uses; bench work in a row as one."""
    bars = [bar for lane in lanes_of(plan) for bar in bundled(lane.tasks)]
    assert html.count('class="bar ') == len(bars)
    places = sum(bool(t.machine) + bool(t.chamber) + bool(t.station) + len(t.people) for t in plan.schedule.tasks)
    assert sum(len(lane.tasks) for lane in lanes_of(plan)) == places


def test_every_line_that_waits_says_what_for(plan, page):
    """Below the calendar stands each reason with its lines."""
    groups = waiting_lines(plan)
    assert groups
    words = page.words[page.words.index("Lines that wait, and what for") :]
    assert all(group.reason in words for group in groups)


def test_the_report_has_no_legend(html):
    """Words on and beside bars instead of a key of colours."""
    assert 'class="legend"' not in html
    assert {"print", "cools"} <= set(re.findall(r">B\d+ (\w+)</text>", html))
    assert re.findall(r'<text [^>]*class="beside[^>]*>[^<]+</text>', html)


def test_an_empty_week_still_has_a_report(plan):
    """Nothing could be planned: the page says so instead of failing."""
    empty = replace(
        plan, builds=(), promises=(), costs=(), schedule=replace(plan.schedule, tasks=()), findings=(), set_aside=()
    )
    words = Page(report_html(empty)).words
    assert "0 of 7 lines on time, 7 not in the plan." in words
    assert "The checks found nothing." in words


def test_report_is_small(html):
    assert len(html) < 1_000_000


PAIRS = [
    ("ink", "paper"), ("ink", "card"), ("soft", "paper"), ("soft", "card"), ("link", "paper"), ("link", "card"),
    ("red", "red-bg"), ("ink", "red-bg"), ("amber", "amber-bg"), ("ink", "amber-bg"), ("gone", "gone-bg"),
    ("ink", "gone-bg"), ("soft", "gone-bg"), ("soft", "amber-bg"), ("good", "paper"), ("used-t", "used"),
    ("virgin-t", "virgin"), ("red", "paper"),
    ("amber", "paper"),
]  # fmt: skip


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_text_has_contrast(html, scheme):
    """WCAG 2 AA: 4.5 to 1 for every pair of text and ground, in all three colour sets."""
    blocks = re.findall(r":root\{(.*?)\}", html, re.DOTALL)
    assert too_faint(colours_of(blocks[["light", "dark", "print"].index(scheme)]), PAIRS) == []


def test_steps_are_round():
    assert nice_step(100, 4) == 50
    assert nice_step(7.3, 5) == 2
    assert steps(10, 5) == [0, 5, 10]
