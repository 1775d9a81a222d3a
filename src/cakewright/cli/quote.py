"""`cakewright quote`: a price range and a date for one file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from rich.table import Table

from cakewright.cli.screen import console

COLUMNS = ("machine", "powder_in_parts", "refresh_burden", "hands", "finish", "risk", "total")


def run_quote(
    file: Path,
    cell: Path,
    quantity: int,
    material: str | None,
    finish: str | None,
    quality_class: str | None,
    start: datetime | None,
) -> None:
    """Nest, slice, cool and schedule the part alone, and print both ends of its price."""
    import time

    from cakewright.app.check_part import loose_line
    from cakewright.app.effort import effort_in_seconds
    from cakewright.app.quote_order import quote_file
    from cakewright.formats.cell_toml import read_cell

    the_cell = read_cell(cell)
    line = loose_line(file, the_cell, material, quantity=quantity, finish=finish, quality_class=quality_class)
    effort = effort_in_seconds(min(the_cell.nesting.seconds_per_build, 5.0), time.monotonic)
    quote = quote_file(file, line, the_cell, start=start, now=datetime.now(UTC), effort=effort)
    currency = the_cell.rates.currency
    table = Table(title=f"{quantity} x {file.name}, {line.material}, {line.finish}, class {line.quality_class}")
    table.add_column(currency)
    table.add_column("in a full mixed build", justify="right")
    table.add_column("in builds of its own", justify="right")
    for name in COLUMNS:
        row = (name.replace("_", " "), f"{getattr(quote.shared, name):,.2f}", f"{getattr(quote.alone, name):,.2f}")
        table.add_row(*row, style="bold" if name == "total" else "")
    console.print(table)
    ready = quote.promise.ready
    when = f"{ready.astimezone(the_cell.zone):%a %d %b %Y %H:%M}" if ready else "never in this calendar"
    console.print(f"Each: {quote.shared.total / quantity:,.2f} to {quote.alone.total / quantity:,.2f} {currency}")
    console.print(f"Earliest, in an empty cell: [bold]{when}[/bold]; {quote.promise.reason}")
    for finding in quote.part.findings:
        console.print(f"  {finding.severity.value}: {finding.text}", markup=False)
