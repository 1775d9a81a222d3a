"""A power cut or a kill between two writes leaves whole plans only."""

import random
import select
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
    kill_and_look(tmp_path / "cell.sqlite", seed)


def test_killed_while_saving_to_a_server(server):
    """The same when the program dies and the server lives: it takes back what was not committed."""
    kill_and_look(server.new_database(), 3)


def kill_and_look(database, seed):
    acknowledged = run_and_kill(database, random.Random(seed).uniform(0.0, 0.25))
    with open_store(database) as store:
        versions = [p.version for p in store.plans()]
        assert set(acknowledged) <= set(versions)
        assert len(versions) <= len(acknowledged) + 1
        for version in versions:
            plan = store.load_plan(version)
            assert difference(replace(week(), version=version, made_by="saver", seed=version), plan) is None
        assert store.check() == len(versions)
