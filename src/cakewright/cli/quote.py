"""`cakewright quote`: a price range, a date and the open questions for one file; kept and printed when asked for."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

from rich.table import Table

from cakewright.cli.screen import Bars, console
from cakewright.errors import InputError
from cakewright.model.offer import Offer


def run_quote(
    file: Path,
    cell: Path,
    quantity: int,
    material: str | None,
    finish: str | None,
    quality_class: str | None,
    start: datetime | None,
    customer: str = "",
    due: datetime | None = None,
    settled: tuple[str, ...] = (),
    db: str | None = None,
    sheet: Path | None = None,
    replaces: int | None = None,
    by: str = "",
) -> None:
    """Nest, slice, cool and schedule the part alone and in the plan; print, keep and write what was asked for."""
    import time

    from cakewright.app.check_part import loose_line
    from cakewright.app.keep_quotes import keep_quote, sheet_of
    from cakewright.app.quotes import make_offer
    from cakewright.formats.cell_toml import read_cell
    from cakewright.store.engine import is_missing
    from cakewright.store.open import open_store

    if sheet is not None and sheet.exists():
        raise InputError(f"{sheet} is already there", remedy="choose another name for --sheet")
    if replaces is not None and db is None:
        raise InputError("--replaces needs --db", remedy="name the database that holds the quote")
    the_cell = read_cell(cell)
    line = loose_line(file, the_cell, material, quantity=quantity, finish=finish, quality_class=quality_class)
    line = replace(line, customer=customer)
    now = (start if start.tzinfo else start.replace(tzinfo=the_cell.zone)) if start else datetime.now(UTC)
    if db is not None and is_missing(db):
        raise InputError(f"no database {db}", remedy="plan a week first, or leave --db out")
    store = open_store(db) if db else None
    try:
        plan = store.load_plan() if store and store.newest() is not None else None
        wanted: date | None = due.date() if due else None
        with Bars() as bars:
            offer = make_offer(
                file, line, the_cell, plan, now=now, clock=time.monotonic, settled=settled, wanted=wanted, progress=bars
            )
        show_offer(offer)
        kept = keep_quote(store, offer, file, at=datetime.now(UTC), by=by, replaces=replaces) if store else None
        if kept:
            console.print(f"Kept as [bold]{kept.key}[/bold].")
        if sheet:
            key = kept.key if kept else "not kept"
            sheet.write_bytes(sheet_of(offer, key, the_cell, file, made=now.date()))
            console.print(f"Sheet: {sheet}", markup=False)
    finally:
        if store:
            store.close()


def show_offer(offer: Offer) -> None:
    """The offer as a person reads it out on the phone."""
    title = f"{offer.quantity} x {offer.file}, {offer.material}, {offer.finish}, class {offer.quality_class}"
    table = Table(title=title)
    table.add_column(f"cost, {offer.currency}")
    for column in ("full mixed builds", "in the plan", "builds of its own"):
        table.add_column(column, justify="right")
    for row in offer.rows:
        inside = "" if row.in_plan is None else f"{row.in_plan:,.2f}"
        table.add_row(row.what, f"{row.shared:,.2f}", inside, f"{row.alone:,.2f}")
    console.print(table)
    console.print(
        f"Price with {offer.margin:.0%} margin: {offer.low:,.2f} to {offer.high:,.2f}, "
        f"likely [bold]{offer.likely:,.2f} {offer.currency}[/bold] ({offer.likely / offer.quantity:,.2f} each)"
    )
    console.print(offer.feasible, markup=False)
    console.print(f"Ready: [bold]{offer.ready or 'no date in this calendar'}[/bold]; {offer.ready_reason}")
    if offer.p50 and offer.p90:
        console.print(f"Half of the simulated weeks by {offer.p50}, nine of ten by {offer.p90}")
    if offer.rush_surcharge:
        console.print(f"At once costs others {offer.rush_surcharge:,.2f}: {offer.rush_reason}", markup=False)
    worth = [b for b in offer.breaks if b.is_break and b.quantity != offer.quantity]
    if worth:
        console.print("Each, in builds of its own: " + ", ".join(f"{b.quantity}: {_short(b.unit)}" for b in worth))
    for doubt in offer.doubts:
        console.print(f"  noticed: {doubt}", markup=False)
    console.print(f"{offer.completeness:.0%} of what a purchase of parts should state is known. Ask:")
    for question in offer.questions:
        console.print(f"  [ ] {question}", markup=False)


def _short(amount: Decimal) -> str:
    return f"{amount:,.2f}"
