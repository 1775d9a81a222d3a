"""Two servers over one database: each sees what the other adds, stops what the other runs, and leaves it alone."""

from __future__ import annotations

import pytest

from cakewright.app.jobs import JobDesk
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.store import JobState, open_store
from cakewright.web import watch
from tests.documents.world import week
from tests.web.conftest import TUESDAY, client_over


@pytest.fixture
def two(new_database):
    """Two programs over the same database, which holds a plan."""
    with open_store(new_database) as one, open_store(new_database) as other:
        one.save_plan(week(), made_by="Mira", at=TUESDAY)
        yield one, other


def test_a_page_hears_what_another_server_was_told(two, monkeypatch):
    """A note on one is seen in the marks that pages of the other ask for; nothing else moves."""
    monkeypatch.setattr(watch, "FRESH_S", -1.0)
    one, other = two
    page = client_over(other)
    before = page.get("/marks").json()
    note = FloorRecord(uid="note-0001", plan=1, kind=FloorKind.NOTE, by="Jon", at=TUESDAY, build="B1")
    one.floor.add([note], kept_at=TUESDAY)
    after = page.get("/marks").json()
    assert {part for part in before if before[part] != after[part]} == {"floor"}
    one.save_plan(week(), made_by="Mira", at=TUESDAY)
    assert page.get("/marks").json()["plans"] == 2
    assert 'id="news"' in page.get("/").text


def test_many_pages_ask_and_the_database_is_asked_once(two):
    """A hundred open pages do not become a hundred queries a second."""
    one, _ = two
    asked = []

    class Counted:
        def marks(self):
            asked.append(1)
            return one.marks()

    watcher = watch.Watch(Counted())
    assert len({watcher.marks() for _ in range(100)}) == 1
    assert len(asked) <= 2


def test_a_server_that_starts_leaves_the_work_of_another_alone(server, tmp_path, monkeypatch):
    """On a server database a job in hand elsewhere goes on; when its program dies it is called interrupted."""
    monkeypatch.setenv("CAKEWRIGHT_FILES", str(tmp_path))
    address = server.new_database()
    with open_store(address) as one, open_store(address) as other:
        number = one.add_job(kind="plan a week", by="Mira", folder="tray", at=TUESDAY)
        held = one.hold_job(number)
        desk = JobDesk(other, lambda: TUESDAY)
        half = tmp_path / ".plan-being-written-abc"
        half.mkdir()
        assert desk.recover() == 0
        assert other.job(number).state is JobState.WAITING and half.exists()
        assert desk.cancel(number).state is JobState.CANCELLED
        second = one.add_job(kind="plan a week", by="Mira", folder="tray", at=TUESDAY)
        hold = one.hold_job(second)
        hold.__exit__(None, None, None)  # its program ended
        held.__exit__(None, None, None)
        assert desk.recover() == 1
        assert other.job(second).state is JobState.INTERRUPTED and not half.exists()
