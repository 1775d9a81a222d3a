"""The log of the floor keeps at hand what it has read, and still sees what another program writes."""

from datetime import timedelta

import pytest
from sqlalchemy import event

from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.store import open_store
from tests.documents.world import START, week


@pytest.fixture
def path(tmp_path):
    """A database with one plan."""
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(week(), made_by="Mira", at=START)
    return tmp_path / "cell.sqlite"


def said(number, minutes, kind=FloorKind.NOTE):
    """A record of its own at so many minutes."""
    return FloorRecord(f"record-{number}", 1, kind, "Mira", START + timedelta(minutes=minutes), build="B1")


def test_records_are_read_once(path):
    """The second reading asks for the newest number and nothing else; a new record is read alone."""
    with open_store(path) as store:
        store.floor.add([said(1, 10), said(2, 5)], kept_at=START)
        assert [r.uid for r in store.floor.records(plan=1)] == ["record-2", "record-1"]
        rows = []
        event.listen(store._engine, "before_cursor_execute", lambda *given: rows.append(given[2]))
        assert len(store.floor.records(plan=1)) == 2
        assert len([q for q in rows if "floor_record" in q]) == 1
        store.floor.add([said(3, 7)], kept_at=START)
        assert [r.uid for r in store.floor.records(plan=1)] == ["record-2", "record-3", "record-1"]


def test_what_another_program_writes_is_seen(path):
    """Two open stores on one file: each sees the other's records, of every question asked before."""
    with open_store(path) as one, open_store(path) as other:
        assert one.floor.records() == one.floor.records(kind=FloorKind.NOTE) == one.floor.records(build="B2") == ()
        other.floor.add([said(1, 1)], kept_at=START)
        assert len(one.floor.records()) == len(one.floor.records(kind=FloorKind.NOTE)) == 1
        assert one.floor.records(build="B2") == ()
        one.floor.add([said(2, 2)], kept_at=START)
        assert [r.uid for r in other.floor.records(plan=1, build="B1")] == ["record-1", "record-2"]


def test_a_still_look_asks_once_and_sees_what_it_adds(path):
    """Questions repeated within one look are not asked again; a record added in between is seen all the same."""
    with open_store(path) as store:
        store.floor.add([said(1, 1)], kept_at=START)
        asked = []
        event.listen(store._engine, "before_cursor_execute", lambda *given: asked.append(given[2]))
        with store.floor.still():
            first = store.floor.records(plan=1)
            once = len(asked)
            assert store.floor.records(plan=1) == first
            assert len(asked) == once
            kept = store.floor.add([said(2, 2)], kept_at=START)
            assert store.floor.records(plan=1) == (*first, *kept)
        once = len(asked)
        store.floor.records(plan=1)
        assert len(asked) > once
