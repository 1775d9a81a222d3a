"""Records of the bench, jobs and backups."""

import sqlite3
from datetime import timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from cakewright.errors import InputError, StoreError
from cakewright.store import JobState, PieceState, last_words, open_store
from cakewright.store.backup import check_file
from tests.documents.world import week
from tests.store.conftest import NOON, behind


@pytest.fixture
def planned(store):
    """A store with one plan."""
    store.save_plan(week(), made_by="Mira", at=NOON)
    return store


@pytest.fixture
def planned_file(file_store):
    """A file with one plan."""
    file_store.save_plan(week(), made_by="Mira", at=NOON)
    return file_store


def say(store, piece, state, by="Mira", minutes=0):
    return store.record_piece(plan=1, build="B1", piece=piece, state=state, by=by, at=NOON + timedelta(minutes=minutes))


def test_the_last_word_counts_and_the_first_is_kept(planned):
    """A piece called missing and found later is found; both words stay."""
    say(planned, "L01-01", PieceState.MISSING)
    say(planned, "L01-01", PieceState.FOUND, by="Dev", minutes=5)
    say(planned, "L02-01", PieceState.BROKEN)
    say(planned, "L02-01", PieceState.OPEN)
    records = planned.piece_records(1, "B1")
    assert [r.state for r in records] == ["missing", "found", "broken", "open"]
    assert {p: (r.state, r.by) for p, r in last_words(records).items()} == {"L01-01": ("found", "Dev")}


def test_records_cannot_be_changed_or_taken_away(planned):
    """Not even by somebody who opens the file with another tool."""
    say(planned, "L01-01", PieceState.BROKEN)
    for deed in ("UPDATE piece_record SET state = 'found'", "DELETE FROM piece_record"):
        with behind(planned) as link, pytest.raises(IntegrityError, match="written once"):
            link.execute(text(deed))


def test_a_record_needs_a_name_and_a_piece_that_exists(planned):
    """Nobody, and pieces of another build, are refused."""
    with pytest.raises(InputError, match="say who you are"):
        say(planned, "L01-01", PieceState.FOUND, by=" ")
    with pytest.raises(InputError, match="no piece L04-01 in build B1"):
        say(planned, "L04-01", PieceState.FOUND)
    with pytest.raises(InputError, match="note"):
        planned.record_piece(
            plan=1, build="B1", piece="L01-01", state=PieceState.FOUND, by="Mira", at=NOON, note="x" * 501
        )
    assert planned.piece_records(1, "B1") == ()


def test_a_job_that_ended_stays_as_it_ended(planned):
    """Progress that arrives late does not wake a cancelled job; a restart marks the unfinished ones."""
    one = planned.add_job(kind="plan", by="Mira", folder="in/1", at=NOON)
    two = planned.add_job(kind="plan", by="Mira", folder="in/2", at=NOON)
    planned.change_job(one, state=JobState.CANCELLED.value, ended_at=NOON)
    planned.change_job(one, state=JobState.RUNNING.value, done=5)
    planned.change_job(two, state=JobState.RUNNING.value, stage="nesting", done=1, total=4)
    assert (planned.job(one).state, planned.job(one).done) == (JobState.CANCELLED, 0)
    assert planned.interrupt_jobs(NOON) == 1
    assert planned.job(two).state is JobState.INTERRUPTED
    assert planned.job(two).remedy
    assert [j.number for j in planned.jobs()] == [two, one]
    with pytest.raises(StoreError, match="no job 9"):
        planned.job(9)


def test_a_backup_made_during_work_is_whole(planned_file, tmp_path):
    """The copy opens, holds the plan, and is checked; the same name is not overwritten."""
    target = tmp_path / "copy.sqlite"
    made = planned_file.backup(target)
    assert (made.plans, made.size_bytes) == (1, target.stat().st_size)
    planned_file.save_plan(week(), made_by="Mira", at=NOON)
    with open_store(target) as copy:
        assert [p.version for p in copy.plans()] == [1]
    with pytest.raises(StoreError, match="another name"):
        planned_file.backup(target)
    with pytest.raises(StoreError, match="make the folder first"):
        planned_file.backup(tmp_path / "nowhere" / "copy.sqlite")
    assert planned_file.check() == 2
    assert sorted(p.name for p in tmp_path.iterdir() if "part" in p.name) == []


def test_a_damaged_database_is_found_by_the_check(planned_file, tmp_path):
    """A page of rubbish in the middle, or a row that points to nothing, does not pass."""
    copy = tmp_path / "copy.sqlite"
    planned_file.backup(copy)
    data = bytearray(copy.read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = b"\x5a" * 4096
    copy.write_bytes(data)
    with pytest.raises(StoreError, match=r"damaged|read"):
        check_file(copy)
    link = sqlite3.connect(planned_file.path)
    link.execute("DELETE FROM part WHERE key = 'ball'")
    link.commit()
    link.close()
    with pytest.raises(StoreError, match="point to nothing"):
        planned_file.check()
