"""`cakewright people`: who may log in, what they may do, what they changed."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from cakewright.cli.database import DEFAULT, Db

if TYPE_CHECKING:
    from cakewright.store.accounts import Role

people = typer.Typer(help="Who may log in, what they may do, what they changed.", no_args_is_help=True)
Name = Annotated[str, typer.Argument(help="The name to log in with.")]
Roles = Annotated[str, typer.Option("--role", help="planner, operator, inspector, sales or read-only.")]


def _role(text: str) -> Role:
    from cakewright.errors import InputError
    from cakewright.store.accounts import Role

    if text not in {r.value for r in Role}:
        raise InputError(f"{text!r} is no role", remedy=f"one of: {', '.join(r.value for r in Role)}", where="--role")
    return Role(text)


@people.command("add")
def add(name: Name, role: Roles, db: Db = DEFAULT) -> None:
    """Add an account; the password is asked for, fifteen characters or more."""
    from cakewright.app.accounts import add_account
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    chosen = _role(role)
    password = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
    with open_store(db) as store:
        add_account(store, name, chosen, password, at=datetime.now(UTC))
    typer.echo(f"{name} may log in as {chosen}.")


@people.command("list")
def show(db: Db = DEFAULT) -> None:
    """Every account."""
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    with open_store(db) as store:
        for a in store.accounts.all():
            typer.echo(f"{a.name:<24} {a.role.value:<10} {'open' if a.is_open else 'closed'}")


@people.command("password")
def password(name: Name, db: Db = DEFAULT) -> None:
    """Give an account another password; its sessions end."""
    from cakewright.app.accounts import change_password
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    given = typer.prompt("New password", hide_input=True, confirmation_prompt=True)
    with open_store(db) as store:
        change_password(store, name, given)
    typer.echo(f"{name} has a new password.")


@people.command("close")
def close(name: Name, db: Db = DEFAULT) -> None:
    """Close an account; what it did stays on record."""
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    with open_store(db) as store:
        store.accounts.change(name, is_open=False)
    typer.echo(f"{name} is closed.")


@people.command("token")
def token(name: Name, db: Db = DEFAULT) -> None:
    """Make a token for a script of an account, good for a year; it is shown once."""
    from cakewright.app.accounts import make_token
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    with open_store(db) as store:
        made = make_token(store, name, now=datetime.now(UTC))
    typer.echo(f"Authorization: Bearer {made}")


@people.command("changes")
def changes(
    db: Db = DEFAULT, most: Annotated[int, typer.Option("--most", min=1, help="So many, newest first.")] = 30
) -> None:
    """What was changed by whom, and whether that record is untouched."""
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    with open_store(db) as store:
        count, last = store.accounts.verify_changes()
        for row in store.accounts.changes(most):
            typer.echo(f"{row.number:>6} {row.at:%Y-%m-%d %H:%M} UTC {row.account:<20} {row.outcome} {row.deed}")
    typer.echo(f"{count} rows, untouched. Last seal {last[:16]}; note it down elsewhere to prove the record later.")
