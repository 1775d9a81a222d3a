"""Bring a database to the schema of this program: one named step after another, one transaction each."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from alembic.config import Config
from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, inspect

from cakewright.errors import StoreError
from cakewright.store.engine import writing

HERE = Path(__file__).parent


@cache
def scripts() -> ScriptDirectory:
    """The migration files that travel inside the package, read once."""
    config = Config()
    config.set_main_option("script_location", str(HERE).replace("%", "%%"))
    config.set_main_option("path_separator", "newline")
    return ScriptDirectory.from_config(config)


def schemas() -> tuple[str, ...]:
    """Every version of the schema that this program knows, oldest first."""
    return tuple(reversed([script.revision for script in scripts().walk_revisions()]))


def schema_version(link: Connection) -> str | None:
    """The last migration a database has seen, None when it has seen none."""
    return MigrationContext.configure(link).get_current_revision()


def upgrade(engine: Engine, *, where: str) -> None:
    """Run every migration that the database has not seen yet.

    A second program that opens the same file at the same moment waits for the first and finds the work
    done. StoreError when the file belongs to another program or to a newer cakewright.
    """
    known = scripts()
    steps = [script.revision for script in reversed(list(known.walk_revisions()))]
    while True:
        with writing(engine) as link:
            have = schema_version(link)
            _refuse_strangers(link, have, steps, where)
            todo = steps[steps.index(have) + 1 :] if have else steps
            if not todo:
                return
            _run_one(link, known, todo[0])


def _refuse_strangers(link: Connection, have: str | None, steps: list[str], where: str) -> None:
    if have is None and inspect(link).get_table_names():
        raise StoreError(
            "this is a database of another program", remedy="name another file; a new one is made", where=where
        )
    if have is not None and have not in steps:
        raise StoreError(
            f"the database has schema {have}, made by a newer cakewright than this one",
            remedy="install the newer version, or name another file",
            where=where,
        )


def _run_one(link: Connection, known: ScriptDirectory, revision: str) -> None:
    def step(heads: tuple[str, ...], _context: MigrationContext) -> object:
        return known._upgrade_revs(revision, heads[0] if heads else "base")

    context = MigrationContext.configure(link, opts={"fn": step, "render_as_batch": True})
    with Operations.context(context):
        context.run_migrations()
