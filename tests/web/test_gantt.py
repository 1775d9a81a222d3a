"""The calendar of a page: the drawing that the report has too, with what hands may move."""

from xml.etree import ElementTree

import pytest

from cakewright.app.task_chain import named_task
from cakewright.web.gantt import FIXED, draw_gantt
from cakewright.web.speech import _SPEECH, Speech
from tests.app.running import MONDAY, running_week

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def plan():
    return running_week()


def drawn(plan):
    text = str(draw_gantt(plan, MONDAY)).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ')
    return ElementTree.fromstring(text)


def test_what_may_be_moved_carries_the_name_of_its_task(plan):
    """Each name leads to the task that stands there; what goes by itself has none."""
    movable = [e for e in drawn(plan).iter() if e.get("data-task")]
    assert movable
    for one in movable:
        assert named_task(plan, one.get("data-task")).start.isoformat() == one.get("data-start")
        assert not {r.get("class").split()[-1] for r in one.iter(f"{SVG}rect")} & set(FIXED)


def test_every_bar_of_a_build_leads_to_it(plan):
    """With the keyboard one walks from build to build."""
    bars = [link.get("href") for link in drawn(plan).iter(f"{SVG}a")]
    assert set(bars) == {f"/plans/{plan.version}/builds/{b.key}" for b in plan.builds}


def test_the_words_are_those_of_who_reads(plan):
    """In German nothing on the drawing is left in English, and what stands on a bar is measured in German."""
    before = _SPEECH.set(Speech("de"))
    try:
        said = [t.text for t in drawn(plan).iter(f"{SVG}text") if t.get("class") != "lane-name"]
    finally:
        _SPEECH.reset(before)
    assert "niemand da" in said
    english = ("print", "cool", "load", "nobody", "still in", "bench", "unpack", "machine", "chamber", "Tue")
    assert [text for text in said if any(word in text.split() or text.endswith(word) for word in english)] == []
