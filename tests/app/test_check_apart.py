"""A file that harms its reader is refused in words, and the files after it are judged as if nothing had been."""

from __future__ import annotations

import multiprocessing
import os
import signal

import pytest

from cakewright.app.check_apart import Wish, check_apart
from cakewright.app.init_cell import template_cell
from cakewright.app.worker import Limits, Worker
from cakewright.errors import InputError
from cakewright.formats.stl import stl_bytes
from tests.app import harm
from tests.conftest import box_mesh


@pytest.fixture
def three(tmp_path):
    """Two good blocks, and between them a file that the test makes harmful."""
    for name in ("a.stl", "b.stl", "c.stl"):
        (tmp_path / name).write_bytes(stl_bytes(box_mesh(10, 20, 30), name))
    return tmp_path


def test_work_that_eats_memory_or_time_is_ended():
    """The fence around every file: so much memory, so much processor time, whatever else happens inside."""
    hungry = Worker(harm.eat_memory, limits=Limits(memory_bytes=600_000_000)).result()
    assert (hungry.code, hungry.found) == ("memory", "it needs more memory than allowed")
    endless = Worker(harm.go_on_for_ever, limits=Limits(cpu_seconds=1)).result()
    assert "more processor time than allowed" in endless.found
    gone = Worker(harm.vanish).result()
    assert (gone.is_good, gone.code) == (False, "worker")
    assert all(ended.remedy for ended in (hungry, endless, gone))


def test_a_file_that_ends_its_reader(three):
    """Whatever kills the process: the file is refused with what happened, the rest goes on."""
    corner = b"facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"
    (three / "b.stl").write_bytes(b"solid b\n" + 600_000 * corner + b"endsolid b\n")  # seconds to read
    running = check_apart([three / "a.stl", three / "b.stl", three / "c.stl"], template_cell(),
                          Wish(template_cell().materials[0].name))  # fmt: skip
    assert next(running).word != "refused"
    (reader,) = multiprocessing.active_children()
    os.kill(reader.pid, signal.SIGKILL)
    harmed, after = list(running)
    assert (harmed.word, harmed.can_be_planned) == ("refused", False)
    assert "killed" in harmed.refused
    assert after.word != "refused"


def test_a_pipe_is_no_file(three):
    """Nobody ever writes to it: it is refused, not read."""
    os.mkfifo(three / "d.stl")
    (refused,) = check_apart([three / "d.stl"], template_cell(), Wish(template_cell().materials[0].name))
    assert (refused.word, refused.refused) == ("refused", "this is no file with content")


def test_a_folder_that_is_not_there(tmp_path):
    """Said before anything is judged."""
    with pytest.raises(InputError, match="no file or folder"):
        list(check_apart([tmp_path / "nowhere"], template_cell(), Wish("PA12")))
