"""`cakewright revise`: the customer sends a new revision of a line that was ordered."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from cakewright.cli.database import DEFAULT, Db


def revise(
    line: Annotated[int, typer.Argument(min=1, help="Line of the plan: 7 for L07.")],
    file: Annotated[Path, typer.Argument(help="Mesh file of the new revision.")],
    revision: Annotated[str, typer.Option("--revision", help="Its letter or number.")],
    keep: Annotated[bool, typer.Option("--keep", help="Keep the price of the new revision as a quote.")] = False,
    by: Annotated[str, typer.Option("--by", help="Who asks; with --keep.", envvar="CAKEWRIGHT_NAME")] = "",
    plan: Annotated[int | None, typer.Option("--plan", min=1, help="Version of the plan; default: the newest.")] = None,
    at: Annotated[datetime | None, typer.Option("--at", help="The present moment, cell time; default: now.")] = None,
    db: Db = DEFAULT,
) -> None:
    """What a new revision of an ordered line means now: pieces pooled, nested, printing, printed; price and date."""
    import time

    from rich.table import Table

    from cakewright.app.keep_quotes import keep_quote
    from cakewright.app.revise_line import revise_line
    from cakewright.app.running import opened
    from cakewright.cli.quote import show_offer
    from cakewright.cli.screen import Bars, console

    with opened(db, plan, at) as (store, version, now, the_plan):
        with Bars() as bars:
            found = revise_line(the_plan, line, file, revision, now=now, clock=time.monotonic, progress=bars,
                                noted=store.schedule.progress_of(version))  # fmt: skip
        shown = Table("pieces", "build", "state", "effect", f"lost, {found.currency}", title=found.line.title)
        for share in found.shares:
            shown.add_row(str(share.pieces), share.build or "-", share.stage, share.effect, f"{share.lost:,.2f}")
        console.print(shown)
        if found.same_shape:
            console.print("The shape is the one that was ordered: only names and papers change.")
        console.print(f"A piece: {found.unit_before:,.2f} before, {found.unit_after:,.2f} {found.currency} now.")
        show_offer(found.offer)
        if keep:
            kept = keep_quote(store, found.offer, file, at=datetime.now(UTC), by=by)
            console.print(f"Kept as [bold]{kept.key}[/bold]. Accepted, it becomes an order line.")


def register(cli: typer.Typer) -> None:
    """Add the command."""
    cli.command(rich_help_panel="While the week runs")(revise)
