"""The judge must catch every kind of broken rule: each test plants one in a good schedule."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import pytest

from cakewright.model.cell import Person, Shift
from cakewright.model.plan import Task, TaskKind
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.validate import validate
from cakewright.stopping import MaxSteps
from tests.schedule.worlds import ALL_SKILLS, DAY_SHIFT, DYED, MONDAY, build, cell, line

HOUR = timedelta(hours=1)
PEOPLE = (Person("Ada", ALL_SKILLS, (DAY_SHIFT,)), Person("Cy", ("pack",), (DAY_SHIFT,)))
WORLD = cell(machines=2, chambers=3, people=PEOPLE)
BUILDS = [build("B1", machines=("M1", "M2")), build("B2", machines=("M1", "M2"), pinned_machine="M1")]
LINES = [line(1, ["B1"], finish=DYED), line(2, ["B2"], finish=DYED), line(3, ["B1"])]


@pytest.fixture(scope="module")
def good():
    return plan_schedule(WORLD, BUILDS, LINES, start=MONDAY, stop=MaxSteps(20), seed=1)[0]


def codes(schedule):
    return {f.code.removeprefix("schedule.") for f in validate(WORLD, BUILDS, LINES, schedule)}


def changed(schedule, pick, **changes):
    """The schedule with the picked task changed; callables in `changes` get the task."""
    tasks = list(schedule.tasks)
    i = next(i for i, t in enumerate(tasks) if pick(t))
    new = {k: v(tasks[i]) if callable(v) else v for k, v in changes.items()}
    tasks[i] = replace(tasks[i], **new)
    return replace(schedule, tasks=tuple(tasks))


def of(kind, build=None):
    return lambda t: t.kind is kind and build in {None, t.build}


def moved(by):
    return {"start": lambda t: t.start + by, "end": lambda t: t.end + by}


def test_a_good_schedule_passes(good):
    assert validate(WORLD, BUILDS, LINES, good) == ()


@pytest.mark.parametrize(
    ("pick", "changes", "code"),
    [
        (of(TaskKind.LOAD), moved(-24 * HOUR), "off-shift"),
        (of(TaskKind.LOAD), moved(-24 * HOUR), "wrong-times"),
        (of(TaskKind.LOAD), moved(-HOUR), "too-early"),
        (of(TaskKind.PRINT), {"end": lambda t: t.end - HOUR}, "wrong-duration"),
        (of(TaskKind.PRINT), {"machine": "M9"}, "unknown-name"),
        (of(TaskKind.PRINT), {"machine": ""}, "wrong-machine"),
        (of(TaskKind.PRINT, "B2"), {"machine": "M2"}, "wrong-machine"),
        (of(TaskKind.UNLOAD), {"people": ()}, "nobody-assigned"),
        (of(TaskKind.UNLOAD), {"people": ("Cy",)}, "missing-skill"),
        (of(TaskKind.UNPACK), moved(-12 * HOUR), "too-hot"),
        (of(TaskKind.UNPACK), {"station": "cabinet"}, "wrong-station"),
        (of(TaskKind.UNPACK), {"chamber": "K3"}, "wrong-chamber"),
        (of(TaskKind.CLEAN), moved(-12 * HOUR), "wrong-order"),
        (of(TaskKind.COOL), moved(HOUR), "wrong-order"),
        (of(TaskKind.INSPECT), {"end": lambda t: t.end - timedelta(minutes=5)}, "wrong-duration"),
        (of(TaskKind.PACK), moved(-72 * HOUR), "wrong-order"),
        (lambda t: t.station == "cabinet", moved(-48 * HOUR), "wrong-order"),
        (lambda t: t.station == "cabinet", {"end": lambda t: t.end - timedelta(minutes=8)}, "wrong-duration"),
        (lambda t: t.station == "bath" and t.people, {"people": ("Cy",)}, "missing-skill"),
        (of(TaskKind.WAIT), {"end": lambda t: t.end - HOUR}, "missing-task"),
        (of(TaskKind.FINISH), {"lines": (1, 3)}, "mixed-basket"),
        (of(TaskKind.PACK), {"lines": (77,)}, "surplus-task"),
    ],
)
def test_a_planted_mistake_is_found(good, pick, changes, code):
    assert code in codes(changed(good, pick, **changes))


LIMITS = {TaskKind.CHANGE, TaskKind.SERVICE, TaskKind.CLEAN_DOWN, TaskKind.TEST, TaskKind.RESULT}  # see test_limits


@pytest.mark.parametrize("kind", [kind for kind in TaskKind if kind not in LIMITS])
def test_a_dropped_task_is_found(good, kind):
    """Whatever task is left out, something is said."""
    tasks = list(good.tasks)
    tasks.remove(next(t for t in tasks if t.kind is kind))
    assert codes(replace(good, tasks=tuple(tasks)))


def test_a_person_cannot_be_in_two_places(good):
    load = next(t for t in good.tasks if t.kind is TaskKind.LOAD)
    extra = Task(TaskKind.PACK, "", (3,), load.start, load.end, people=load.people)
    assert "person-twice" in codes(replace(good, tasks=(*good.tasks, extra)))


def test_a_station_holds_one_basket(good):
    bath = next(t for t in good.tasks if t.station == "bath")
    extra = Task(TaskKind.FINISH, "", (1,), bath.start, bath.end, station="bath", label="basket 9: dye")
    assert "station-twice" in codes(replace(good, tasks=(*good.tasks, extra)))


def test_machine_and_chamber_are_held_until_somebody_comes():
    """Two builds on one machine: the second is loaded at night while the first cake is still in it."""
    night = Person("Bo", ("start",), (Shift((0, 1, 2, 3, 4), time(16), time(8)),))
    world = cell(machines=1, chambers=2, people=(*PEOPLE, night))
    builds, lines = [build("B1"), build("B2")], []
    good, _ = plan_schedule(world, builds, lines, start=MONDAY, stop=MaxSteps(5), seed=1)
    second = max((t for t in good.tasks if t.kind is TaskKind.LOAD), key=lambda t: t.start).build
    early = tuple(replace(t, start=t.start - 4 * HOUR, end=t.end - 4 * HOUR) if t.build == second else t
                  for t in good.tasks)  # fmt: skip
    found = {f.code for f in validate(world, builds, lines, replace(good, tasks=early))}
    assert "schedule.machine-twice" in found
    one = tuple(replace(t, chamber="K1") if t.chamber else t for t in good.tasks)
    found = {f.code for f in validate(world, builds, lines, replace(good, tasks=one))}
    assert "schedule.chamber-twice" in found


def test_a_break_is_not_working_time(good):
    """Moving a task onto the lunch break is seen, although the shift goes on afterwards."""
    noon = datetime(2027, 3, 2, 11, 50, tzinfo=UTC)
    moved_task = changed(good, of(TaskKind.PACK), start=noon, end=noon + timedelta(minutes=10 + 10))
    assert "off-shift" in codes(moved_task)


def test_a_surplus_build_is_found(good):
    extra = replace(next(t for t in good.tasks if t.kind is TaskKind.PRINT), build="B7")
    assert "surplus-task" in codes(replace(good, tasks=(*good.tasks, extra)))


def test_a_bath_on_the_wrong_day_is_found(good):
    """Everything after blasting, a day later: in order, in working time, but the bath runs on Wednesday only."""
    later = {TaskKind.WAIT, TaskKind.INSPECT, TaskKind.PACK}
    tasks = tuple(replace(t, start=t.start + 24 * HOUR, end=t.end + 24 * HOUR)
                  if t.station == "bath" or t.kind in later else t for t in good.tasks)  # fmt: skip
    assert codes(replace(good, tasks=tasks)) == {"wrong-weekday"}
