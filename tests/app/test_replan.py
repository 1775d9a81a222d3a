"""Planning again: facts stay, people are not sent elsewhere without need, and the difference says what moves."""

from dataclasses import replace
from datetime import timedelta

import pytest

from cakewright.app.begun_tasks import begun_tasks
from cakewright.app.replan import accept, replan, replan_stored
from cakewright.model.plan import TaskKind
from cakewright.store import open_store
from cakewright.store.schedule import Progress
from tests.app.running import MONDAY, running_week, task

HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def plan():
    return running_week()


def word(kind, build="", line=None, started=None, ended=None):
    return Progress(1, 1, kind, build, line, started, ended, MONDAY + 400 * HOUR, "Mira")


def first(plan):
    """The build that is loaded first."""
    return min(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start).key


@pytest.mark.parametrize("hours", [1, 10, 20, 30, 50, 70])
def test_when_all_goes_as_planned_nothing_changes(plan, hours):
    """Whenever somebody plans again without news, every task stays where it was."""
    again = replan(plan, MONDAY + hours * HOUR)
    assert again.difference.is_nothing
    assert again.difference.headline.startswith("Nothing changes")
    assert {t for t in plan.schedule.tasks if t.people} == {t for t in again.plan.schedule.tasks if t.people}


def test_a_print_that_ends_late_pushes_what_follows(plan):
    """Noted as ended five hours later: the fact is in the plan, nothing of it is lifted out before, and it is said."""
    key = first(plan)
    printed = task(plan, key, TaskKind.PRINT)
    late = printed.end + 5 * HOUR
    again = replan(plan, late + HOUR, progress=[word(TaskKind.PRINT, key, ended=late)])
    assert task(again.plan, key, TaskKind.PRINT).end == late
    assert task(again.plan, key, TaskKind.UNLOAD).start >= late
    assert again.noted == 1 and again.plan.schedule.validated


def test_what_was_not_begun_takes_its_followers_along(plan):
    """Nobody loaded the build: neither its print nor anything after it is a fact."""
    key = first(plan)
    now = task(plan, key, TaskKind.UNPACK).end + HOUR
    facts, _ = begun_tasks(plan, now, [word(TaskKind.LOAD, key)])
    assert key not in {t.build for t in facts}
    again = replan(plan, now, progress=[word(TaskKind.LOAD, key)])
    assert task(again.plan, key, TaskKind.LOAD).start >= now
    assert any(key in move.text for move in again.difference.tasks)
    assert any(f"L{n:02d}" in again.difference.text for n in plan.build(key).lines)


def test_a_machine_out_of_use_moves_its_builds_only_as_far_as_needed(plan):
    """The machine is down for a day before the second load: that build is loaded after the window."""
    second = max(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start).key
    load = task(plan, second, TaskKind.LOAD)
    window = (load.start - HOUR, load.start + 20 * HOUR)
    again = replan(plan, load.start - HOUR, unavailable={load.machine: [window]})
    assert task(again.plan, second, TaskKind.LOAD).start >= window[1]
    assert not any(move.build != second for move in again.difference.tasks if move.kind is TaskKind.LOAD)


def test_a_commitment_keeps_the_next_day(plan):
    """Tasks that begin within the committed hours are exactly where they were."""
    now = MONDAY + 26 * HOUR
    again = replan(plan, now, committed_until=now + 24 * HOUR)
    soon = {t for t in plan.schedule.tasks if t.people and now <= t.start < now + 24 * HOUR}
    assert soon and soon <= set(again.plan.schedule.tasks)
    assert again.given_up == ""


def test_the_same_question_gets_the_same_answer(plan):
    """Counted steps: two people who plan again at the same moment see the same week."""
    key = first(plan)
    late = task(plan, key, TaskKind.PRINT).end + 5 * HOUR
    one, two = (replan(plan, late, progress=[word(TaskKind.PRINT, key, ended=late)]) for _ in range(2))
    assert one.plan.schedule.tasks == two.plan.schedule.tasks


def test_an_accepted_plan_is_a_new_version(plan, new_database):
    """Nothing is stored before; then the new version has simulated dates and the old one is untouched."""
    with open_store(new_database) as store:
        version = store.save_plan(plan, made_by="Mira", at=MONDAY)
        store.schedule.commit(plan=version, until=MONDAY + 24 * HOUR, at=MONDAY, by="Mira")
        made = replan_stored(store, MONDAY + 20 * HOUR)
        assert store.newest() == version
        new = accept(store, made, by="Dev", at=MONDAY + 20 * HOUR)
        assert new == version + 1
        assert store.load_plan(version).schedule == plan.schedule
        kept = store.load_plan(new)
        assert all(p.p90 for p in kept.promises if p.ready)
        assert "planned again from plan" in " ".join(kept.schedule.notes)


def test_dates_that_move_are_said_in_words(plan):
    """Line, both instants, by how much, and that it becomes late."""
    from cakewright.schedule.difference import difference

    old = plan.promises[0]
    moved = replace(old, ready=old.due_by + 5 * HOUR)
    before = replace(old, ready=old.due_by - HOUR)
    said = difference(plan.schedule, plan.schedule, [before], [moved], plan.cell.zone)
    assert said.lines[0].text.endswith("6 h later; it becomes LATE")
    assert said.lines[0].text.startswith(f"L{old.line:02d} is ready ")
    assert "1 line is later, none earlier, 1 becomes late" in said.headline
