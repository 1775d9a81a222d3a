"""Moving one task on the calendar: a plan that works with the task where it was put, or the reason why not."""

from dataclasses import replace
from datetime import time, timedelta

import pytest

from cakewright.app.begun_tasks import begun_tasks
from cakewright.app.move_task import accept_move, move_in_plan, propose_move
from cakewright.app.replan import jobs_of
from cakewright.app.task_chain import named_task, task_names
from cakewright.errors import InputError
from cakewright.model.cell import Chamber, Closure
from cakewright.model.plan import TaskKind
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.validate import validate
from cakewright.stopping import MaxSteps
from cakewright.store import open_store
from tests.app.running import MONDAY, running_week, task

HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def plan():
    return running_week()


@pytest.fixture(scope="module")
def wide():
    """The week on two like machines and three chambers: there is room to move."""
    plan = running_week()
    first = plan.cell.machines[0]
    chambers = (*plan.cell.chambers, Chamber("K9", plan.cell.chambers[0].type, plan.cell.chambers[0].material))
    cell = replace(plan.cell, machines=(first, replace(first, name="M9")), chambers=chambers)
    plan = replace(plan, cell=cell)
    jobs, wishes, _ = jobs_of(plan)
    schedule, promises = plan_schedule(cell, jobs, wishes, start=MONDAY, stop=MaxSteps(60), seed=1)
    return replace(plan, schedule=schedule, promises=promises)


def judged(plan, answer, now=MONDAY):
    """No rule is broken, the moved task being questioned like any other."""
    jobs, wishes, _ = jobs_of(plan)
    facts, _ = begun_tasks(plan, now, ())
    assert validate(plan.cell, jobs, wishes, answer.made.plan.schedule, facts) == ()
    assert answer.moved in answer.made.plan.schedule.tasks
    return answer


def last(plan):
    return max(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start).key


def test_every_task_has_one_name(plan):
    names = task_names(plan)
    assert len(names) == len(plan.schedule.tasks)
    assert all(named_task(plan, name) == t for name, t in names.items())
    with pytest.raises(InputError, match="no task 'B99/load'"):
        named_task(plan, "B99/load")


def test_a_loading_moved_to_the_next_morning_takes_its_build_along(plan):
    """The print follows, the lines of the build are dated anew, and the difference says so in words."""
    key = last(plan)
    load = task(plan, key, TaskKind.LOAD)
    answer = judged(plan, move_in_plan(plan, f"{key}/load", start=load.start + 24 * HOUR, now=MONDAY))
    assert task(answer.made.plan, key, TaskKind.LOAD).start == load.start + 24 * HOUR
    assert task(answer.made.plan, key, TaskKind.PRINT).start == load.end + 24 * HOUR
    assert f"{key} load" in answer.text and "instead of" in answer.text


def test_moving_the_print_moves_its_loading(plan):
    key = last(plan)
    printing = task(plan, key, TaskKind.PRINT)
    answer = judged(plan, move_in_plan(plan, f"{key}/print", start=printing.start + 24 * HOUR, now=MONDAY))
    assert task(answer.made.plan, key, TaskKind.PRINT).start == printing.start + 24 * HOUR


def test_what_is_in_the_way_makes_room(wide):
    """A build put onto the machine and hour of another: the other one is loaded elsewhere or later."""
    a, b = sorted((x.key for x in wide.builds), key=lambda k: task(wide, k, TaskKind.LOAD).start)[:2]
    there = task(wide, a, TaskKind.LOAD)
    answer = judged(wide, move_in_plan(wide, f"{b}/load", start=there.start, machine=there.machine, now=MONDAY))
    other = task(answer.made.plan, a, TaskKind.LOAD)
    assert (other.start, other.machine) != (there.start, there.machine)


def test_another_machine_and_chamber_at_the_same_hour(wide):
    key = last(wide)
    load = task(wide, key, TaskKind.LOAD)
    machine = next(m.name for m in wide.cell.machines if m.name != load.machine)
    answer = judged(wide, move_in_plan(wide, f"{key}/load", machine=machine, chamber="K9", now=MONDAY))
    assert (answer.moved.machine, answer.moved.chamber, answer.moved.start) == (machine, "K9", load.start)
    assert task(answer.made.plan, key, TaskKind.PRINT).machine == machine


@pytest.mark.parametrize("word", ["lift", "unpack", "clean"])
def test_later_work_of_a_build_moves_alone(plan, word):
    """What comes before it in the build stays where it is."""
    key = last(plan)
    old = named_task(plan, f"{key}/{word}")
    answer = judged(plan, move_in_plan(plan, f"{key}/{word}", start=old.start + 24 * HOUR, now=MONDAY))
    assert named_task(answer.made.plan, f"{key}/{word}").start == old.start + 24 * HOUR
    assert task(answer.made.plan, key, TaskKind.LOAD) == task(plan, key, TaskKind.LOAD)


def test_bench_work_moves_and_packing_follows(plan):
    inspect = next(t for t in plan.schedule.tasks if t.kind is TaskKind.INSPECT)
    name = f"L{inspect.lines[0]:02d}/inspect"
    answer = judged(plan, move_in_plan(plan, name, start=inspect.start + 24 * HOUR, now=MONDAY))
    packs = [t for t in answer.made.plan.schedule.tasks if t.kind is TaskKind.PACK and t.lines == inspect.lines]
    assert min(t.start for t in packs) >= inspect.end + 24 * HOUR


def test_a_finish_step_moves_with_its_basket(plan):
    first = next(t for t in plan.schedule.tasks if t.kind is TaskKind.FINISH and t.people)
    answer = judged(plan, move_in_plan(plan, first, start=first.start + 24 * HOUR, now=MONDAY))
    assert answer.moved.start == first.start + 24 * HOUR


def test_at_night_the_answer_is_when_somebody_is_in(plan):
    """Nobody loads at three in the morning; the remedy names the next shift, and that is taken."""
    key = last(plan)
    night = (task(plan, key, TaskKind.LOAD).start + 24 * HOUR).replace(hour=2)
    answer = move_in_plan(plan, f"{key}/load", start=night, now=MONDAY)
    assert not answer.is_possible and answer.refused.startswith("nobody who may load")
    assert answer.soonest > night
    judged(plan, move_in_plan(plan, f"{key}/load", start=answer.soonest, now=MONDAY))


def test_too_hot_is_said_with_the_hour(plan):
    """Unpacking before the cake is cold is refused with the instant from which it may be opened, in cell time."""
    key = last(plan)
    cool = task(plan, key, TaskKind.COOL)
    shift = next(t for t in plan.schedule.tasks if t.kind is TaskKind.UNPACK and t.build != key)
    start = max(cool.start, shift.start)
    answer = move_in_plan(plan, f"{key}/unpack", start=start if start < cool.end else cool.start + HOUR, now=MONDAY)
    assert not answer.is_possible and answer.remedy
    assert "+00:00" not in answer.text


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        ("cool", {"start": MONDAY + 90 * HOUR}, "cannot be moved by itself"),
        ("load", {"machine": "M77"}, "no machine 'M77'"),
        ("load", {"chamber": "K77"}, "does not suit"),
        ("unpack", {"machine": "M9"}, "chosen by the loading"),
        ("unpack", {"station": "no bench"}, "does not unpack"),
        ("load", {"start": MONDAY - HOUR}, "is past"),
    ],
)
def test_what_cannot_be_is_said(wide, name, change, said):
    answer = move_in_plan(wide, f"{last(wide)}/{name}", **change, now=MONDAY)
    assert not answer.is_possible and said in answer.refused and answer.remedy


def test_what_has_begun_stays(plan):
    key = min(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start).key
    now = task(plan, key, TaskKind.LOAD).start + HOUR
    answer = move_in_plan(plan, f"{key}/load", start=now + 24 * HOUR, now=now)
    assert "has begun" in answer.refused


def test_a_machine_that_holds_a_running_build_is_not_taken(plan):
    first, second = sorted((b.key for b in plan.builds), key=lambda k: task(plan, k, TaskKind.LOAD).start)[:2]
    now = task(plan, first, TaskKind.LOAD).end + HOUR
    machine = task(plan, first, TaskKind.LOAD).machine
    answer = move_in_plan(plan, f"{second}/load", start=now + HOUR, machine=machine, now=now)
    assert f"holds {first} until it is lifted out" in answer.refused and answer.soonest > now


def test_a_closed_machine_is_said(plan):
    """Maintenance on the day to which somebody drags the loading: refused, the window is named."""
    key = last(plan)
    load = task(plan, key, TaskKind.LOAD)
    local = (load.start + 24 * HOUR).astimezone(plan.cell.zone).replace(tzinfo=None)
    closed = Closure(load.machine, local.replace(hour=0), local.replace(hour=0) + 24 * HOUR, "yearly service")
    shut = replace(plan, cell=replace(plan.cell, closures=(closed,)))
    answer = move_in_plan(shut, f"{key}/load", start=load.start + 24 * HOUR, now=MONDAY)
    assert not answer.is_possible and "yearly service" in answer.text


def test_without_a_move_nothing_changes(plan):
    """Put where it is: the plan stays as it was."""
    key = last(plan)
    answer = judged(plan, move_in_plan(plan, f"{key}/load", start=task(plan, key, TaskKind.LOAD).start, now=MONDAY))
    assert answer.made.difference.is_nothing
    with pytest.raises(InputError, match="nothing is to be moved"):
        move_in_plan(plan, f"{key}/load", now=MONDAY)


def test_no_hour_of_the_week_gives_a_broken_plan(wide):
    """Whatever hour somebody drops a loading on: a plan that passes the judge, or a reason."""
    key, possible = last(wide), 0
    for hours in range(0, 96, 3):
        answer = move_in_plan(wide, f"{key}/load", start=MONDAY + hours * HOUR, now=MONDAY, stop=lambda: MaxSteps(3))
        if answer.is_possible:
            judged(wide, answer)
            possible += 1
        else:
            assert answer.refused and answer.remedy
    assert 3 <= possible < 32


def test_nothing_is_kept_until_it_is_accepted(plan, tmp_path):
    """Asking keeps nothing; accepting makes a new version; a second acceptance of the old one is refused."""
    with open_store(tmp_path / "x.sqlite") as store:
        store.save_plan(plan, made_by="bench", at=MONDAY)
        key = last(plan)
        start = task(plan, key, TaskKind.LOAD).start + 24 * HOUR
        answer = propose_move(store, None, f"{key}/load", start=start, now=MONDAY)
        assert [p.version for p in store.plans()] == [1]
        assert accept_move(store, answer, by="Mira", at=MONDAY) == 2
        kept = store.load_plan(2)
        assert task(kept, key, TaskKind.LOAD).start == start
        assert any("planned again from plan 1" in note for note in kept.schedule.notes)
        with pytest.raises(InputError, match="plan 2 has been kept since"):
            accept_move(store, answer, by="Mira", at=MONDAY)
        night = propose_move(store, 2, f"{key}/load", start=start.replace(hour=2), now=MONDAY)
        with pytest.raises(InputError, match="nobody who may load"):
            accept_move(store, night, by="Mira", at=MONDAY)


def test_the_shift_of_the_cell_is_the_one_that_counts(plan):
    """With a night shift the same hour is possible."""
    key = last(plan)
    night = (task(plan, key, TaskKind.LOAD).start + 24 * HOUR).replace(hour=2)
    people = tuple(
        replace(p, shifts=(*p.shifts, replace(p.shifts[0], start=time(22), end=time(6), breaks=())))
        for p in plan.cell.people
    )
    awake = replace(plan, cell=replace(plan.cell, people=people))
    judged(awake, move_in_plan(awake, f"{key}/load", start=night, now=MONDAY))
