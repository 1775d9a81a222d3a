"""`cakewright plan` and the common half of `cakewright demo`."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import typer

from cakewright.cli.screen import Bars, console
from cakewright.cli.summary import show_plan


def run_plan(
    orders: Path,
    cell: Path,
    parts: Path,
    out: Path,
    start: datetime | None,
    seed: int,
    seconds: float | None,
    db: str | None = None,
    cluster: str | None = None,
) -> None:
    """Read, plan, write, show."""
    from cakewright.app.crew import crew_at
    from cakewright.app.learnt_cell import learnt_cell, learnt_words
    from cakewright.app.part_records import records_at
    from cakewright.app.plan_week import plan_week
    from cakewright.app.powder_stock import stocked_from
    from cakewright.app.write_plan import DATABASE, write_plan
    from cakewright.formats.cell_toml import read_cell
    from cakewright.formats.orders_csv import read_orders
    from cakewright.store.engine import is_address

    the_cell = read_cell(cell)
    the_orders = read_orders(orders, the_cell)
    console.print(
        f"{the_cell.name}: {len(the_orders.lines)} lines, {the_orders.pieces} pieces ordered.",
        style="bold",
        markup=False,
    )
    now = datetime.now(UTC)
    database = (out / DATABASE).absolute() if db is None else db if is_address(db) else Path(db).absolute()
    the_cell = stocked_from(the_cell, database, now.date())
    the_cell = learnt_cell(the_cell, database)
    for learnt in learnt_words(the_cell):
        console.print(learnt, style="dim", markup=False)
    with crew_at(cluster) as crew, Bars() as bars:
        plan = plan_week(the_orders, the_cell, parts, start=start, now=now, seed=seed, seconds=seconds, progress=bars,
                         records=records_at(database), crew=crew)  # fmt: skip
        plan, folder = write_plan(plan, out, at=now, progress=bars, database=database)
    show_plan(plan, folder)
    if plan.set_aside:
        for aside in plan.set_aside:
            where = plan.line(aside.line).where or f"line {aside.line}"
            typer.echo(f"cakewright: set aside: {where}: {aside.reason} -> {aside.remedy}", err=True)
        raise typer.Exit(2)
