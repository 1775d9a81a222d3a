"""Backups: whole, in order, thinned with sense, restored to a moment, never over anything."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from cakewright.app.keep_safe import back_up_to, backups_in, look_after, restore, thin_out
from cakewright.errors import StoreError
from cakewright.store import open_store
from tests.documents.world import START, week

NOON = datetime(2027, 3, 3, 12, tzinfo=UTC)


@pytest.fixture
def db(tmp_path):
    path = tmp_path / "cell.sqlite"
    with open_store(path) as store:
        store.save_plan(week(), made_by="Mira", at=START)
    return path


def test_a_restored_backup_is_what_it_was_then(db, tmp_path):
    """Two backups with a plan between: the first moment gives one plan, the newest two."""
    back_up_to(db, tmp_path / "b", at=NOON)
    with open_store(db) as store:
        store.save_plan(week(), made_by="Mira", at=START)
    back_up_to(db, tmp_path / "b", at=NOON + timedelta(hours=1))
    _, plans = restore(tmp_path / "b", tmp_path / "early.sqlite", until=NOON + timedelta(minutes=5))
    assert plans == 1
    _, plans = restore(tmp_path / "b", tmp_path / "late.sqlite")
    assert plans == 2
    with open_store(tmp_path / "early.sqlite") as store:
        assert store.load_plan(1).builds[0].key == "B1"


def test_nothing_is_overwritten_and_nothing_half_stays(db, tmp_path):
    """Over a file, from no backup, from a damaged one: refused, and no file is left behind."""
    with pytest.raises(StoreError, match="there are none"):
        restore(tmp_path / "b", tmp_path / "x.sqlite")
    made = back_up_to(db, tmp_path / "b", at=NOON)
    with pytest.raises(StoreError, match="already"):
        restore(tmp_path / "b", db)
    with pytest.raises(StoreError, match="early enough"):
        restore(tmp_path / "b", tmp_path / "x.sqlite", until=NOON - timedelta(days=1))
    content = bytearray(made.path.read_bytes())
    content[5000:9000] = b"\xff" * 4000
    made.path.write_bytes(content)
    with pytest.raises(StoreError):
        restore(tmp_path / "b", tmp_path / "x.sqlite")
    assert not (tmp_path / "x.sqlite").exists()
    assert not list(tmp_path.glob(".x*"))


def test_thinning_keeps_days_then_weeks_and_always_the_newest(db, tmp_path):
    """Daily backups over a year: 15 of the last 14 days, one a week for 12 weeks; a lonely old one stays."""
    folder = tmp_path / "b"
    made = back_up_to(db, folder, at=NOON).path
    for day in range(1, 365):
        when = NOON - timedelta(days=day)
        (folder / f"cakewright-{when:%Y%m%dT%H%M%SZ}.sqlite").write_bytes(b"")
    thin_out(folder, now=NOON)
    left = [when for when, _ in backups_in(folder)]
    assert made in {path for _, path in backups_in(folder)}
    assert sum(NOON - when <= timedelta(days=14) for when in left) == 15
    assert 23 <= len(left) <= 27
    assert all(NOON - when <= timedelta(weeks=12) for when in left)
    thin_out(folder, now=NOON + timedelta(days=999))
    assert [path for _, path in backups_in(folder)] == [made]


def test_health_is_told(db, tmp_path):
    """A whole database says how many plans; a missing one is named and not made."""
    assert look_after(db).plans == 1
    with pytest.raises(StoreError, match="no database"):
        look_after(tmp_path / "none.sqlite")
    assert not (tmp_path / "none.sqlite").exists()
