"""One drawing of a plan's calendar, for the page and for the report."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from xml.etree import ElementTree

import pytest

from cakewright.documents.gantt_layout import lay_out
from cakewright.documents.gantt_rows import lanes_of, lonely_openings, waiting_lines
from cakewright.documents.gantt_svg import draw
from cakewright.documents.report_gantt import gantt_css, gantt_html
from cakewright.model.cell import Shift
from cakewright.model.plan import TaskKind
from cakewright.web.gantt import HOUR_PX, draw_gantt
from tests.app.running import MONDAY, running_week
from tests.documents.contrast import colours_of, too_faint

PAIRS = [(f"g-{text}", f"g-{ground}") for text, ground in (
    ("ink", "sheet"), ("ink", "off"), ("soft", "off"), ("now", "off"), ("bad", "bad-wash"), ("on-hands", "hands"),
    ("on-print", "print"), ("on-finish", "finish"), ("on-alone", "alone"), ("on-cool", "cool-a"), ("on-wait", "wait-a"),
)]  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def plan():
    return running_week()


@pytest.fixture(scope="module")
def page(plan):
    return seen(draw_gantt(plan, MONDAY))


@pytest.fixture(scope="module")
def report(plan):
    return seen(gantt_html(plan))


def seen(markup):
    return ElementTree.fromstring(str(markup).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" '))


def words(drawing):
    return [t.text for t in drawing.iter(f"{SVG}text")]


def looks(drawing):
    """How often each look is there."""
    found = [r.get("class") for r in drawing.iter(f"{SVG}rect") if r.get("class")]
    return {look: found.count(look) for look in found}


def spoken(drawing):
    return [g.get("aria-label") or "" for g in drawing.iter(f"{SVG}g")]


def test_page_and_report_show_the_same(page, report):
    """The same lanes, bars, marks and sentences; the report in a smaller scale, and nothing in it can be moved."""
    assert looks(page) == looks(report)
    lanes = [[g.get("data-name") for g in one.iter(f"{SVG}g") if g.get("data-kind")] for one in (page, report)]
    assert lanes[0] == lanes[1]
    titles = [[t.text for t in one.iter(f"{SVG}title")] for one in (page, report)]
    assert titles[0] == titles[1]
    assert [e for e in page.iter() if e.get("data-task")] and list(page.iter(f"{SVG}a"))
    assert not [e for e in report.iter() if e.get("data-task")] and not list(report.iter(f"{SVG}a"))


def test_chambers_are_rows_and_idle_stations_are_not(plan):
    """Every chamber has its lane even when empty; a station that nobody uses takes no room."""
    lanes = lanes_of(plan)
    assert [x.name for x in lanes if x.kind == "chamber"] == [c.name for c in plan.cell.chambers]
    assert all(x.tasks for x in lanes if x.kind == "station")


def test_a_chamber_that_nobody_uses_keeps_its_empty_row(plan):
    """A cell with more chambers than builds is drawn, the idle ones as empty rows."""
    spare = replace(plan.cell.chambers[0], name="K9")
    more = replace(plan, cell=replace(plan.cell, chambers=(*plan.cell.chambers, spare)))
    assert "K9" in words(seen(draw(lay_out(more, 12))))


def test_a_lane_without_work_is_drawn(plan):
    """A week without the second chamber's work failed here once."""
    tasks = tuple(t for t in plan.schedule.tasks if t.build == plan.builds[0].key)
    assert {t.chamber for t in tasks} < {c.name for c in plan.cell.chambers} | {""}
    text = draw(lay_out(replace(plan, schedule=replace(plan.schedule, tasks=tasks)), 12))
    assert all(f'data-name="{c.name}"' in text for c in plan.cell.chambers)


@pytest.mark.parametrize("where", ["page", "report"])
def test_bars_carry_their_words(plan, where, request):
    """Print, cooling and each build are written on the drawing, and the hours without anybody too."""
    drawing = request.getfixturevalue(where)
    said = words(drawing)
    assert "nobody in" in said
    assert {"print", "cools", *(b.key for b in plan.builds)} <= {word for text in said for word in text.split()}
    assert {"machine", "chamber", "person"} <= set(said)


@pytest.mark.parametrize("where", ["page", "report"])
def test_a_cake_that_is_cool_with_nobody_in_stands_out_by_pattern_and_word(plan, where, request):
    """Its wait has the crossed pattern, a dashed edge by class, words beside it and a sentence for readers."""
    drawing = request.getfixturevalue(where)
    lonely = lonely_openings(plan)
    ripe = [r for r in drawing.iter(f"{SVG}rect") if r.get("class") == "ripe"]
    assert lonely and len(ripe) == len(lonely)
    assert all(r.get("fill") == "url(#p-ripe)" for r in ripe)
    marked = [t.text for t in drawing.iter(f"{SVG}text") if (t.get("class") or "").startswith("ripe-")]
    assert len(marked) == len(lonely) and all("nobody in" in text for text in marked)
    assert {text.split()[0] for text in spoken(drawing) if "nobody is in until" in text} == set(lonely)


def test_no_cake_stands_out_when_somebody_is_always_in(plan):
    """With shifts around the clock nothing is crossed, and each cake says when it is cool."""
    always = Shift((0, 1, 2, 3, 4, 5, 6), time(0), time(0))
    people = tuple(replace(p, shifts=(always,)) for p in plan.cell.people)
    drawing = seen(draw(lay_out(replace(plan, cell=replace(plan.cell, people=people)), 12)))
    assert "ripe" not in looks(drawing)
    assert sum(looks(drawing).get(look, 0) for look in ("lying", "cooled")) == len(plan.builds)


def test_every_line_that_waits_has_its_reason(plan):
    """Each promise that does not go straight through is in exactly one group, under its own reason."""
    shown = [(p.line, g.reason) for g in waiting_lines(plan) for p in g.promises]
    waits = [(p.line, p.reason) for p in plan.promises if not p.reason.startswith("goes straight through")]
    assert sorted(shown) == sorted(waits) and waits


def test_every_task_has_its_place(plan):
    """Each task lies in a bar on every lane it uses, bench work in a row in one bar; no bar is there for nothing."""
    layout = lay_out(plan, HOUR_PX)
    bars = {row.lane.name: [(bar.task.start, bar.task.end) for bar in row.bars] for row in layout.rows}
    for task in plan.schedule.tasks:
        for place in filter(None, (task.machine, task.chamber, task.station, *task.people)):
            assert any(a <= task.start and task.end <= b for a, b in bars[place]), (task, place)
    used = {name for t in plan.schedule.tasks for name in (t.machine, t.chamber, t.station, *t.people)}
    assert {name for name, found in bars.items() if found} <= used


def test_bars_stand_where_their_hours_are(plan):
    """A print twice as long is twice as wide, in whatever scale."""
    prints = sorted((t.end - t.start) / timedelta(hours=1) for t in plan.schedule.tasks if t.kind is TaskKind.PRINT)
    for px in (8.0, HOUR_PX):
        rows = lay_out(plan, px).rows
        for kind in ("machine", "chamber"):
            bars = [b.width for r in rows if r.lane.kind == kind for b in r.bars if b.look == "print"]
            assert sorted(bars) == pytest.approx([px * hours for hours in prints])


def test_the_day_on_which_clocks_change_has_its_hours(plan):
    """In the last week of March a day has 23 hours in Oslo: days are drawn so, and noon is noon."""
    later = timedelta(days=(date(2027, 3, 27) - plan.schedule.tasks[0].start.date()).days)
    tasks = tuple(replace(t, start=t.start + later, end=t.end + later) for t in plan.schedule.tasks)
    layout = lay_out(replace(plan, builds=(), schedule=replace(plan.schedule, tasks=tasks)), 10)
    assert str(plan.cell.zone) == "Europe/Oslo"
    assert [b - a for a, b in zip(layout.days, layout.days[1:], strict=False)] == [240, 230]
    noons = [w.x for w in layout.head if w.text == "12:00"]
    first = datetime(2027, 3, 26, 23, tzinfo=UTC)
    sunday = (datetime(2027, 3, 28, 10, tzinfo=UTC) - first) / timedelta(hours=1)
    assert noons[:2] == [120, 10 * sunday]


def test_the_name_of_the_last_day_is_not_cut(plan):
    """A week that ends at two in the morning still has room for the name of that day."""
    layout = lay_out(plan, 8)
    name = [word for word in layout.head if word.style == "day-name"][-1]
    assert name.x + 7.4 * len(name.text) <= layout.wide


def test_names_that_break_markup_are_escaped(plan):
    """A chamber called '<b>' is drawn as such."""
    odd = replace(plan.cell.chambers[0], name='<b> & "K"')
    more = replace(plan, cell=replace(plan.cell, chambers=(*plan.cell.chambers, odd)))
    assert '<b> & "K"' in words(seen(draw(lay_out(more, 12))))


@pytest.mark.parametrize("scheme", ["light", "dark", "dark by hand", "print"])
def test_words_can_be_read_on_their_ground(scheme):
    """WCAG 2 AA for every pair of text and ground, in all sets of colours; the two dark ones are the same."""
    blocks = re.findall(r":root(?:[:\[][^{]*)?\s*\{(.*?)\}", gantt_css(), re.DOTALL)
    light, dark, by_hand, paper = map(colours_of, blocks)
    assert dark == by_hand and set(dark) == set(light)
    assert (
        too_faint({"light": light, "dark": dark, "dark by hand": by_hand, "print": light | paper}[scheme], PAIRS) == []
    )
