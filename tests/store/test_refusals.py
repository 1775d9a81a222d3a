"""What the store says when it cannot do what was asked."""

import os
import shutil
import sqlite3
import tempfile
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import text

from cakewright.errors import StoreError
from cakewright.store import open_store, schema
from cakewright.store.engine import reading, store_url, translated
from tests.documents.world import week
from tests.store.conftest import NOON


def test_a_file_that_is_no_database_stays_as_it_is(tmp_path):
    """Pointing at the order list by mistake changes nothing in it."""
    file = tmp_path / "orders.csv"
    file.write_text("line,part\n1,knob\n" * 100)
    with pytest.raises(StoreError, match="not a database"):
        open_store(file)
    assert file.read_text() == "line,part\n1,knob\n" * 100


def test_a_database_of_another_program_is_refused(tmp_path):
    """We do not put our tables into a stranger's file."""
    file = tmp_path / "music.sqlite"
    with sqlite3.connect(file) as link:
        link.execute("CREATE TABLE songs (title TEXT)")
    link.close()
    with pytest.raises(StoreError, match="another program"):
        open_store(file)


def test_a_newer_schema_is_refused(file_store):
    """A database from a newer program is not touched by this one."""
    with sqlite3.connect(file_store.path) as link:
        link.execute("UPDATE alembic_version SET version_num = '9999_from_the_future'")
    link.close()
    with pytest.raises(StoreError, match="9999_from_the_future, made by a newer"):
        open_store(file_store.path)


def test_missing_folder_and_folder_as_file(tmp_path):
    """A wrong path is named with what to do."""
    with pytest.raises(StoreError, match="make the folder first"):
        open_store(tmp_path / "nowhere" / "cell.sqlite")
    with pytest.raises(StoreError, match="this is a folder"):
        open_store(tmp_path)
    with pytest.raises(StoreError, match="no file is named"):
        open_store("sqlite://")


def test_other_databases_are_refused_plainly():
    """A server address is not quietly taken for a file name."""
    with pytest.raises(StoreError, match="'mysql' are not supported"):
        open_store("mysql://cell@host/plans")
    with pytest.raises(StoreError, match="no database address"):
        open_store("://")


@pytest.fixture
def locked_folder():
    """A folder in which this process may not write, also when root runs the tests."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o555)
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    yield folder
    if root:
        os.seteuid(0)
    folder.chmod(0o700)
    shutil.rmtree(folder)


def test_a_read_only_folder(locked_folder):
    """Opening in a folder without write rights says so."""
    with pytest.raises(StoreError, match="you may write there"):
        open_store(locked_folder / "cell.sqlite")


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("attempt to write a readonly database", "read-only"),
        ("database or disk is full", "disk is full; nothing of this was saved"),
        ("unable to open database file", "cannot be opened"),
        ("database disk image is malformed", "damaged"),
        ("disk I/O error", "refused to read or write"),
        ("database is locked", "another program is writing"),
        ("some new sentence", "some new sentence"),
    ],
)
def test_what_the_database_says_in_our_words(said, found):
    """Each trouble of the disk is told with a remedy."""
    with pytest.raises(StoreError, match=found) as caught, translated(store_url("cell.sqlite")):
        raise sqlite3.OperationalError(said)
    assert caught.value.remedy


def test_a_full_disk_saves_nothing(file_store):
    """When there is no room the plan is not there at all, and what was there before is."""
    file_store.save_plan(week(), made_by="Mira", at=NOON)
    engine = file_store._engine
    with engine.connect() as link:  # a page limit on every connection stands in for the disk
        pages = link.scalar(text("PRAGMA page_count"))
    engine.dispose()
    from sqlalchemy import event

    event.listen(engine, "connect", lambda raw, _: raw.execute(f"PRAGMA max_page_count={pages + 2}"))
    with pytest.raises(StoreError, match="disk is full"):
        file_store.save_plan(replace(week(), seed=2), made_by="Mira", at=NOON)
    assert [p.version for p in file_store.plans()] == [1]


def test_a_missing_version_and_an_empty_store(store):
    """Asking for what is not there is answered, not guessed."""
    with pytest.raises(StoreError, match="no plan in the database yet"):
        store.load_plan()
    with pytest.raises(StoreError, match="no plan version 4"):
        store.load_plan(4)


def test_a_plan_that_does_not_hold_together_is_refused_whole(store):
    """A build with pieces of a part nobody knows leaves no trace."""
    plan = week()
    with pytest.raises(StoreError, match="does not hold together"):
        store.save_plan(replace(plan, parts={}, part_of_line={}), made_by="Mira", at=NOON)
    with pytest.raises(StoreError, match="line 77, which is not in the order list"):
        store.save_plan(replace(plan, part_of_line={77: "ball"}), made_by="Mira", at=NOON)
    with pytest.raises(StoreError, match="no time zone"):
        store.save_plan(plan, made_by="Mira", at=datetime(2027, 3, 1))
    assert store.plans() == ()


def test_damaged_numbers_are_noticed(file_store):
    """One changed byte in a stored geometry is found when it is read."""
    file_store.save_plan(week(), made_by="Mira", at=NOON)
    with sqlite3.connect(file_store.path) as link:
        link.execute("UPDATE mesh SET vertices = faces")
    link.close()
    with pytest.raises(StoreError, match="restore a backup"):
        file_store.load_plan()


def test_the_migrations_make_exactly_the_tables_of_the_schema(store):
    """What the program believes and what the files do are the same."""
    with reading(store._engine) as link:
        assert compare_metadata(MigrationContext.configure(link), schema.metadata) == []


def test_opening_again_changes_nothing(file_store, tmp_path):
    """A second opening finds the work done, and a copied file opens too."""
    file_store.save_plan(week(), made_by="Mira", at=NOON)
    file_store.close()
    shutil.copy(file_store.path, tmp_path / "copy.sqlite")
    with open_store(tmp_path / "copy.sqlite") as copy:
        assert [p.version for p in copy.plans()] == [1]
