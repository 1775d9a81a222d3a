"""Nobody is given a task on a day on which they are not trained for it, and a refusal says whose training ends."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise

import pytest

from cakewright.errors import NoCalendarError
from cakewright.model.cell import Person, Shift
from cakewright.model.plan import TaskKind
from cakewright.schedule.doubts import BuildDoubt
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.simulate import simulated_week
from cakewright.schedule.trained import trained_people
from cakewright.schedule.validate import validate, validate_places
from cakewright.stopping import MaxSteps
from tests.schedule.worlds import ALL_SKILLS, DAY_SHIFT, MONDAY, build, cell, line

TUESDAY = date(2027, 3, 2)
DEV = Person("Dev", ("start",), (DAY_SHIFT,), until=(("start", TUESDAY),))
ADA = Person("Ada", ALL_SKILLS, (Shift((0, 1, 2, 3, 4), time(14), time(20)),))


def planned(people, builds=4, **more):
    world = cell(machines=1, chambers=3, people=people)
    jobs = [build(f"B{n + 1}") for n in range(builds)]
    lines = [line(n + 1, [f"B{n + 1}"]) for n in range(builds)]
    schedule, _ = plan_schedule(world, jobs, lines, start=MONDAY, stop=MaxSteps(40), seed=1, **more)
    return world, jobs, lines, schedule


def test_a_person_is_there_once_for_each_stretch_of_days():
    """Dev may start until Tuesday: on Wednesday the same person has no skill left; without an end nothing is split."""
    ada, dev, later = trained_people(cell(people=(ADA, DEV)), MONDAY, 7 * 24 * 60)
    assert (ada, dev.name, later.name, dev.skills, later.skills) == (ADA, "Dev", "Dev", ("start",), ())
    assert TUESDAY not in dev.absent and TUESDAY + timedelta(days=1) in dev.absent
    assert TUESDAY in later.absent and TUESDAY + timedelta(days=1) not in later.absent


def test_after_the_end_of_training_somebody_else_does_it():
    """Dev is in all day and starts builds on Monday and Tuesday only; from Wednesday on Ada does, later in the day."""
    world, jobs, lines, schedule = planned((ADA, DEV))
    assert validate(world, jobs, lines, schedule) == ()
    hands = [t for t in schedule.tasks if t.kind in {TaskKind.LOAD, TaskKind.UNLOAD}]
    days = {name: {t.start.date() for t in hands if name in t.people} for name in ("Dev", "Ada")}
    assert days["Dev"] and max(days["Dev"]) <= TUESDAY
    assert days["Ada"] and max(days["Ada"]) > TUESDAY
    lasting = planned((ADA, replace(DEV, until=())))[3]
    assert max(t.start.date() for t in lasting.tasks if "Dev" in t.people) > TUESDAY


def test_the_judge_notices_it():
    """A schedule made while the training lasted breaks a rule once it ends on Tuesday."""
    world, jobs, lines, schedule = planned((ADA, replace(DEV, until=())))
    ends = replace(world, people=(ADA, DEV))
    codes = {f.code for f in validate(ends, jobs, lines, schedule)}
    assert codes == {"schedule.training-ended"}


def test_a_shift_over_midnight_belongs_to_the_day_on_which_it_begins():
    """Trained until Tuesday: the night from Tuesday to Wednesday still counts."""
    night = Shift((0, 1, 2, 3, 4), time(22), time(6))
    owl = Person("Owl", ALL_SKILLS, (night,), until=(("start", TUESDAY),))
    until, _ = trained_people(cell(people=(owl,)), MONDAY, 7 * 24 * 60)
    from cakewright.schedule.validate_hours import on_shift

    early = datetime(2027, 3, 3, 2, tzinfo=MONDAY.tzinfo)
    assert on_shift(cell(), until, early, early + timedelta(hours=1))
    assert on_shift(cell(), owl, early, early + timedelta(hours=1), TUESDAY)
    assert not on_shift(cell(), owl, early + timedelta(days=1), early + timedelta(days=1, hours=1), TUESDAY)


def test_kept_tasks_book_the_person_and_not_one_stretch():
    """A loading that was told stays with Dev, and nothing else is given to Dev at that time."""
    _, _, _, schedule = planned((ADA, DEV))
    told = [t for t in schedule.tasks if "Dev" in t.people][:2]
    again = planned((ADA, DEV), frozen=told)[3]
    assert set(told) <= set(again.tasks)
    mine = sorted((t for t in again.tasks if "Dev" in t.people), key=lambda t: t.start)
    assert all(a.end <= b.start for a, b in pairwise(mine))


def test_when_nobody_is_left_the_refusal_says_whose_training_ends():
    """The only person who may start is trained until yesterday; one that ends on Tuesday stops the later builds."""
    alone = Person("Dev", ALL_SKILLS, (DAY_SHIFT,), until=(("start", date(2027, 2, 28)),))
    with pytest.raises(NoCalendarError, match=r"nobody has the skill 'start'.*the training of Dev ends on 2027-02-28"):
        planned((alone,))
    with pytest.raises(NoCalendarError, match="the training of Dev ends on 2027-03-02"):
        planned((replace(alone, until=(("start", TUESDAY),)),), builds=9)


def test_a_simulated_week_asks_the_day_of_each_task():
    """Planned to be lifted out on Tuesday by Dev; a late print is lifted out on Wednesday by Ada, never by Dev."""
    people = (replace(ADA, shifts=(Shift((0, 1, 2, 3, 4), time(17), time(20)),)), DEV)
    world, jobs, lines, schedule = planned(people, builds=2)
    doubts = [BuildDoubt(job.key, 0.4, (job.cool_min,) * 3, 0.0, ()) for job in jobs]
    after = {"Dev": 0, "Ada": 0}
    for run in range(20):
        _, week = simulated_week(world, jobs, lines, schedule, doubts, runs=20, run=run, seed=2)
        assert "schedule.training-ended" not in {f.code for f in validate_places(world, jobs, lines, week)}
        for task in week.tasks:
            if task.kind in {TaskKind.LOAD, TaskKind.UNLOAD} and task.start.date() > TUESDAY:
                after[task.people[0]] += 1
    assert after["Ada"] > 0 and after["Dev"] == 0
    first = {t.people[0] for t in schedule.tasks if t.kind is TaskKind.UNLOAD and t.start.date() <= TUESDAY}
    assert first == {"Dev"}
