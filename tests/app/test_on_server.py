"""The whole tool over a database on a server: planned, kept safe, moved there from a file."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import text

from cakewright.app.keep_safe import back_up_to, look_after, move_to_server, restore
from cakewright.app.powder_deeds import receive_lot
from cakewright.app.write_plan import write_plan
from cakewright.errors import StoreError
from cakewright.model.offer import OfferState
from cakewright.store import PieceState, open_store
from tests.documents.world import START, week
from tests.store.conftest import behind
from tests.store.same import difference
from tests.web.conftest import offer

NOON = datetime(2027, 3, 1, 12, tzinfo=UTC)


def fill(store):
    """A plan, a delivery, a word about a piece, a quote with two steps, an account's change."""
    store.save_plan(week(), made_by="Mira", at=NOON)
    receive_lot(store, material="PA12", supplier_lot="V-1", drums_kg=[10, 12.5], certificate="c", at=NOON, by="Mira")
    store.record_piece(plan=1, build="B1", piece="L01-01", state=PieceState.FOUND, by="Mira", at=NOON)
    store.save_offer(offer(), at=NOON, by="Mira")
    store.step_offer(1, OfferState.ACCEPTED, at=NOON, by="Mira")
    store.accounts.note_change(account_name="Mira", deed="POST /x", outcome=200, at=NOON)


def test_a_file_is_moved_to_a_server_whole(tmp_path, server):
    """Plans, powder to the gram, records, quotes, the sealed record; numbers run on, and nothing goes over it."""
    with open_store(tmp_path / "cell.sqlite") as old:
        fill(old)
    address = server.new_database()
    assert move_to_server(tmp_path / "cell.sqlite", address) == 1
    with open_store(tmp_path / "cell.sqlite") as old, open_store(address) as new:
        assert difference(old.load_plan(1), new.load_plan(1)) is None
        assert old.powder.levels() == new.powder.levels()
        assert old.offers() == new.offers()
        assert old.accounts.verify_changes() == new.accounts.verify_changes()
        assert new.save_plan(week(), made_by="Dev", at=NOON) == 2
        assert new.record_piece(plan=1, build="B1", piece="L01-02", state=PieceState.FOUND, by="Dev", at=NOON) == 2
    with pytest.raises(StoreError, match="holds records already"):
        move_to_server(tmp_path / "cell.sqlite", address)


def test_a_server_is_kept_safe_like_a_file(tmp_path, server):
    """Backed up by the moment, put back to an earlier one into an empty database, and looked through."""
    address = server.new_database()
    with open_store(address) as store:
        fill(store)
    back_up_to(address, tmp_path / "b", at=NOON)
    with open_store(address) as store:
        store.save_plan(week(), made_by="Mira", at=NOON)
    back_up_to(address, tmp_path / "b", at=NOON + timedelta(hours=1))
    early = server.new_database("template0")
    assert restore(tmp_path / "b", early, until=NOON + timedelta(minutes=5))[1] == 1
    assert (look_after(early).plans, look_after(address).plans) == (1, 2)
    assert look_after(early).free_bytes is None and look_after(early).size_bytes > 1e6
    with pytest.raises(StoreError, match=r"there are none \(.sqlite\)"):
        restore(tmp_path / "b", tmp_path / "cell.sqlite")


def test_a_plan_is_written_beside_an_address(tmp_path, server):
    """The papers go into the folder, the plan into the server; no file of a database is made."""
    plan = replace(week(), start=START)
    address = server.new_database()
    written, folder = write_plan(plan, tmp_path, at=NOON, made_by="Mira", database=address)
    assert (written.version, folder) == (1, tmp_path / "plan-001")
    assert list(tmp_path.glob("*.sqlite*")) == []
    with open_store(address) as store:
        assert store.plans()[0].pieces == sum(b.pieces for b in plan.builds)


def test_the_command_takes_an_address(server, tmp_path):
    """Also from the environment, where a password is not seen by other users."""
    address = server.new_database()
    with open_store(address) as store:
        fill(store)
    for arguments, more in ((["--db", address], {}), ([], {"CAKEWRIGHT_DB": address})):
        done = subprocess.run([sys.executable, "-m", "cakewright.cli.main", "keep", "check", *arguments], text=True,
                              capture_output=True, env={**os.environ, **more}, check=True)  # fmt: skip
        assert "is whole: 1 plans" in done.stdout
    with behind(store) as link:
        assert link.scalar(text("SELECT count(*) FROM plan")) == 1
