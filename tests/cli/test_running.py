"""The commands of a running week, on a small scheduled week in a file."""

from datetime import timedelta

import pytest
from typer.testing import CliRunner

from cakewright.cli.main import cli
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind
from cakewright.store import open_store
from tests.app.running import MONDAY, running_week, task


@pytest.fixture(scope="module")
def plan():
    return running_week()


@pytest.fixture
def db(tmp_path, plan):
    path = tmp_path / "cell.sqlite"
    with open_store(path) as store:
        store.save_plan(plan, made_by="Mira", at=MONDAY)
    return path


def run(db, *arguments, at="2027-03-01T10:00"):
    done = CliRunner().invoke(cli, [*arguments, "--db", str(db), "--at", at], catch_exceptions=True)
    if isinstance(done.exception, InputError):
        raise done.exception
    return done


def test_a_day_with_the_commands(db, plan):
    """Commit, note that nobody loaded the second build, see what moves, keep it: plan 2 is there."""
    assert "promises count" in run(db, "commit", "--by", "Mira").output
    second = max(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start).key
    noon = "2027-03-02T12:00"
    assert "Noted" in run(db, "note", "load", "--build", second, "--not-begun", "--by", "Mira", at=noon).output
    shown = run(db, "replan", at=noon).output
    assert f"{second} load and check" in shown and "Nothing is kept yet" in shown
    assert "Kept as plan 2" in run(db, "replan", "--accept", "--by", "Mira", at=noon).output
    with open_store(db) as store:
        assert store.newest() == 2


def test_a_stop_is_shown_and_changes_nothing(db, plan):
    """The ways out are listed with money and dates; the database has one plan afterwards."""
    first = min(plan.builds, key=lambda b: task(plan, b.key, TaskKind.LOAD).start)
    half = str(first.profile.layers // 2)
    shown = run(db, "stop", first.key, "--layer", half, "--cause", "power").output
    assert "Ways out, the best first" in shown and "[again-now]" in shown and "Quarantine:" in shown
    with open_store(db) as store:
        assert store.newest() == 1 and store.schedule.stops() == ()


def test_what_if_prints_a_table(db):
    """Now and then beside each other, and who is later."""
    shown = run(db, "whatif", "--rush-hours", "20", "--rush-pieces", "3").output
    assert "weighted lateness" in shown and "the urgent one is packed" in shown and "Nothing is kept" in shown


def test_promises_kept_are_counted(db):
    """Without a record nothing is claimed."""
    assert "no promise of this kind has come due yet" in run(db, "kept").output


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("stop", "B1", "--layer", "3", "--cause", "ghosts"), "no known cause"),
        (("note", "dance", "--build", "B1", "--not-begun", "--by", "Mira"), "no kind of task"),
        (("replan", "--down", "A1"), "no window"),
    ],
)
def test_words_that_are_not_known_are_refused(db, arguments, said):
    """With the words that are."""
    with pytest.raises(InputError, match=said):
        run(db, *arguments)


def test_a_decision_needs_a_name(db):
    """Nothing is kept for nobody."""
    done = run(db, "replan", "--accept")
    assert done.exit_code == 2 and "--by NAME" in done.output


def test_the_question_must_be_a_question(db):
    """What if nothing?"""
    assert run(db, "whatif").exit_code == 2
    noon = (MONDAY + timedelta(hours=5)).isoformat()
    assert run(db, "note", "load", "--build", "B1", "--by", "Mira", at=noon[:16]).exit_code == 2
    began = ("note", "print", "--build", "B1", "--started", noon[:16], "--by", "Mira")
    with pytest.raises(InputError, match="not scanned or typed"):
        run(db, *began, at=noon[:16])
    assert "Noted" in run(db, *began, "--without", "no reader", at=noon[:16]).output
