"""The morning page goes by what was noted: a late print cools later, one that was never begun does not run."""

import re
from datetime import timedelta

import pytest

from cakewright.app.noted_plan import as_noted
from cakewright.app.plans import morning
from cakewright.model.plan import TaskKind
from cakewright.store import open_store
from tests.web.conftest import TUESDAY, client_over, warm_week


@pytest.fixture
def store(tmp_path):
    """The invented week, nothing noted yet."""
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(warm_week(), made_by="Mira", at=TUESDAY)
        yield store


def print_of(plan, key="B1"):
    return next(t for t in plan.schedule.of_build(key) if t.kind is TaskKind.PRINT)


def note(store, at, **said):
    store.schedule.note_progress(plan=1, kind=TaskKind.PRINT, build="B1", at=at, by="Jon", **said)


def test_a_print_that_ended_three_hours_late_cools_three_hours_longer(store):
    """At 06:40 the cake that would be open by plan is still closed, on the page and in the interface."""
    client = client_over(store)
    planned = client.get("/api/v1/plans/1/morning").json()["cakes"][0]
    assert re.search(r"B1</a> in K1.*?may be opened", client.get("/").text, re.S)
    run = print_of(store.load_plan(1))
    note(store, TUESDAY - timedelta(minutes=5), started=run.start, ended=run.end + timedelta(hours=3))
    seen = client.get("/api/v1/plans/1/morning").json()["cakes"][0]
    assert seen["opening"] != planned["opening"]
    assert not re.search(r"B1</a> in K1.{0,400}?may be opened", client.get("/").text, re.S)


def test_a_word_said_later_does_not_change_an_earlier_moment(store):
    """Looked at as of before the note, the page is as it was then."""
    plan = store.load_plan(1)
    run = print_of(plan)
    note(store, TUESDAY, started=run.start + timedelta(hours=1))
    noted = store.schedule.progress_of(1)
    assert as_noted(plan, noted, TUESDAY - timedelta(hours=1)) is plan
    moved = print_of(as_noted(plan, noted, TUESDAY))
    assert (moved.start - run.start, moved.end - run.end) == (timedelta(hours=1), timedelta(hours=1))


def test_a_print_that_was_never_begun_does_not_run(store):
    """Noted as not begun it is expected from now on, and nothing lies in its chamber."""
    plan = store.load_plan(1)
    at = print_of(plan).start + timedelta(hours=2)
    note(store, at)
    seen = morning(as_noted(plan, store.schedule.progress_of(1), at), at)
    assert [e.start for e in seen.ends if e.build == "B1"] == [at]
    assert seen.cakes == ()
