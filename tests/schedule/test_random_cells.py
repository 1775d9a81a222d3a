"""Whatever the cell looks like, the plan that comes out can be carried out."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cakewright.errors import NoCalendarError
from cakewright.model.cell import Arrival, Closure, Finish, FinishStep, Person, Shift, Station, Utility
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.validate import validate
from cakewright.stopping import MaxSteps
from tests.schedule.worlds import ALL_SKILLS, MONDAY, build, cell, line, material

WEEKDAY_SETS = [(0, 1, 2, 3, 4), (0, 2, 4), (5, 6), (0, 1, 2, 3, 4, 5, 6), (1,)]


@st.composite
def shifts(draw):
    begin = draw(st.integers(0, 23))
    length = draw(st.integers(5, 10))
    pause = (begin + draw(st.integers(2, length - 2))) % 24
    breaks = ((time(pause), time(pause, 30)),) if draw(st.booleans()) else ()
    weeks = draw(st.sampled_from([1, 1, 1, 2]))
    days = draw(st.sampled_from(WEEKDAY_SETS))
    return Shift(days, time(begin), time((begin + length) % 24), breaks, weeks, date(2027, 3, 4))


@st.composite
def people(draw):
    n = draw(st.integers(1, 3))
    crew = [Person("Ada", ALL_SKILLS, (draw(shifts()),))]
    for name in ("Bo", "Cy")[: n - 1]:
        skills = tuple(draw(st.sets(st.sampled_from(ALL_SKILLS), min_size=1)))
        away = tuple(date(2027, 3, d) for d in draw(st.sets(st.integers(1, 9), max_size=3)))
        crew.append(Person(name, skills, (draw(shifts()),), away))
    return tuple(crew)


@st.composite
def finishes(draw, name):
    steps = []
    for _ in range(draw(st.integers(0, 3))):
        minutes = draw(st.integers(5, 300))
        staffed = min(minutes, draw(st.sampled_from([0, 5, 20, 60])))
        days = draw(st.sampled_from([(), (2,), (1, 4)])) if draw(st.booleans()) else ()
        kind = draw(st.sampled_from(["blast", "dye"]))
        wait = draw(st.sampled_from([0, 90]))
        steps.append(FinishStep(kind, minutes, staffed, draw(st.sampled_from([0.0, 7.5, 40.0])), wait, days,
                                every_weeks=draw(st.sampled_from([1, 1, 2])), first_day=date(2027, 2, 17),
                                watched=minutes <= 60 and draw(st.booleans())))  # fmt: skip
    return Finish(name, tuple(steps))


@st.composite
def limits(draw, world):
    """A second material on shared machines, services, closures, utilities, powder on its way, watched prints."""
    if draw(st.booleans()):
        return world
    other = replace(material("PA11"), virgin_kg=draw(st.sampled_from([0.0, 6.0])),
                    arrivals=(Arrival(date(2027, 3, 9), 20.0), Arrival(date(2027, 3, 5), 5.0)))  # fmt: skip
    service = draw(st.sampled_from([(0.0, 0, 0.0), (30.0, 240, 12.0)]))
    machines = tuple(
        replace(m, other_materials=("PA11",), changeover_min=draw(st.sampled_from([0, 300, 1440])),
                watched_min=draw(st.sampled_from([0, 0, 45])), service_every_h=service[0], service_min=service[1],
                hours_since_service=service[2], utilities=("power",))
        for m in world.machines
    )  # fmt: skip
    chambers = tuple(replace(c, other_materials=("PA11",)) for c in world.chambers)
    stations = tuple(replace(s, clean_down_min=draw(st.sampled_from([0, 60])) if s.kind == "unpack" else 0)
                     for s in world.stations)  # fmt: skip
    at = datetime(2027, 3, draw(st.integers(1, 12)), draw(st.integers(0, 23)))
    what = draw(st.sampled_from(["M1", "K1", "Ada", "bench", "bath", "power"]))
    return replace(
        world, machines=machines, chambers=chambers, stations=stations, materials=(*world.materials, other),
        utilities=(Utility("power", draw(st.sampled_from([0, 1]))),),
        closures=(Closure(what, at, at + timedelta(hours=draw(st.integers(1, 40))), "visit"),),
    )  # fmt: skip


@st.composite
def worlds(draw):
    zone = draw(st.sampled_from(["UTC", "Europe/Oslo", "America/New_York", "Asia/Kolkata"]))
    machines = draw(st.integers(1, 3))
    choices = (draw(finishes("one")), draw(finishes("two")))
    world = cell(machines, draw(st.integers(1, 4)), draw(people()), timezone=zone, finishes=choices)
    world = replace(world, holidays=tuple(date(2027, 3, d) for d in draw(st.sets(st.integers(1, 20), max_size=2))))
    world = draw(limits(world))
    sizes = {kind: draw(st.sampled_from([0.0, 8.0])) for kind in ("unpack", "blast", "dye")}
    stations = tuple(replace(s, capacity_l=sizes[s.kind]) for s in world.stations)
    if draw(st.booleans()):
        stations = (*stations, Station("second bath", "dye", capacity_l=draw(st.sampled_from([0.0, 20.0]))))
    world = replace(world, stations=stations)
    names = tuple(f"M{i + 1}" for i in range(machines))
    builds = [
        build(
            f"B{i}",
            hours=draw(st.integers(1, 40)),
            cool_h=draw(st.integers(0, 40)),
            machines=names,
            minimum_cool_in_machine_min=draw(st.sampled_from([0, 60, 300])),
            unpack_min=draw(st.integers(0, 90)),
            clean_min=draw(st.sampled_from([0, 30])),
            release=MONDAY + timedelta(hours=draw(st.integers(-5, 60))),
            pinned_machine=draw(st.sampled_from([None, None, "M1"])),
            material=draw(st.sampled_from([m.name for m in world.materials])),
            virgin_kg=draw(st.sampled_from([0.0, 0.0, 4.5])),
            test_min=draw(st.sampled_from([0, 0, 20])),
            test_wait_min=draw(st.sampled_from([0, 600])),
        )
        for i in range(draw(st.integers(1, 5)))
    ]
    keys = [b.key for b in builds if b.material == builds[0].material]
    lines = [
        line(
            i,
            sorted(draw(st.sets(st.sampled_from(keys), min_size=1, max_size=2))),
            draw(st.integers(0, 12)),
            draw(st.sampled_from(choices)),
            pieces=draw(st.integers(1, 700)),
            inspect_min=draw(st.sampled_from([0, 25, 400])),
            pack_min=draw(st.sampled_from([0, 10])),
            litres=draw(st.sampled_from([0.0, 0.5, 30.0])),
            waits_for_test=draw(st.booleans()),
        )
        for i in range(draw(st.integers(0, 6)))
    ]
    start = MONDAY + timedelta(hours=draw(st.integers(0, 24 * 40)), seconds=draw(st.integers(0, 90)))
    return world, builds, lines, start


@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
@given(worlds())
def test_every_plan_can_be_carried_out(world):
    """The judge finds nothing in any plan; a cell without hours for a task is refused with a reason."""
    place, builds, lines, start = world
    try:
        schedule, promises = plan_schedule(place, builds, lines, start=start, stop=MaxSteps(15), seed=3)
    except NoCalendarError as no:
        assert no.remedy and len(place.people) < 4
        return
    assert validate(place, builds, lines, schedule) == ()
    assert all(p.ready and p.ready >= start and p.reason for p in promises)
