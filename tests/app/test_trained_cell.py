"""What is entered on the page Training narrows whom the next plan gives a task."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from cakewright.app.authority import grant, take_back
from cakewright.app.learnt_cell import as_recorded
from cakewright.app.move_task import propose_move
from cakewright.app.replan import replan_stored
from cakewright.app.trained_cell import with_training
from cakewright.model.plan import TaskKind
from cakewright.stopping import MaxSteps
from cakewright.store import open_store
from tests.app.running import MONDAY, running_week

TUESDAY = date(2027, 3, 2)


@pytest.fixture
def plan():
    return replace(running_week(), version=1)


@pytest.fixture
def store(tmp_path, plan):
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(plan, made_by="Mira", at=MONDAY)
        yield store


def trained(store, plan, person, step, until=""):
    grant(store, plan, person=person, step=step, until=until, note="", by="Ada", at=MONDAY)


def until_of(cell, name):
    return dict(next(p for p in cell.people if p.name == name).until)


def test_nothing_entered_changes_nothing(store, plan):
    """A new cell plans with the skills of its file."""
    assert with_training(plan.cell, store) == plan.cell


def test_training_narrows_and_is_taken_up_again(store, plan):
    """Until its day; not entered or taken back: never; renewed: without an end again. Done twice it is the same."""
    trained(store, plan, "dev", "start", TUESDAY.isoformat())
    trained(store, plan, "Mira", "unpack")
    cell = as_recorded(plan.cell, store)
    assert until_of(cell, "Dev")["start"] == TUESDAY
    assert until_of(cell, "Mira")["start"] == date.min  # nobody entered her for it
    assert "unpack" not in until_of(cell, "Mira") and "inspect" not in until_of(cell, "Mira")
    assert with_training(cell, store) == cell
    take_back(store, plan, person="Mira", step="unpack", why="", by="Ada", at=MONDAY)
    assert until_of(with_training(cell, store), "Mira")["unpack"] == date.min
    trained(store, plan, "Mira", "unpack")
    assert "unpack" not in until_of(with_training(cell, store), "Mira")


def test_planning_again_takes_the_training_of_now(store, plan):
    """Only Mira is entered to start, with no end: the rest of the week is loaded by her."""
    before = {t.people for t in plan.schedule.tasks if t.kind in (TaskKind.LOAD, TaskKind.UNLOAD)}
    assert ("Dev",) in before
    trained(store, plan, "Mira", "start")
    made = replan_stored(store, MONDAY - timedelta(hours=1), stop=lambda: MaxSteps(20))
    after = {t.people for t in made.plan.schedule.tasks if t.kind in (TaskKind.LOAD, TaskKind.UNLOAD)}
    assert after == {("Mira",)}


def test_a_task_moved_to_where_nobody_is_trained_is_refused_with_who(store, plan):
    """On Thursday the training of both has ended: the answer says whose and when."""
    for person in ("Mira", "Dev"):
        trained(store, plan, person, "start", TUESDAY.isoformat())
    last = max(plan.builds, key=lambda b: next(t.start for t in plan.schedule.of_build(b.key)))
    answer = propose_move(store, 1, f"{last.key}/load", start=MONDAY + timedelta(days=3, hours=2), now=MONDAY,
                          stop=lambda: MaxSteps(20))  # fmt: skip
    assert not answer.is_possible
    assert "the training of Mira ends on 2027-03-02" in answer.text
