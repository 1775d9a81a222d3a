"""Databases of every older version of the schema, kept as text with rows in them, open and lose nothing."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from cakewright.store import PieceState, open_store, schema
from cakewright.store.backup import check_file
from cakewright.store.engine import reading
from tests.store.filled import BLEND, DRUM, NOON, tiny_week
from tests.store.old_databases import FOLDER, OLDER, kept, revive
from tests.store.same import difference

COUNTED_AGAIN = {"alembic_version", "sqlite_sequence"}  # what an upgrade is there to change


def rows_of(path):
    """Every row of every table as (column, value) pairs."""
    with closing(sqlite3.connect(path)) as link:
        link.row_factory = sqlite3.Row
        names = [row[0] for row in link.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {
            name: [dict(row) for row in link.execute(f'SELECT * FROM "{name}"')] for name in names
            if name not in COUNTED_AGAIN
        }  # fmt: skip


def test_every_older_version_is_kept():
    """A new step of the schema leaves the version before it as a file; nothing else lies there."""
    missing = [revision for revision in OLDER if not kept(revision).exists()]
    assert not missing, f"write {missing} with: PYTHONPATH=. python -m tests.store.old_databases"
    assert {path.stem for path in FOLDER.glob("*.sql")} >= set(OLDER)


@pytest.mark.parametrize("revision", OLDER)
def test_an_old_database_opens_and_loses_nothing(tmp_path, revision):
    """Every row is there, unchanged in every column still kept; plan, books, quotes and people are understood."""
    path = tmp_path / "old.sqlite"
    revive(revision, path)
    before = rows_of(path)
    with open_store(path) as store:
        assert [p.version for p in store.plans()] == [1]
        after = rows_of(path)
        understood(store, after)
        with reading(store._engine) as link:
            assert compare_metadata(MigrationContext.configure(link), schema.metadata) == []
    assert check_file(path) == 1
    for table, rows in before.items():
        assert rows, f"the kept {revision} has no row in {table}, so nothing is learnt about it"
        there = [{column: row.get(column) for column in rows[0]} for row in after[table]]
        assert there == rows, table


def understood(store, rows):
    """The plan with its pieces and dates, the books, quotes and people, as far as the version knew them."""
    plan, wanted = store.load_plan(1), tiny_week()
    assert plan.builds[0].nest.placements[0].piece == wanted.builds[0].nest.placements[0].piece
    for field in ("orders", "promises", "costs", "start", "part_of_line"):
        was = replace(plan.orders, findings=()) if field == "orders" else getattr(plan, field)
        assert difference(getattr(wanted, field), was) is None
    for key, part in wanted.parts.items():
        assert difference(part.mesh, plan.parts[key].mesh) is None
    ledger = store.powder.read().ledger
    assert ledger.grams() == {row["container"]: row["grams"] for row in rows["powder_level"]}
    if ledger.entries:
        assert (ledger.kg(DRUM), ledger.kg(BLEND)) == (487.5, 12.5)
    assert len(store.offers()) == len(rows["offer"])
    assert store.accounts.verify_changes()[0] == len(rows["audit"])
    store.record_piece(plan=1, build="B1", piece="L01-02", state=PieceState.FOUND, by="Mira", at=NOON)


def test_the_newest_kept_version_has_rows_in_every_table():
    """So that an upgrade of any table is tried with something in it."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as link:
        link.executescript(kept(OLDER[-1]).read_text(encoding="utf-8"))
        names = [row[0] for row in link.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        empty = [name for name in names if not link.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]]
    assert empty == []
