"""The calendar says in words what it shows: no legend is needed to read it."""

from dataclasses import replace
from datetime import timedelta
from xml.etree import ElementTree

import pytest

from cakewright.documents.report_gantt import lonely_openings
from cakewright.model.plan import TaskKind
from cakewright.web.gantt import draw_gantt, lanes_of, waiting_lines
from tests.app.running import MONDAY, running_week

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def plan():
    return running_week()


@pytest.fixture(scope="module")
def drawing(plan):
    text = str(draw_gantt(plan, MONDAY)).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ')
    return ElementTree.fromstring(text)


def words(drawing):
    return [t.text for t in drawing.iter(f"{SVG}text")]


def test_chambers_are_rows_and_idle_stations_are_not(plan):
    """Every chamber has its lane even when empty; a station that nobody uses takes no room."""
    lanes = lanes_of(plan)
    assert [x.name for x in lanes if x.kind == "chamber"] == [c.name for c in plan.cell.chambers]
    assert all(x.tasks for x in lanes if x.kind == "station")


def test_a_chamber_that_nobody_uses_keeps_its_empty_row(plan):
    """A cell with more chambers than builds is drawn, the idle ones as empty rows."""
    spare = replace(plan.cell.chambers[0], name="K9")
    more = replace(plan, cell=replace(plan.cell, chambers=(*plan.cell.chambers, spare)))
    assert "K9" in str(draw_gantt(more, MONDAY))


def test_bars_carry_their_words(plan, drawing):
    """Print, cooling and each build are written on the drawing, and the hours without anybody too."""
    said = words(drawing)
    assert {"print", "cools", "nobody in", *(b.key for b in plan.builds)} <= set(said)
    assert "machine" in said and "chamber" in said and "person" in said


def test_a_cake_that_is_cool_with_nobody_in_stands_out_by_pattern_and_word(plan, drawing):
    """Its wait has the crossed pattern, a dashed edge by class, the words beside it and a sentence for readers."""
    lonely = lonely_openings(plan)
    ripe = [r for r in drawing.iter(f"{SVG}rect") if r.get("class") == "ripe"]
    assert lonely and len(ripe) == len(lonely)
    assert all(r.get("fill") == "url(#p-ripe)" for r in ripe)
    told = [g.get("aria-label") for g in drawing.iter(f"{SVG}g") if "nobody is in until" in (g.get("aria-label") or "")]
    assert {text.split()[0] for text in told} == set(lonely)


def test_no_cake_stands_out_when_somebody_is_always_in(plan):
    """With shifts around the clock nothing is crossed."""
    from datetime import time

    from cakewright.model.cell import Shift

    always = Shift((0, 1, 2, 3, 4, 5, 6), time(0), time(0))
    people = tuple(replace(p, shifts=(always,)) for p in plan.cell.people)
    text = str(draw_gantt(replace(plan, cell=replace(plan.cell, people=people)), MONDAY))
    assert 'class="ripe"' not in text


def test_every_line_that_waits_has_its_reason(plan):
    """Each promise that does not go straight through is in exactly one group, under its own reason."""
    groups = waiting_lines(plan)
    shown = [(p.line, g.reason) for g in groups for p in g.promises]
    waits = [(p.line, p.reason) for p in plan.promises if not p.reason.startswith("goes straight through")]
    assert sorted(shown) == sorted(waits) and waits


def test_bars_stand_where_their_hours_are(plan, drawing):
    """A print twice as long is twice as wide, to the drawing's tenth."""
    prints = [t for t in plan.schedule.tasks if t.kind is TaskKind.PRINT]
    bars = sorted(float(r.get("width")) for r in drawing.iter(f"{SVG}rect") if r.get("class") == "bar print")
    lengths = sorted(
        (t.end - t.start) / timedelta(hours=1) * 12.0 for t in prints for _ in range(2)
    )  # machine, chamber
    assert bars == pytest.approx(lengths, abs=0.1)


def test_a_chamber_that_nobody_uses_is_an_empty_row(plan):
    """A lane without a task is drawn; a week without the second chamber's work failed here once."""
    used = {t.chamber for t in plan.schedule.tasks if t.build == plan.builds[0].key}
    tasks = tuple(t for t in plan.schedule.tasks if t.build == plan.builds[0].key)
    text = str(draw_gantt(replace(plan, schedule=replace(plan.schedule, tasks=tasks)), MONDAY))
    assert all(f'data-name="{c.name}"' in text for c in plan.cell.chambers)
    assert used < {c.name for c in plan.cell.chambers} | {""}
