"""Told to stop, the serving program ends in order: exit code 0, nothing half, work under way is parked."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import urllib.request
from contextlib import closing

import pytest

from cakewright.app.jobs import JobDesk
from cakewright.app.serve import keep_before_upgrade
from cakewright.store import open_store
from cakewright.store.backup import check_file
from cakewright.store.jobs import JobState
from tests.store.filled import NOON, tiny_week
from tests.store.old_databases import OLDER, revive


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "cell.sqlite"
    with open_store(path) as store:
        store.save_plan(tiny_week(), made_by="Mira", at=NOON)
        store.add_job(kind="plan a week", by="Mira", folder="0123456789ab", at=NOON)
    return path


def test_sigterm_ends_it_in_order(path):
    """Answers before, exit code 0 after; the log says start with versions and stop; the file is whole."""
    command = [sys.executable, "-m", "cakewright.cli.main", "serve", "--db", str(path), "--port", "0"]
    environment = {**os.environ, "CAKEWRIGHT_LOG": "json", "CAKEWRIGHT_LOG_LEVEL": "info", "CAKEWRIGHT_PORT": "0",
                   "CAKEWRIGHT_STOP_SECONDS": "1"}  # fmt: skip
    program = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)
    try:
        assert program.stdout is not None and program.stderr is not None
        assert "http://127.0.0.1" in program.stdout.readline()
        told = []
        port = 0
        while not port:  # the web server says on which free port it listens
            line = program.stderr.readline()
            assert line, "it ended before it listened"
            told.append(json.loads(line))
            if "running on" in told[-1]["event"]:
                port = int(told[-1]["event"].split("127.0.0.1:")[1].split()[0])
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/v1/health", timeout=20) as answer:
            assert json.load(answer)["status"] == "ok"
        program.send_signal(signal.SIGTERM)
        _, rest = program.communicate(timeout=60)
    finally:
        program.kill()
    told += [json.loads(line) for line in rest.splitlines()]
    assert program.returncode == 0
    events = {entry["event"]: entry for entry in told}
    assert events["start"]["schema"] == events["start"]["schema_before"]
    assert events["request"]["path"] == "/api/v1/health"
    assert "stop" in events
    assert check_file(path) == 1
    with open_store(path) as store:
        assert store.job(1).state is JobState.INTERRUPTED


def test_work_under_way_may_finish_and_what_waits_is_parked(path):
    """The desk waits its patience for a worker, begins nothing new, and marks the rest as interrupted."""
    with open_store(path) as store:
        desk = JobDesk(store, lambda: NOON)

        class Slow:
            stopped = False

            def stop(self):
                self.stopped = True

        worker = Slow()
        desk._workers[1] = worker
        desk.patience_s = 20.0
        threading.Timer(0.3, desk._workers.pop, [1]).start()
        desk.close()
        assert not worker.stopped
        stubborn = Slow()
        desk._workers[1] = stubborn
        desk.patience_s = 0.0
        desk.close()
        assert stubborn.stopped
        assert store.job(1).state is JobState.INTERRUPTED


def test_an_older_file_is_copied_before_it_is_changed(tmp_path):
    """The copy has the old schema and all of its rows; a file that is up to date is not copied."""
    path = tmp_path / "cell.sqlite"
    revive(OLDER[0], path)
    assert keep_before_upgrade(path) == OLDER[0]
    copy = next(tmp_path.glob("cell-before-*.sqlite"))
    with closing(sqlite3.connect(copy)) as link:
        assert link.execute("SELECT version_num FROM alembic_version").fetchone() == (OLDER[0],)
    open_store(path).close()
    before = set(tmp_path.glob("*.sqlite"))
    keep_before_upgrade(path)
    assert set(tmp_path.glob("*.sqlite")) == before
    assert keep_before_upgrade(tmp_path / "none.sqlite") == ""
