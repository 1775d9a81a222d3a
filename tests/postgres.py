"""A PostgreSQL server of our own for the tests: its cluster in a temporary folder, reachable through a socket in it.

The first test that asks starts it, the end of the session stops it. The workers of pytest-xdist share it, each with
databases of its own, copied from a template that has every table. Nothing is kept when the power goes (fsync is off):
it is for tests.
"""

from __future__ import annotations

import contextlib
import fcntl
import itertools
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, make_url, text

from cakewright.store import open_store

HOME = "CAKEWRIGHT_TEST_SERVER"  # told to the workers: the folder of the server of this session
TEMPLATE = "cakewright_template"
SETTINGS = ("fsync=off", "full_page_writes=off", "listen_addresses=", "max_connections=60", "shared_buffers=64MB",
            "wal_level=minimal", "max_wal_senders=0", "autovacuum=off")  # fmt: skip
_numbers = itertools.count(1)


def programs() -> Path | None:
    """The folder of initdb and pg_ctl, the newest; None where PostgreSQL is not installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3].split(".")[0]))
    if found:
        return found[-1].parent
    there = shutil.which("initdb")
    return Path(there).parent if there else None


class Server:
    """A running cluster below `home`."""

    def __init__(self, home: Path) -> None:
        self.home = home

    def address(self, database: str) -> str:
        """What `open_store` takes."""
        return f"postgresql://cakewright@/{database}?host={self.home}"

    def new_database(self, template: str = TEMPLATE) -> str:
        """The address of a fresh database: a copy of one that has every table, or of another (`template0`: empty)."""
        name = f"cell_{os.getpid()}_{next(_numbers)}"
        source = make_url(template).database if "://" in template else template
        self.say(f'CREATE DATABASE "{name}" TEMPLATE "{source}"')
        return self.address(name)

    def say(self, *statements: str) -> None:
        """Run statements of an administrator."""
        engine = create_engine(self.address("postgres").replace("postgresql:", "postgresql+psycopg:", 1),
                               isolation_level="AUTOCOMMIT")  # fmt: skip
        with engine.connect() as link:
            for statement in statements:
                link.execute(text(statement))
        engine.dispose()


def pytest_configure(config: pytest.Config) -> None:
    """Decide where the server of this session would lie, before there are workers; the socket wants a short name."""
    if not hasattr(config, "workerinput"):
        os.environ[HOME] = str(Path(tempfile.gettempdir()) / f"cakewright-pg-{os.getpid()}")


def pytest_unconfigure(config: pytest.Config) -> None:
    """Stop the server of this session, if anybody asked for it."""
    home = Path(os.environ[HOME])
    if not hasattr(config, "workerinput") and home.exists():
        _run(home, "pg_ctl", "-D", str(home / "data"), "-m", "immediate", "-w", "stop")
        shutil.rmtree(home)


@pytest.fixture(scope="session")
def server() -> Server:
    """The server of this session, started when it is first asked for."""
    if programs() is None:
        say = pytest.fail if os.environ.get("CI") else pytest.skip
        say("PostgreSQL is not installed: `python3 scripts/do.py test` does it, or apt-get install postgresql")
    home = Path(os.environ[HOME])
    with _alone(home):
        if not (home / "ready").exists():
            _start(home)
    return Server(home)


@contextlib.contextmanager
def _alone(home: Path) -> Iterator[None]:
    home.mkdir(mode=0o755, exist_ok=True)
    with (home / "turn").open("a") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        yield


def _start(home: Path) -> None:
    owner = _owner()
    if owner is not None:
        os.chown(home, owner.pw_uid, owner.pw_gid)
    data = home / "data"
    _run(home, "initdb", "-D", str(data), "-U", "cakewright", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
    options = " ".join([*(f"-c {s}" for s in SETTINGS), f"-k {home}"])
    _run(home, "pg_ctl", "-D", str(data), "-l", str(home / "log"), "-o", options, "-w", "start")
    server = Server(home)
    server.say(f"CREATE DATABASE {TEMPLATE} TEMPLATE template0")
    open_store(server.address(TEMPLATE)).close()
    (home / "ready").touch()


def _owner() -> pwd.struct_passwd | None:
    """Who runs the server: somebody else when the tests run as root, whom PostgreSQL refuses."""
    if os.geteuid() != 0:
        return None
    with contextlib.suppress(KeyError):
        return pwd.getpwnam("postgres")
    return pwd.getpwnam("nobody")


def _run(home: Path, program: str, *arguments: str) -> None:
    folder, owner = programs(), _owner()
    assert folder is not None
    user: dict[str, Any] = {}
    if owner is not None:
        user = {"user": owner.pw_uid, "group": owner.pw_gid, "extra_groups": []}
    said = home / f"{program}.out"
    with said.open("ab") as out:
        done = subprocess.run([str(folder / program), *arguments], cwd="/", stdout=out, stderr=out, check=False, **user)
    if done.returncode:
        raise RuntimeError(f"{program} failed: {said.read_text()[-800:]}")
