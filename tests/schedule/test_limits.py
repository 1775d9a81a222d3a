"""Changeovers, clean-down, services, closures, utilities, powder, tests, fortnights: planned, and seen by the judge."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from cakewright.errors import NoCalendarError
from cakewright.model.cell import Arrival, Closure, FinishStep, Person, Utility
from cakewright.model.plan import TaskKind
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.validate import validate
from cakewright.stopping import MaxSteps
from tests.schedule.worlds import ALL_SKILLS, DAY_SHIFT, DYED, MONDAY, build, cell, line, material

HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)


def plan(world, builds, lines, **more):
    return plan_schedule(world, builds, lines, start=MONDAY, stop=MaxSteps(30), seed=1, **more)


def two_materials(**changes):
    """M1 for PA12 and, after a day, PA11; the bench is cleaned for an hour between the two."""
    made = cell(materials=(material(), material("PA11")))
    machines = tuple(replace(m, other_materials=("PA11",), changeover_min=1440) for m in made.machines)
    chambers = tuple(replace(c, other_materials=("PA11",)) for c in made.chambers)
    stations = tuple(replace(s, clean_down_min=60) if s.kind == "unpack" else s for s in made.stations)
    return replace(made, machines=machines, chambers=chambers, stations=stations, **changes)


def only(schedule, kind, key=None):
    (found,) = [t for t in schedule.tasks if t.kind is kind and key in {None, t.build}]
    return found


def test_another_material_costs_a_day_and_a_clean_bench():
    """Lift B1 out, a day of changing, load B2; before B2 is opened somebody cleans the bench for an hour."""
    builds = [build("B1"), build("B2", material="PA11")]
    schedule, promises = plan(two_materials(), builds, [line(1, ["B1"], 1), line(2, ["B2"], 20)])
    assert promises[1].reason.startswith("M1 is changed to PA11 for 24 h from Tue")
    change, load = only(schedule, TaskKind.CHANGE), only(schedule, TaskKind.LOAD, "B2")
    assert change.end == load.start and change.start == load.start - 24 * HOUR
    assert change.start >= only(schedule, TaskKind.UNLOAD, "B1").end
    down, unpack = only(schedule, TaskKind.CLEAN_DOWN), only(schedule, TaskKind.UNPACK, "B2")
    assert (down.end, down.end - down.start, down.people) == (unpack.start, HOUR, unpack.people)


def test_a_clean_down_that_fits_no_stretch_is_named():
    """Four hours of cleaning and one of unpacking: Ada's longest stretch is four."""
    world = two_materials()
    world = replace(world, stations=tuple(replace(s, clean_down_min=240) if s.kind == "unpack" else s
                                          for s in world.stations))  # fmt: skip
    with pytest.raises(NoCalendarError, match="cleaning bench and unpacking take 5 h"):
        plan(world, [build("B1"), build("B2", material="PA11")], [line(1, ["B1"])])


def test_builds_of_one_material_are_printed_one_after_the_other():
    """Due dates alternate between the materials; changing three times would make more late than it saves."""
    builds = [build(f"B{i}", material="PA11" if i % 2 else "PA12") for i in range(4)]
    schedule, _ = plan_schedule(
        two_materials(), builds, [line(i, [f"B{i}"], 6 + 0.1 * i) for i in range(4)],
        start=MONDAY, stop=MaxSteps(300), seed=1,
    )  # fmt: skip
    assert sum(t.kind is TaskKind.CHANGE for t in schedule.tasks) == 1


def test_a_service_comes_before_the_hours_are_over():
    """12 h since the last service, one every 30 h: B1 and B2 of 10 h make 32, so the service lies between them."""
    world = cell()
    machine = replace(world.machines[0], service_every_h=30, service_min=240, hours_since_service=12)
    builds, lines = [build("B1"), build("B2")], [line(1, ["B1"], 1), line(2, ["B2"], 9)]
    world = replace(world, machines=(machine,))
    schedule, promises = plan(world, builds, lines)
    assert promises[1].reason.startswith("M1 is serviced for 4 h from")
    service = only(schedule, TaskKind.SERVICE)
    assert service.build == "B2" and service.end - service.start == 4 * HOUR
    assert only(schedule, TaskKind.UNLOAD, "B1").end <= service.start
    assert service.end <= only(schedule, TaskKind.LOAD, "B2").start
    without = replace(schedule, tasks=tuple(t for t in schedule.tasks if t.kind is not TaskKind.SERVICE))
    assert "schedule.service-due" in {f.code for f in validate(world, builds, lines, without)}


def test_nothing_runs_while_it_is_closed():
    """Power is cut on Monday until 14:00 local time in Oslo (13:00 UTC): the machine that needs it waits."""
    world = cell(timezone="Europe/Oslo", utilities=(Utility("power"),))
    world = replace(
        world,
        machines=tuple(replace(m, utilities=("power",)) for m in world.machines),
        closures=(Closure("power", datetime(2027, 3, 1, 6), datetime(2027, 3, 1, 14), "new fuse board"),),
    )
    schedule, _ = plan(world, [build("B1")], [line(1, ["B1"])])
    assert only(schedule, TaskKind.LOAD).start == datetime(2027, 3, 1, 13, tzinfo=UTC)
    open_again = replace(world, closures=())
    early, _ = plan(open_again, [build("B1")], [line(1, ["B1"])])
    assert "schedule.out-of-use" in {f.code for f in validate(world, [build("B1")], [line(1, ["B1"])], early)}


def test_a_weak_line_carries_one_machine():
    """Two machines on one line that carries one: the second print starts when the first has ended."""
    world = cell(machines=2, utilities=(Utility("power", 1),))
    world = replace(world, machines=tuple(replace(m, utilities=("power",)) for m in world.machines))
    both = ("M1", "M2")
    builds = [build("B1", 3, machines=both), build("B2", 3, machines=both)]
    lines = [line(1, ["B1"]), line(2, ["B2"])]
    schedule, promises = plan(world, builds, lines)
    assert any("power carries one machine at once" in p.reason for p in promises)
    first, second = sorted((t for t in schedule.tasks if t.kind is TaskKind.PRINT), key=lambda t: t.start)
    assert second.start >= first.end
    strong, _ = plan(replace(world, utilities=(Utility("power", 2),)), builds, lines)
    assert "schedule.utility-overrun" in {f.code for f in validate(world, builds, lines, strong)}


def test_a_build_waits_for_its_powder_and_lets_another_go_first():
    """3 kg there, 10 kg come on Wednesday: the build of 2 kg is loaded on Monday, the one of 8 kg on Thursday."""
    grade = replace(material(), virgin_kg=3, arrivals=(Arrival(date(2027, 3, 3), 10),))
    world = cell(machines=1, chambers=2, materials=(grade,))
    builds = [build("big", virgin_kg=8.0), build("small", virgin_kg=2.0)]
    lines = [line(1, ["big"], 1), line(2, ["small"], 2)]
    schedule, promises = plan(world, builds, lines)
    assert promises[0].reason == "waits for virgin PA12, there from Thu 00:00"
    assert only(schedule, TaskKind.LOAD, "small").start == MONDAY
    assert only(schedule, TaskKind.LOAD, "big").start == datetime(2027, 3, 4, 8, tzinfo=UTC)
    full, _ = plan(replace(world, materials=(material(),)), builds, lines)
    assert "schedule.powder-missing" in {f.code for f in validate(world, builds, lines, full)}
    with pytest.raises(NoCalendarError, match=r"need 20.0 kg of virgin PA12; stock and arrivals are 13.0 kg"):
        plan(world, [build("B1", virgin_kg=20.0)], [line(1, ["B1"])])


def test_a_tested_line_is_packed_after_the_result():
    """Specimens are tested for 20 min after unpacking, the result takes two days; line 2 does not wait for it."""
    builds = [build("B1", test_min=20, test_wait_min=2880)]
    lines = [line(1, ["B1"], waits_for_test=True), line(2, ["B1"])]
    schedule, promises = plan(cell(), builds, lines)
    assert promises[0].reason.startswith("waits for the specimens of B1, result Thu")
    result = only(schedule, TaskKind.RESULT)
    packed = {t.lines[0]: t.start for t in schedule.tasks if t.kind is TaskKind.PACK}
    assert packed[2] < result.end <= packed[1]
    lax = [replace(ln, waits_for_test=False) for ln in lines]
    early, _ = plan(cell(), builds, lax)
    assert "schedule.not-released" in {f.code for f in validate(cell(), builds, lines, early)}
    untested = replace(schedule, tasks=tuple(t for t in schedule.tasks if t.kind is not TaskKind.TEST))
    assert "schedule.missing-task" in {f.code for f in validate(cell(), builds, lines, untested)}


def test_a_fortnightly_bath_skips_the_wrong_wednesday():
    """The bath is run in the week of 10 March 2027 and every second one: not on the 3rd, when the pieces are there."""
    steps = tuple(replace(s, every_weeks=2, first_day=date(2027, 3, 10)) if s.weekdays else s for s in DYED.steps)
    finish = replace(DYED, steps=steps)
    builds, lines = [build("B1")], [line(1, ["B1"], finish=finish)]
    schedule, promises = plan(cell(), builds, lines)
    assert promises[0].reason == "needs dye, run on Wed of every second week only"
    assert {t.start.date() for t in schedule.tasks if t.station == "bath"} == {date(2027, 3, 10)}
    weekly, _ = plan(cell(), builds, [line(1, ["B1"], finish=DYED)])
    assert "schedule.wrong-weekday" in {f.code for f in validate(cell(), builds, lines, weekly)}


def test_weeks_alternate_between_two_people():
    """Ada works in the week of 1 March, Bo in the week of 8 March; the lift on the 8th is Bo's."""
    odd = replace(DAY_SHIFT, every_weeks=2, first_day=date(2027, 3, 1))
    even = replace(DAY_SHIFT, every_weeks=2, first_day=date(2027, 3, 8))
    people = (Person("Ada", ALL_SKILLS, (odd,)), Person("Bo", ALL_SKILLS, (even,)))
    schedule, _ = plan(cell(people=people), [build("B1", hours=110)], [line(1, ["B1"], 20)])
    assert only(schedule, TaskKind.LOAD).people == ("Ada",)
    lift = only(schedule, TaskKind.UNLOAD)
    assert (lift.people, lift.start) == (("Bo",), datetime(2027, 3, 8, 8, tzinfo=UTC))


def test_what_must_be_watched_runs_while_somebody_is_in():
    """The first 45 min of a print are watched: a build ready at 15:15 starts the next morning; an oven waits too."""
    world = cell()
    world = replace(world, machines=tuple(replace(m, watched_min=45) for m in world.machines))
    builds = [build("B1", release=MONDAY + 7.25 * HOUR)]
    schedule, _ = plan(world, builds, [line(1, ["B1"])])
    assert only(schedule, TaskKind.LOAD).start == datetime(2027, 3, 2, 8, tzinfo=UTC)
    lax, _ = plan(cell(), builds, [line(1, ["B1"])])
    assert "schedule.unwatched" in {f.code for f in validate(world, builds, [line(1, ["B1"])], lax)}
    oven = replace(DYED, steps=(FinishStep("dye", 180, 0, watched=True),))
    schedule, _ = plan(cell(), [build("B1")], [line(1, ["B1"], finish=oven)])
    run = next(t for t in schedule.tasks if t.kind is TaskKind.FINISH)
    assert (run.start.hour, run.start.minute) == (12, 30)  # three hours fit only after Ada's break


@pytest.mark.parametrize("kind", [TaskKind.CHANGE, TaskKind.CLEAN_DOWN])
def test_the_judge_misses_what_is_left_out(kind):
    builds = [build("B1"), build("B2", material="PA11")]
    lines = [line(1, ["B1"], 1), line(2, ["B2"], 20)]
    schedule, _ = plan(two_materials(), builds, lines)
    without = replace(schedule, tasks=tuple(t for t in schedule.tasks if t.kind is not kind))
    code = {TaskKind.CHANGE: "no-changeover", TaskKind.CLEAN_DOWN: "no-clean-down"}[kind]
    assert {f.code for f in validate(two_materials(), builds, lines, without)} == {f"schedule.{code}"}


def test_a_change_of_material_in_progress_goes_on():
    """Planned again in the middle of the day of changing: it ends when it would have, it does not start afresh."""
    builds, lines = [build("B2", material="PA11")], [line(2, ["B2"], 20)]
    first, _ = plan(two_materials(), builds, lines)
    change, load = only(first, TaskKind.CHANGE), only(first, TaskKind.LOAD)
    now = change.start + 5 * HOUR
    again, _ = plan_schedule(two_materials(), builds, lines, start=now, stop=MaxSteps(5), seed=1, frozen=[change])
    assert only(again, TaskKind.CHANGE) == change and only(again, TaskKind.LOAD).start == load.start


def test_the_bench_is_cleaned_while_the_cake_cools():
    """Hands are free and the bench is empty before B2 is cool: cleaned before, it is opened the minute it is cool."""
    builds = [build("B1"), build("B2", material="PA11", cool_h=16.0)]
    schedule, _ = plan(two_materials(), builds, [line(1, ["B1"], 1), line(2, ["B2"], 20)])
    down, unpack = only(schedule, TaskKind.CLEAN_DOWN), only(schedule, TaskKind.UNPACK, "B2")
    cool = only(schedule, TaskKind.COOL, "B2")
    lifted = only(schedule, TaskKind.UNLOAD, "B2")
    assert lifted.end <= down.start < cool.end <= unpack.start == down.end
