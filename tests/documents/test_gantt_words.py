"""The calendar names its own bars: nobody needs a legend."""

from datetime import timedelta

from cakewright.documents.gantt_words import beside, empty_hours, names_on, standing, word_of
from cakewright.model.plan import Task, TaskKind
from tests.documents.world import START

HOUR = timedelta(hours=1)


def place(when):
    """Eight pixels an hour, as in the report."""
    return 8 * (when - START) / HOUR


def task(kind, start, end, build="B1", **more):
    return Task(kind, build, (), START + start * HOUR, START + end * HOUR, **more)


def words(found):
    return [word.text for word in found]


def test_a_bar_with_room_carries_its_name():
    """Ten hours of printing are wide enough for build and work, six for two lines, four for the build."""
    assert names_on(task(TaskKind.PRINT, 0, 10), 80) == ("B1 print",)
    assert names_on(task(TaskKind.PRINT, 0, 6), 48) == ("B1", "print")
    assert names_on(task(TaskKind.PRINT, 0, 4), 32) == ("B1",)
    assert names_on(task(TaskKind.LOAD, 0, 1), 8) == ()


def test_what_is_short_is_named_by_its_work_not_its_build():
    """The build alone does not tell what hands do: such a bar is named beside."""
    assert names_on(task(TaskKind.UNPACK, 0, 4), 32) == ()


def test_a_longer_language_needs_more_room():
    """The room is measured in the words that are drawn."""
    assert names_on(task(TaskKind.PRINT, 0, 10), 80, str.upper) == ("B1 PRINT",)
    assert names_on(task(TaskKind.PRINT, 0, 10), 80, lambda word: 3 * word) == ("B1",)


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


def test_what_belongs_to_no_build_holds_no_machine():
    """Two services on two days leave the machine free between them."""
    row = [task(TaskKind.SERVICE, 0, 1, build=""), task(TaskKind.SERVICE, 40, 41, build="")]
    assert standing(row, place, 10) == []


def test_empty_hours_are_called_so():
    windows = [(START, START + 8 * HOUR), (START + 24 * HOUR, START + 32 * HOUR)]
    assert words(empty_hours(windows, place, place(START + 33 * HOUR), 10)) == ["nobody in"]
