"""`numbers` and `capacity`: a plan closed against what happened, and what more of something would bring."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from cakewright.cli.database import DEFAULT, Db

Plan = Annotated[int | None, typer.Option("--plan", min=1, help="Version of the plan; default: the newest.")]
At = Annotated[datetime | None, typer.Option("--at", help="The present moment, cell time; default: the clock.")]


def numbers(
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
    xlsx: Annotated[Path | None, typer.Option("--xlsx", help="Write every table into this workbook.")] = None,
) -> None:
    """Planned against actual of a plan: variances, machine hours, dates kept. What nobody noted is not recorded."""
    from rich.table import Table

    from cakewright.app.number_tables import numbers_xlsx, tables_of
    from cakewright.app.numbers import week_numbers
    from cakewright.app.running import opened
    from cakewright.cli.screen import console

    with opened(db, plan, at) as (store, _, now, the_plan):
        n = week_numbers(store, the_plan, now, store.load_plan().cell)
    for name in ("variances", "builds", "machine hours", "families", "waste"):
        columns, rows = tables_of(n)[name]
        shown = Table(*columns, title=name)
        for row in rows:
            shown.add_row(
                *("not recorded" if v is None else f"{v:.2f}" if isinstance(v, float) else str(v) for v in row)
            )
        console.print(shown)
    console.print(f"On time: {n.on_time.kept} of {n.on_time.known} lines due; {n.on_time.open} not noted as packed.")
    if xlsx is not None:
        xlsx.write_bytes(numbers_xlsx(n))
        console.print(f"Wrote {xlsx}.", markup=False)


def capacity(
    db: Db = DEFAULT,
    plan: Plan = None,
    machine: Annotated[
        float | None, typer.Option(help="A week of another machine costs; default: by its rate.")
    ] = None,
    chamber: Annotated[float | None, typer.Option(help="A week of one more chamber costs; default: not known.")] = None,
    shift: Annotated[float | None, typer.Option(help="A week of the second shift costs; default: by the rate.")] = None,
) -> None:
    """What another machine, two chambers, a second shift or less virgin powder would bring, with the same builds."""
    from rich.table import Table

    from cakewright.app.capacity import ask_capacity, prices_of, set_ups, use_plots
    from cakewright.app.capacity_prices import WeekPrices
    from cakewright.app.running import opened, quick_rule
    from cakewright.cli.screen import console
    from cakewright.documents.words import moment

    with opened(db, plan, None) as (_, _, _, the_plan):
        usual = prices_of(the_plan)
        prices = WeekPrices(
            usual.machine if machine is None else machine,
            usual.chamber if chamber is None else chamber,
            usual.shift if shift is None else shift,
        )
        shown = Table("set-up", "late lines", "weighted lateness", "last packed", "kg a week", "cost of lines",
                      "added a week", "cost of a kg with it")  # fmt: skip
        for o in ask_capacity(the_plan, set_ups(the_plan, prices), stop=quick_rule):
            added = "not known" if o.added_per_week is None else f"{o.added_per_week:,.2f}"
            shown.add_row(o.name, str(o.late_lines), f"{o.weighted_late_h:.1f} h",
                          moment(o.last_ready, the_plan.cell.zone), f"{o.kg_per_week:.2f}",
                          f"{o.cost:,.2f}", added,
                          f"{o.row.unit_cost:,.2f}" if o.row else "not known")  # fmt: skip
        console.print(shown)
        console.print("Nests stay as they are; what was added is paid every week, used or not.")
        for u in use_plots(the_plan):
            console.print(f"{u.name}, {u.failure:.1%} of full builds fail: cheapest at {u.best:.0%} of the height.")


def register(cli: typer.Typer) -> None:
    """Add the commands."""
    cli.command(rich_help_panel="While the week runs")(numbers)
    cli.command(rich_help_panel="The week")(capacity)
