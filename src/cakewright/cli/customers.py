"""`cakewright customers`: whose files are kept until when, who sees them, everything about one, deletion."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from cakewright.cli.database import DEFAULT, Db

customers = typer.Typer(
    help="Whose files are kept until when, who sees them, everything about one customer, deletion.",
    no_args_is_help=True,
)
Customer = Annotated[str, typer.Argument(help="The customer, as written in the orders.")]
By = Annotated[str, typer.Option("--by", help="Your name.")]


@customers.command("list")
def show(db: Db = DEFAULT) -> None:
    """Every customer, how much is kept, and from when it is to be deleted."""
    from cakewright.app.customers import due
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    with open_store(db) as store:
        waiting = {facts.name for facts in due(store, datetime.now(UTC).date())}
        for f in store.customers.facts():
            day = f"{f.delete_on} {'DUE' if f.name in waiting else ''}" if f.delete_on else "no day set"
            typer.echo(f"{f.name:<32} {f.lines:>5} lines in {f.plans} plans, {f.quotes} quotes   {day}")
        for account, names in sorted(store.customers.limits().items()):
            typer.echo(f"{account} sees only: {', '.join(sorted(names))}")


@customers.command("seen-by")
def seen_by(
    account: Annotated[str, typer.Argument(help="An account for sales or for reading.")],
    customer: Annotated[
        list[str] | None, typer.Option("--customer", help="It sees the lines and quotes of this one; may be repeated.")
    ] = None,
    everybody: Annotated[bool, typer.Option("--everybody", help="It sees those of every customer.")] = False,
    db: Db = DEFAULT,
) -> None:
    """Limit an account to the lines and quotes of some customers."""
    from cakewright.app.customers import let_see
    from cakewright.app.serve import check_database
    from cakewright.errors import InputError
    from cakewright.store import open_store

    if bool(customer) == everybody:
        raise InputError("nobody is named, or both", remedy="give --customer, or --everybody", where="--customer")
    check_database(db)
    with open_store(db) as store:
        names = let_see(store, account, customer or ())
    typer.echo(f"{account} sees {', '.join(names) or 'the lines of every customer'}.")


@customers.command("delete-on")
def delete_on(
    customer: Customer,
    day: Annotated[str, typer.Argument(help="The day, 2027-12-31; 'never' takes it back.")],
    by: By,
    note: Annotated[str, typer.Option("--note", help="Why: a contract, a wish.")] = "",
    db: Db = DEFAULT,
) -> None:
    """Note from which day the files of a customer are to be deleted."""
    from cakewright.app.customers import keep_until
    from cakewright.app.floor_note import day_of
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    when = None if day == "never" else day_of(day, "day")
    with open_store(db) as store:
        name = keep_until(store, customer, when, by=by, at=datetime.now(UTC), note=note)
    typer.echo(f"{name}: to be deleted {f'from {when}' if when else 'on no day'}.")


@customers.command("export")
def export(
    customer: Customer,
    to: Annotated[Path, typer.Option("--to", help="The zip file to write; nothing is overwritten.")],
    db: Db = DEFAULT,
) -> None:
    """Write everything that is kept about a customer into one zip file."""
    from cakewright.app.customer_export import export_customer
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    with open_store(db) as store:
        count = export_customer(store, customer, to, at=datetime.now(UTC))
        store.accounts.note_change(account_name="command line", deed=f"export of {customer}"[:300], outcome=200,
                                   at=datetime.now(UTC))  # fmt: skip
    typer.echo(f"{to}: {count} files")


@customers.command("delete")
def delete(
    customer: Customer,
    by: By,
    although_open: Annotated[
        bool, typer.Option("--although-open", help="Also while lines of this customer are not ready.")
    ] = False,
    backups: Annotated[Path, typer.Option("--folder", help="Where the backups lie.")] = Path("backups"),
    report: Annotated[Path | None, typer.Option("--report", help="Write the report to this file as well.")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask again.")] = False,
    db: Db = DEFAULT,
) -> None:
    """Delete the files and shapes of a customer; says what is gone, what stays and why."""
    from cakewright.app.customers import delete_customer, known_customer
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    with open_store(db) as store:
        name = known_customer(store, customer)
        if not yes:
            typer.confirm(f"Delete the files and shapes of {name}? They cannot be brought back.", abort=True)
        at = datetime.now(UTC)
        said = delete_customer(store, name, by=by, at=at, although_open=although_open, backups=backups)
        store.accounts.note_change(account_name=by, deed=f"deletion of {name}"[:300], outcome=200, at=at)
    if report is not None:
        report.write_text(said + "\n", encoding="utf-8")
    typer.echo(said)
