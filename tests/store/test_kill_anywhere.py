"""Kill -9 at random moments of every deed: what was acknowledged is there, what was under way is whole or not there."""

from __future__ import annotations

import random

import pytest

from tests.store.killing import DEEDS, kill, look, new_world, template, torn

EACH = 5
SHORT = 0.25  # of the longest wait, so that fifty kills take seconds


@pytest.fixture(scope="module")
def start(tmp_path_factory):
    """A database with rows in every table."""
    return template(tmp_path_factory.mktemp("template"))


@pytest.mark.parametrize("deed", DEEDS)
def test_killed_in_the_middle_of(start, tmp_path, deed, monkeypatch):
    """The store opens, the books balance, plans are whole, the record of changes is unbroken, nothing told is lost."""
    monkeypatch.setitem(DEEDS, deed, (DEEDS[deed][0], DEEDS[deed][1] * SHORT))
    rng = random.Random(len(deed))
    world = new_world(tmp_path / "world", start)
    for _ in range(EACH):
        look(world, kill(world, (deed,), rng))


def test_killed_while_two_work(start, tmp_path, monkeypatch):
    """A backup while a booking is made, both ended at once."""
    monkeypatch.setitem(DEEDS, "backup", (DEEDS["backup"][0], 0.15))
    rng = random.Random(5)
    world = new_world(tmp_path / "world", start)
    for _ in range(EACH):
        look(world, kill(world, ("book", "backup"), rng))


def test_a_log_that_was_cut_off(start, tmp_path):
    """A write-ahead log that ends at any byte, as after a disk that lied: the file is whole, a beginning is kept."""
    rng = random.Random(9)
    world = new_world(tmp_path / "world", start)
    tried = 0
    for _ in range(3):
        ended = kill(world, ("book",), rng, least=4)
        tried += sum(torn(world, rng, tmp_path / "torn") for _ in range(3))
        look(world, ended)
    assert tried == 9


def test_the_look_after_sees_what_is_lost(start, tmp_path):
    """The harness itself: an entry that was acknowledged and is not there is named."""
    world = new_world(tmp_path / "world", start)
    world.acknowledged["book"] = {"999"}
    with pytest.raises(AssertionError, match="acknowledged and is gone"):
        look(world, [])
    world.acknowledged = {"save": {"77"}}
    with pytest.raises(AssertionError, match="77"):
        look(world, [])
