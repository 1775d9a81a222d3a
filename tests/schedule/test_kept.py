"""Planning again around what has begun: frozen tasks stay as they are, and nothing uses what is out of use."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cakewright.errors import InputError, NoCalendarError
from cakewright.model.plan import TaskKind
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.validate import validate
from cakewright.stopping import MaxSteps
from tests.schedule.test_random_cells import worlds
from tests.schedule.worlds import BLASTED, DYED, MONDAY, build, cell, line

HOUR = timedelta(hours=1)


def plan(world, builds, lines, start=MONDAY, steps=40, **more):
    return plan_schedule(world, builds, lines, start=start, stop=MaxSteps(steps), seed=1, **more)


def begun(schedule, now):
    return [t for t in schedule.tasks if t.start < now]


def test_a_running_print_that_takes_longer_pushes_only_what_follows():
    """The print ends at 21:30 instead of 18:30; loading keeps 08:00, lifting out still waits for Tuesday 08:00."""
    world, builds, lines = cell(), [build("B1"), build("B2")], [line(1, ["B1"]), line(2, ["B2"], 6)]
    first, _ = plan(world, builds, lines)
    now = MONDAY + 11 * HOUR
    facts = [replace(t, end=t.end + 3 * HOUR) if t.kind is TaskKind.PRINT else t for t in begun(first, now)]
    facts = [t for t in facts if t.kind is not TaskKind.COOL]
    again, _ = plan(world, builds, lines, start=now, frozen=facts)
    assert set(facts) <= set(again.tasks)
    assert validate(world, builds, lines, again, facts) == ()
    cool = next(t for t in again.of_build("B1") if t.kind is TaskKind.COOL)
    assert cool.start == MONDAY + 13.5 * HOUR
    lift = next(t for t in again.of_build("B1") if t.kind is TaskKind.UNLOAD)
    assert lift.start == datetime(2027, 3, 2, 8, tzinfo=UTC)


def test_a_half_dyed_basket_goes_on_where_it_is():
    """The hands' part of the bath is done; the bath runs on, pieces dry, nothing is dyed twice."""
    world, builds, lines = cell(), [build("B1")], [line(1, ["B1"], finish=DYED)]
    first, before = plan(world, builds, lines)
    hands = next(t for t in first.tasks if t.station == "bath" and t.people)
    again, after = plan(world, builds, lines, start=hands.end, frozen=begun(first, hands.end))
    assert [t for t in again.tasks if t.station == "bath"] == [t for t in first.tasks if t.station == "bath"]
    assert after[0].ready == before[0].ready


def test_a_rush_order_does_not_rename_baskets_that_have_begun():
    """A new urgent line comes first in the list; basket 1 keeps its name, its lines and its times."""
    world, builds = cell(machines=2), [build("B1", machines=("M1", "M2")), build("B2", machines=("M1", "M2"))]
    lines = [line(1, ["B1"], finish=BLASTED)]
    first, _ = plan(world, builds[:1], lines)
    blast = next(t for t in first.tasks if t.kind is TaskKind.FINISH)
    now = blast.start + timedelta(minutes=1)
    rush = line(2, ["B2"], -1, finish=BLASTED)
    again, _ = plan(world, builds, [rush, *lines], start=now, frozen=begun(first, now))
    names = {t.lines: t.label for t in again.tasks if t.kind is TaskKind.FINISH}
    assert names == {(1,): "basket 1: blast", (2,): "basket 2: blast"}


def test_a_machine_out_of_use_is_not_loaded():
    """M1 is down until Wednesday noon: the only build waits, and the judge would see it if it did not."""
    world, builds, lines = cell(), [build("B1")], [line(1, ["B1"])]
    down = {"M1": [(MONDAY, MONDAY + 52 * HOUR)]}
    schedule, _ = plan(world, builds, lines, unavailable=down)
    assert next(t for t in schedule.tasks if t.kind is TaskKind.LOAD).start >= MONDAY + 52 * HOUR
    free, _ = plan(world, builds, lines)
    assert {f.code for f in validate(world, builds, lines, free, (), down)} == {"schedule.out-of-use"}


def test_without_gain_nothing_moves():
    """Two builds that could be exchanged stay where the plan before had them."""
    world = cell()
    builds, lines = [build("B1"), build("B2")], [line(1, ["B1"], 30), line(2, ["B2"], 30)]
    first, _ = plan(world, builds, lines)
    swapped = {"B1": "B2", "B2": "B1"}
    before = [replace(t, build=swapped.get(t.build, t.build)) for t in first.tasks]
    again, _ = plan(world, builds, lines, steps=100, previous=before)
    loads = {t.build: t.start for t in again.tasks if t.kind is TaskKind.LOAD}
    assert loads == {t.build: t.start for t in before if t.kind is TaskKind.LOAD}


def test_what_cannot_be_kept_is_refused():
    """Unknown name, missing loading, one person twice, a window nobody knows."""
    world, builds, lines = cell(), [build("B1")], [line(1, ["B1"])]
    first, _ = plan(world, builds, lines)
    load = next(t for t in first.tasks if t.kind is TaskKind.LOAD)
    with pytest.raises(InputError, match="B9"):
        plan(world, builds, lines, frozen=[replace(load, build="B9")])
    with pytest.raises(InputError, match="its loading is not"):
        plan(world, builds, lines, frozen=[t for t in first.tasks if t.kind is TaskKind.PRINT])
    pack = next(t for t in first.tasks if t.kind is TaskKind.PACK)
    with pytest.raises(InputError, match="two kept tasks"):
        plan(world, builds, lines, frozen=[load, replace(pack, start=load.start + timedelta(minutes=5))])
    with pytest.raises(InputError, match="oven"):
        plan(world, builds, lines, unavailable={"oven": []})


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(worlds(), st.integers(1, 200), st.sampled_from(["M1", "K1", "Ada", "bench", "bath"]))
def test_replanning_from_any_moment_keeps_what_has_begun(world, hours, name):
    """Whatever the moment: begun tasks stay, the rest is carried out around them, also when something is down."""
    place, builds, lines, start = world
    try:
        first, _ = plan_schedule(place, builds, lines, start=start, stop=MaxSteps(5), seed=3)
        now = first.start + hours * HOUR
        facts = begun(first, now)
        down = {name: [(now, now + 20 * HOUR)]}
        again, promises = plan_schedule(
            place, builds, lines, start=now, stop=MaxSteps(5), seed=3, frozen=facts, unavailable=down
        )
    except NoCalendarError:
        return
    except InputError as clash:
        assert "do not go together" in str(clash)  # a bath in the middle of its run is declared down
        return
    assert validate(place, builds, lines, again, facts, down) == ()
    assert set(facts) <= set(again.tasks)
    assert all(p.ready for p in promises)
