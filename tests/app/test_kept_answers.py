"""Answers kept beside the database: small, the same when read, and nothing but values and our own classes."""

import os
import pickle
from pathlib import Path

import pytest

from cakewright.app.kept_answers import keep_answer, read_answer
from cakewright.app.replan import replan
from cakewright.app.worker import Worker, keep_ready
from cakewright.errors import InputError
from cakewright.stopping import MaxSteps
from tests.app.running import MONDAY, running_week


class Harm:
    """Runs a command when it is read."""

    def __reduce__(self):
        return os.system, ("touch /tmp/cakewright-was-here",)


def test_what_is_read_is_what_was_kept(tmp_path):
    """Dates, differences and reasons are equal; meshes and nests are those of the plan itself, not copies."""
    plan = running_week()
    made = replan(plan, MONDAY.replace(hour=9), stop=lambda: MaxSteps(20))
    place = tmp_path / "answer"
    keep_answer(place, made, plan)
    found = read_answer(place, plan)
    assert found.plan.schedule == made.plan.schedule and found.plan.promises == made.plan.promises
    assert found.difference == made.difference and found.started == made.started
    assert found.plan.parts is plan.parts
    assert all(a.nest is b.nest for a, b in zip(found.plan.builds, plan.builds, strict=True))
    assert place.stat().st_size < len(pickle.dumps(made)) / 5
    assert [p.name for p in tmp_path.iterdir()] == ["answer"]


@pytest.mark.parametrize("content", [b"", b"nonsense", pickle.dumps(Harm()), pickle.dumps(os.getcwd)])
def test_nothing_else_is_read(tmp_path, content):
    """Half a file, nonsense, a call of a function: refused with what to do, and not carried out."""
    place = tmp_path / "answer"
    place.write_bytes(content)
    with pytest.raises(InputError, match="cannot be read"):
        read_answer(place, running_week())
    with pytest.raises(InputError, match="no longer at hand"):
        read_answer(tmp_path / "gone", running_week())
    assert not Path("/tmp/cakewright-was-here").exists()


def settings_of(report):
    """What a worker sees of the settings of its server, and its process."""
    return os.environ.get("CAKEWRIGHT_CLUSTER"), os.getpid()


def test_workers_of_a_server_are_copies_with_todays_settings(monkeypatch):
    """Each is a process of its own that knows the settings of the moment; what it took of the processor is told."""
    keep_ready()
    monkeypatch.setenv("CAKEWRIGHT_CLUSTER", "tcp://planner:8786")
    first = Worker(settings_of).result()
    monkeypatch.delenv("CAKEWRIGHT_CLUSTER")
    second = Worker(settings_of).result()
    assert (first.value[0], second.value[0]) == ("tcp://planner:8786", None)
    assert len({first.value[1], second.value[1], os.getpid()}) == 3
    assert 0 <= first.cpu_s < 2
