"""`cakewright quotes`: what was offered, and what became of it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

import typer

from cakewright.cli.database import DEFAULT, Db

quotes = typer.Typer(help="What was offered, and what became of it.", no_args_is_help=True)
By = Annotated[str, typer.Option("--by", help="Who says so.")]
Number = Annotated[int, typer.Argument(help="Number of the quote: 12 for Q0012.", min=1)]


@quotes.command("list")
def show(db: Db = DEFAULT) -> None:
    """Every quote, newest first."""
    from rich.table import Table

    from cakewright.app.quotes import is_expired
    from cakewright.app.serve import check_database
    from cakewright.cli.screen import console
    from cakewright.store.open import open_store

    check_database(db)
    table = Table()
    for column in ("quote", "customer", "part", "pieces", "price", "ready", "valid until", "state"):
        table.add_column(column)
    today = datetime.now(UTC).date()
    with open_store(db) as store:
        for kept in store.offers():
            o = kept.offer
            state = "expired" if kept.state.is_open and is_expired(o, today) else kept.state.value
            table.add_row(kept.key, o.customer, o.part, str(o.quantity), f"{o.likely:,.2f} {o.currency}",
                          str(o.ready or "-"), str(o.valid_until), state)  # fmt: skip
    console.print(table)


@quotes.command("again")
def once_more(
    number: Number,
    quantity: Annotated[int, typer.Option("--quantity", "-n", min=1, help="Pieces wanted this time.")] = 1,
    due: Annotated[
        datetime | None, typer.Option("--due", formats=["%Y-%m-%d"], help="Day the customer asks for.")
    ] = None,
    db: Db = DEFAULT,
    by: By = "",
) -> None:
    """Quote the part of a kept quote again, from its kept file, at today's rates and in today's plan."""
    import tempfile
    import time
    from pathlib import Path

    from cakewright.app.keep_quotes import again, keep_quote
    from cakewright.app.quotes import make_offer
    from cakewright.app.serve import check_database
    from cakewright.cli.quote import show_offer
    from cakewright.cli.screen import Bars, console
    from cakewright.store.open import open_store

    check_database(db)
    now = datetime.now(UTC)
    with open_store(db) as store, tempfile.TemporaryDirectory(prefix="quote-") as folder:
        plan = store.load_plan()
        file, line = again(store, number, Path(folder), plan.cell, quantity=quantity)
        with Bars() as bars:
            offer = make_offer(file, line, plan.cell, plan, now=now, clock=time.monotonic,
                               wanted=due.date() if due else None, progress=bars)  # fmt: skip
        show_offer(offer)
        kept = keep_quote(store, offer, file, at=now, by=by)
        console.print(f"Kept as [bold]{kept.key}[/bold].")


@quotes.command("accept")
def accept(number: Number, db: Db = DEFAULT, by: By = "") -> None:
    """The customer said yes."""
    from cakewright.app.keep_quotes import accept as say_yes
    from cakewright.app.serve import check_database
    from cakewright.cli.screen import console
    from cakewright.store.open import open_store

    check_database(db)
    with open_store(db) as store:
        kept = say_yes(store, number, at=datetime.now(UTC), by=by)
    console.print(f"{kept.key} is accepted. `cakewright quotes order` makes an order list of all that are.")


@quotes.command("decline")
def decline(
    number: Number,
    db: Db = DEFAULT,
    by: By = "",
    why: Annotated[str, typer.Option("--why", help="What the customer said, in words.")] = "",
) -> None:
    """The customer said no."""
    from cakewright.app.serve import check_database
    from cakewright.cli.screen import console
    from cakewright.model.offer import OfferState
    from cakewright.store.open import open_store

    check_database(db)
    with open_store(db) as store:
        kept = store.step_offer(number, OfferState.DECLINED, at=datetime.now(UTC), by=by, note=why)
    console.print(f"{kept.key} is declined.")


@quotes.command("order")
def order(db: Db = DEFAULT, by: By = "") -> None:
    """Make an order list, with its meshes, of every accepted quote."""
    from cakewright.app.inbox import ORDERS, PARTS, Inbox
    from cakewright.app.keep_quotes import order_accepted
    from cakewright.app.serve import check_database
    from cakewright.cli.screen import console
    from cakewright.store.open import open_store

    check_database(db)
    with open_store(db) as store:
        box = Inbox(store.folder / "inbox")
        tray = box.tray(order_accepted(store, box, at=datetime.now(UTC), by=by))
    console.print(f"Order list: {tray / ORDERS}\nMeshes:     {tray / PARTS}", markup=False, soft_wrap=True)
