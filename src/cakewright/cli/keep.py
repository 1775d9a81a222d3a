"""`cakewright keep`: backups, restoring, and whether the database is whole."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from cakewright.cli.database import DEFAULT, Db

keep = typer.Typer(help="Backups of the database, restoring, and whether it is whole.", no_args_is_help=True)
Folder = Annotated[Path, typer.Option("--folder", help="Where the backups lie.")]


@keep.command("backup")
def backup(
    db: Db = DEFAULT,
    folder: Folder = Path("backups"),
    thin: Annotated[bool, typer.Option("--thin", help="Then keep 14 days, and one a week for 12 weeks.")] = False,
) -> None:
    """Copy the database while others work, check the copy, name it by the moment."""
    from cakewright.app.keep_safe import back_up_to, thin_out

    now = datetime.now(UTC)
    made = back_up_to(db, folder, at=now)
    typer.echo(f"{made.path}: {made.plans} plans, {made.size_bytes / 1e6:.1f} MB, checked")
    if thin:
        for path in thin_out(folder, now=now):
            typer.echo(f"removed {path}")


@keep.command("list")
def show(folder: Folder = Path("backups")) -> None:
    """The backups in a folder, newest first."""
    from cakewright.app.keep_safe import backups_in

    for when, path in backups_in(folder):
        typer.echo(f"{when:%Y-%m-%d %H:%M} UTC  {path.stat().st_size / 1e6:8.1f} MB  {path}")


@keep.command("restore")
def restore(
    to: Annotated[
        str, typer.Option("--to", help="The file to write, or an empty database on a server; nothing is overwritten.")
    ],
    folder: Folder = Path("backups"),
    until: Annotated[
        datetime | None, typer.Option("--until", help="The newest backup not made after this moment, UTC.")
    ] = None,
) -> None:
    """Put the newest backup, or the newest before a moment, to another name and check it there."""
    from cakewright.app.keep_safe import restore as put_back
    from cakewright.store.engine import shown

    moment = until.replace(tzinfo=UTC) if until and until.tzinfo is None else until
    path, plans = put_back(folder, to, until=moment)
    name = shown(to)
    typer.echo(f"{name}: from {path.name}, {plans} plans, checked. Open it with `cakewright serve --db {name}`.")


@keep.command("move")
def move(
    to: Annotated[str, typer.Option("--to", help="Address of an empty database on a server.")], db: Db = DEFAULT
) -> None:
    """Copy every record of a file into an empty database on a PostgreSQL server; the file stays as it is."""
    from cakewright.app.keep_safe import move_to_server
    from cakewright.store.engine import shown

    plans = move_to_server(Path(db), to)
    typer.echo(f"{shown(to)}: every record of {db}, {plans} plans, counted. The folders inbox and quotes stay where "
               "they are: put them into the folder of CAKEWRIGHT_FILES.")  # fmt: skip


@keep.command("check")
def check(db: Db = DEFAULT) -> None:
    """Read every page and every reference of the database."""
    from cakewright.app.keep_safe import look_after

    health = look_after(db)
    beside = "" if health.free_bytes is None else f", {health.free_bytes / 1e9:.1f} GB free beside it"
    typer.echo(f"{health.name} is whole: {health.plans} plans, {health.size_bytes / 1e6:.1f} MB{beside}")
