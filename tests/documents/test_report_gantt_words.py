"""The calendar of the report names its own bars: nobody needs a legend."""

import re
from datetime import timedelta

from cakewright.documents.report import report_html
from cakewright.documents.report_gantt_words import beside, empty_hours, name_on, standing, word_of
from cakewright.model.plan import Task, TaskKind
from tests.documents.world import START

HOUR = timedelta(hours=1)


def place(when):
    """Eight pixels an hour, as in the report."""
    return 8 * (when - START) / HOUR


def task(kind, start, end, build="B1", **more):
    return Task(kind, build, (), START + start * HOUR, START + end * HOUR, **more)


def words(svg):
    return [re.sub(r"<[^>]*>", "", text) for text in svg]


def test_a_bar_with_room_carries_its_name():
    """Ten hours of printing are wide enough for build and work, four for the build, one for nothing."""
    assert name_on(task(TaskKind.PRINT, 0, 10), 80) == "B1 print"
    assert name_on(task(TaskKind.PRINT, 0, 4), 32) == "B1"
    assert name_on(task(TaskKind.LOAD, 0, 1), 8) == ""


def test_narrow_bars_are_named_beside():
    """Loading before the print, unpacking and cleaning after the cooling; at a bench the last words that have room."""
    row = [task(TaskKind.LOAD, 20, 20.5), task(TaskKind.PRINT, 20.5, 32), task(TaskKind.COOL, 32, 44),
           task(TaskKind.UNPACK, 44, 45), task(TaskKind.CLEAN, 45, 45.5)]  # fmt: skip
    assert words(beside(row, place, 800, 10)) == ["load", "unpack, clean"]
    assert words(beside(row, place, place(row[-1].end) + 50, 10)) == ["load", "clean"]


def test_many_kinds_of_work_are_bench_work():
    row = [task(kind, i, i + 0.5) for i, kind in enumerate((TaskKind.LOAD, TaskKind.INSPECT, TaskKind.PACK))]
    assert words(beside(row, place, 800, 10, several="bench work")) == ["bench work"]


def test_a_step_is_named_by_its_station():
    assert word_of(task(TaskKind.FINISH, 0, 1, label="basket 3: dye, shared bath runs by itself")) == "dye"


def test_a_machine_that_waits_for_hands_says_so():
    """The print ends at ten, somebody lifts the chamber out at thirty: the machine is not free."""
    row = [task(TaskKind.PRINT, 0, 10), task(TaskKind.UNLOAD, 30, 30.5)]
    assert words(standing(row, place, 10)) == ["B1 still in"]


def test_empty_hours_are_called_so():
    windows = [(START, START + 8 * HOUR), (START + 24 * HOUR, START + 32 * HOUR)]
    assert words(empty_hours(windows, place, place(START + 33 * HOUR), 10)) == ["nobody in"]


def test_the_report_has_no_legend(plan):
    """Words on and beside bars instead of a key of colours."""
    html = report_html(plan)
    assert 'class="legend"' not in html
    assert {"print", "cools"} <= set(re.findall(r">B\d+ (\w+)</text>", html))
    assert words(re.findall(r'<text class="g-beside[^>]*>[^<]*</text>', html))
