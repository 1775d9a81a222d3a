"""A power cut or a kill between two writes leaves whole plans only."""

import random
import select
import sqlite3
import subprocess
import sys
from dataclasses import replace

import pytest

from cakewright.store import open_store
from tests.conftest import ROOT
from tests.documents.world import week
from tests.store.same import difference


def run_and_kill(path, wait_s):
    """Start a saver, kill it `wait_s` after it has opened the store; the versions it acknowledged."""
    saver = subprocess.Popen(
        [sys.executable, "-m", "tests.store.saver", str(path)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert saver.stdout is not None
    assert saver.stdout.readline() == "open\n"
    select.select([], [], [], wait_s)  # the moment of the kill, not a wait for something to become true
    saver.kill()
    said = saver.stdout.read()
    saver.wait()
    saver.stdout.close()
    return [int(word) for word in said.split("\n")[:-1]]


@pytest.mark.parametrize("seed", range(5))
def test_killed_while_saving(tmp_path, seed):
    """Everything acknowledged is there and whole; what was under way is there whole or not at all."""
    path = tmp_path / "cell.sqlite"
    acknowledged = run_and_kill(path, random.Random(seed).uniform(0.0, 0.25))
    with open_store(path) as store:
        versions = [p.version for p in store.plans()]
        assert set(acknowledged) <= set(versions)
        assert len(versions) <= len(acknowledged) + 1
        for version in versions:
            plan = store.load_plan(version)
            assert difference(replace(week(), version=version, made_by="saver", seed=version), plan) is None
    with sqlite3.connect(path) as link:
        assert link.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert link.execute("PRAGMA foreign_key_check").fetchall() == []
    link.close()
