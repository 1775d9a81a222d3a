"""Shared by all tests: where outside data lies, and tiny named worlds."""

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings

from cakewright.model.mesh import Mesh
from tests.empty_database import _new_files_are_copies  # noqa: F401  (for all)
from tests.postgres import pytest_configure, pytest_unconfigure, server  # noqa: F401  (hooks and a fixture for all)

DEAR_FIRST = (  # files of half a minute and more begin the run, so that no process is left with one at its end
    "tests/web/stories/test_planner.py",
    "tests/web/test_browser.py",
    "tests/physics/test_timefit.py",
    "tests/app/test_real_meshes.py",
    "tests/cli/test_bad_input.py",
    "tests/web/test_move.py",
    "tests/web/test_running.py",
    "tests/web/test_contract.py",
    "tests/web/test_part.py",
    "tests/web/test_powder.py",
    "tests/web/test_pages.py",
    "tests/schedule/test_exact.py",
    "tests/cli/test_running.py",
    "tests/test_wheel.py",
    "tests/web/stories/",
    "tests/demo/test_parts.py",
    "tests/web/test_inbox.py",
    "tests/web/test_pace.py",
    "tests/store/test_kill",
)

settings.register_profile("no-clock", deadline=None)  # work is counted, never timed: machines are shared
settings.load_profile("no-clock")

ROOT = Path(__file__).resolve().parent.parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The dear files first, all else as collected."""
    rank = {start: number for number, start in enumerate(DEAR_FIRST)}

    def of(item: pytest.Item) -> int:
        return min((rank[start] for start in DEAR_FIRST if item.nodeid.startswith(start)), default=len(rank))

    items.sort(key=of)


def outside_data() -> Path | None:
    """The folder with published meshes and instances, or None where it is not at hand."""
    for candidate in (os.environ.get("CAKEWRIGHT_TEST_DATA"), ROOT.parent / "shared"):
        if candidate and Path(candidate).is_dir():
            return Path(candidate)
    return None


@pytest.fixture(scope="session")
def shared() -> Path:
    """Published data that the repository may not contain; the test says so and skips where it is absent."""
    folder = outside_data()
    if folder is None and os.environ.get("CI"):
        pytest.fail("published data not found, and CI must run the checks against it: put it at ../shared")
    if folder is None:
        pytest.skip("published data not found: set CAKEWRIGHT_TEST_DATA or put it at ../shared")
    return folder


def box_mesh(x: float, y: float, z: float, at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Mesh:
    """A closed block of x by y by z mm with its lowest corner at `at`."""
    corners = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], dtype=float)
    faces = [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4),
             (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5)]  # fmt: skip
    return Mesh(corners * [x, y, z] + np.array(at), np.array(faces))


@pytest.fixture(params=["file", "server"])
def new_database(request, tmp_path) -> Path | str:
    """Where a database may be made: first a file, then an empty database with all tables on a PostgreSQL server."""
    if request.param == "file":
        return tmp_path / "cell.sqlite"
    request.getfixturevalue("monkeypatch").setenv("CAKEWRIGHT_FILES", str(tmp_path))
    return str(request.getfixturevalue("server").new_database())


@pytest.fixture
def one_cube() -> Mesh:
    """A 10 mm cube: the simplest part there is."""
    return box_mesh(10, 10, 10)
