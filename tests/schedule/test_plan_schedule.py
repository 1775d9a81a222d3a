"""Plans for tiny cells whose right answer a person can work out."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from cakewright.errors import InputError, NoCalendarError
from cakewright.model.cell import FinishStep, Person, Shift, Station
from cakewright.model.plan import TaskKind
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.stopping import MaxSteps
from tests.schedule.worlds import ALL_SKILLS, BLASTED, DAY_SHIFT, DYED, MONDAY, build, cell, line


def plan(world, builds, lines, steps=50, seed=1, start=MONDAY):
    return plan_schedule(world, builds, lines, start=start, stop=MaxSteps(steps), seed=seed)


def at(schedule, key, kind):
    return next(t for t in schedule.of_build(key) if t.kind is kind)


def test_one_build_worked_by_hand():
    """Load 08:00-08:30, print to 18:30, cool to 02:30; lifted out and opened when Ada is back on Tuesday."""
    schedule, (promise,) = plan(cell(), [build("B1")], [line(1, ["B1"])])
    assert at(schedule, "B1", TaskKind.LOAD).start == MONDAY
    assert at(schedule, "B1", TaskKind.PRINT).end == MONDAY + timedelta(hours=10.5)
    assert at(schedule, "B1", TaskKind.UNLOAD).start == datetime(2027, 3, 2, 8, 0, tzinfo=UTC)
    assert at(schedule, "B1", TaskKind.UNPACK).start == datetime(2027, 3, 2, 8, 20, tzinfo=UTC)
    # unpacked 09:20; inspecting and packing need 40 min, and the chamber can wait to be cleaned or not
    assert promise.ready in {datetime(2027, 3, 2, 10, 0, tzinfo=UTC), datetime(2027, 3, 2, 10, 30, tzinfo=UTC)}
    assert schedule.validated and not promise.is_late
    assert promise.reason == "print ends Mon 18:30, nobody in before Tue 08:00"


def test_one_chamber_makes_the_second_build_wait():
    """With a single chamber the free machine cannot start before the first cake is out and the chamber clean."""
    world = cell(machines=2, chambers=1)
    both = ("M1", "M2")
    builds = [build("B1", machines=both), build("B2", machines=both)]
    schedule, promises = plan(world, builds, [line(1, ["B1"], 2), line(2, ["B2"], 5)])
    assert at(schedule, "B2", TaskKind.LOAD).start >= at(schedule, "B1", TaskKind.CLEAN).end
    assert promises[1].reason.startswith("waits for chamber: K1 prints B1")


def test_cooling_chambers_are_named_when_they_are_what_is_missing():
    """Two chambers cool on trolleys while the machine stands empty: the reason says which and until when."""
    builds = [build("B1", hours=1, cool_h=60), build("B2", hours=1, cool_h=60), build("B3", hours=1, cool_h=1)]
    lines = [line(1, ["B1"], 1), line(2, ["B2"], 1), line(3, ["B3"], 9, weight=0.1)]
    _, promises = plan(cell(chambers=2), builds, lines, steps=0)
    assert "waits for chamber: K1 and K2 cool until Thu" in promises[2].reason


def test_the_dye_bath_runs_on_wednesday_only():
    """Pieces unpacked on Tuesday wait for the bath, and the reason says so."""
    schedule, (promise,) = plan(cell(), [build("B1")], [line(1, ["B1"], finish=DYED)])
    dye = [t for t in schedule.tasks if t.station == "bath"]
    assert {t.start.date() for t in dye} == {date(2027, 3, 3)}
    assert "needs dye, run on Wed only" in promise.reason


def test_lines_of_one_build_and_finish_share_a_basket():
    """Two small lines are blasted together: one basket, one setting-up."""
    schedule, _ = plan(cell(), [build("B1")], [line(n, ["B1"], finish=BLASTED) for n in (1, 2)])
    baskets = [t for t in schedule.tasks if t.kind is TaskKind.FINISH]
    assert [t.lines for t in baskets] == [(1, 2)]
    assert baskets[0].end - baskets[0].start == timedelta(minutes=20)  # 10 min + 20 pieces x 30 s


def test_two_builds_share_the_weekly_bath_when_it_is_large_enough():
    """Blasted apart, dyed together: Wednesday's bath takes both lines, but not a third that would overfill it."""
    stations = (Station("bench", "unpack"), Station("cabinet", "blast"), Station("bath", "dye", capacity_l=12))
    builds = [build("B1", hours=5, cool_h=4), build("B2", hours=5, cool_h=4)]
    lines = [line(1, ["B1"], finish=DYED, litres=6), line(2, ["B2"], finish=DYED, litres=6),
             line(3, ["B2"], 30, finish=DYED, litres=7, weight=0.1)]  # fmt: skip
    people = (Person("Ada", ALL_SKILLS, (DAY_SHIFT,)), Person("Bo", ("start", "unpack"), (DAY_SHIFT,)))
    schedule, _ = plan(cell(machines=1, people=people, stations=stations), builds, lines)
    start = {n: next(t.start for t in schedule.tasks if t.station == "bath" and n in t.lines) for n in (1, 2, 3)}
    assert start[1] == start[2] != start[3]


def test_a_line_of_many_pieces_is_blasted_in_several_baskets():
    """600 pieces at 30 s are 5 h of hands; no stretch of Ada's day is that long."""
    _, (promise,) = plan(cell(), [build("B1")], [line(1, ["B1"], finish=BLASTED, pieces=600)])
    assert promise.ready > MONDAY + timedelta(days=1, hours=5)


def test_a_line_in_two_builds_waits_for_the_later_one():
    """Finishing starts when every piece is out."""
    schedule, (promise,) = plan(cell(), [build("B1"), build("B2")], [line(1, ["B1", "B2"], finish=BLASTED)])
    out = max(at(schedule, key, TaskKind.UNPACK).end for key in ("B1", "B2"))
    assert next(t for t in schedule.tasks if t.kind is TaskKind.FINISH).start >= out
    assert promise.ready > out


def test_the_urgent_build_goes_first_and_search_never_makes_it_worse():
    """One machine, the long build is not due: the short urgent one is loaded first."""
    builds = [build("slow", hours=40), build("quick", hours=6)]
    lines = [line(1, ["slow"], 10), line(2, ["quick"], 1.2, weight=5)]
    schedule, promises = plan(cell(), builds, lines)
    assert at(schedule, "quick", TaskKind.LOAD).start == MONDAY
    assert not any(p.is_late for p in promises)


def test_a_night_shift_lets_somebody_lift_the_chamber_out_at_night():
    """Bo works 22:00 to 06:00: the chamber is out at night, not at eight."""
    night = Shift((0, 1, 2, 3, 4), time(22), time(6), ((time(2), time(2, 30)),))
    people = (Person("Ada", ALL_SKILLS, (DAY_SHIFT,)), Person("Bo", ("start",), (night,)))
    schedule, _ = plan(cell(people=people), [build("B1")], [line(1, ["B1"])])
    lift = at(schedule, "B1", TaskKind.UNLOAD)
    assert lift.people == ("Bo",) and lift.start == datetime(2027, 3, 1, 22, 0, tzinfo=UTC)


def test_holidays_and_absences_are_days_without_hands():
    """Tuesday is a holiday and Ada is away on Wednesday: the cake waits until Thursday."""
    people = (Person("Ada", ALL_SKILLS, (DAY_SHIFT,), absent=(date(2027, 3, 3),)),)
    world = cell(people=people, holidays=(date(2027, 3, 2),))
    schedule, _ = plan(world, [build("B1")], [line(1, ["B1"])])
    assert at(schedule, "B1", TaskKind.UNLOAD).start == datetime(2027, 3, 4, 8, 0, tzinfo=UTC)


def test_clocks_change_over_the_weekend():
    """In Oslo the night to 28 March 2027 is an hour short: 08:00 on Monday is 06:00 UTC, on Friday it was 07:00."""
    world = cell(timezone="Europe/Oslo")
    friday = datetime(2027, 3, 26, 7, 0, tzinfo=UTC)
    job = build("B1", release=friday)
    schedule, _ = plan(world, [job], [line(1, ["B1"], 40)], start=friday)
    assert at(schedule, "B1", TaskKind.LOAD).start == friday
    assert at(schedule, "B1", TaskKind.UNLOAD).start == datetime(2027, 3, 29, 6, 0, tzinfo=UTC)


def test_same_seed_same_schedule():
    """Nothing but seed and step count decides."""
    builds = [build(f"B{i}", hours=5 + i) for i in range(4)]
    lines = [line(i, [f"B{i}"], 1 + i / 3) for i in range(4)]
    assert plan(cell(), builds, lines, seed=7)[0].tasks == plan(cell(), builds, lines, seed=7)[0].tasks


def test_a_line_in_no_build_has_no_date():
    """It is late by definition and says why."""
    _, (promise,) = plan(cell(), [], [line(1, [])])
    assert promise.ready is None and promise.is_late and promise.reason == "is in no build"


@pytest.mark.parametrize(
    ("world", "job", "order", "names"),
    [
        (cell(people=(Person("Ada", ("start", "unpack", "pack"), (DAY_SHIFT,)),)), {}, {}, "'inspect'"),
        (cell(), {"unpack_min": 300}, {}, "unpacking takes 5 h"),
        (cell(), {"material": "PA11"}, {}, "PA11"),
        (cell(), {"pinned_machine": "M9"}, {}, "M9"),
        (cell(stations=(Station("cabinet", "blast"), Station("bath", "dye"))), {}, {}, "unpack station"),
        (
            cell(),
            {},
            {"finish": replace(DYED, steps=(FinishStep("dye", 60, 20, weekdays=(6,)),))},
            "runs on given weekdays only",
        ),
    ],
)
def test_what_can_never_be_done_is_named(world, job, order, names):
    """The error tells which resource is missing, before any search."""
    with pytest.raises(NoCalendarError, match=names):
        plan(world, [build("B1", **job)], [line(1, ["B1"], **order)])


def test_jobs_that_do_not_belong_together_are_refused():
    """Unknown build, doubled key, start without a time zone."""
    with pytest.raises(InputError, match="B9"):
        plan(cell(), [build("B1")], [line(1, ["B9"])])
    with pytest.raises(InputError, match="twice"):
        plan(cell(), [build("B1"), build("B1")], [])
    with pytest.raises(InputError, match="time zone"):
        plan(cell(), [build("B1")], [], start=datetime(2027, 3, 1))
