"""Every test process makes the tables of a new file once; the next new file is a copy, looked over by the program.

The tests of the store itself (`tests/store`) make each file anew, step by step, as a first start does.
"""

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path

import pytest
from sqlalchemy import Engine

from cakewright.store.engine import connect, store_url
from cakewright.store.migrations import upgrade

OPENING = sys.modules["cakewright.store.open"]  # the name `cakewright.store.open` may be the function


@pytest.fixture(scope="session", autouse=True)
def _new_files_are_copies(tmp_path_factory) -> Iterator[None]:
    """Where a file is not there yet, put a copy of the empty one; then the program does all that it always does."""

    @cache
    def empty() -> Path:
        return _made(tmp_path_factory.mktemp("empty") / "cell.sqlite")

    def copied(engine: Engine, *, where: str) -> None:
        path = Path(engine.url.database or "")
        of_store = os.environ.get("PYTEST_CURRENT_TEST", "").startswith("tests/store/")
        if engine.dialect.name == "sqlite" and path.name not in ("", ":memory:") and not path.exists() and not of_store:
            _put(empty(), path)
        upgrade(engine, where=where)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(OPENING, "upgrade", copied)
        yield


def _made(path: Path) -> Path:
    """A file with every table and nothing in it, made by the program."""
    engine = connect(store_url(path))
    upgrade(engine, where=path.name)
    engine.dispose()
    assert not list(path.parent.glob("*-wal")), "everything is in the file itself"
    return path


def _put(empty: Path, path: Path) -> None:
    """Copy it at one stroke: somebody else who opens the same file sees all of it or none."""
    half = path.with_name(f".{path.name}.{os.getpid()}.copy")
    with suppress(OSError):  # then the program finds the same trouble, and says it in its words
        shutil.copyfile(empty, half)
        os.link(half, path)
    with suppress(OSError):
        half.unlink()
