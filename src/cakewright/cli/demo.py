"""`cakewright demo`: an invented cell, from generated parts to a planned week."""

from __future__ import annotations

from datetime import UTC, datetime, time
from pathlib import Path

from cakewright.cli.plan import run_plan
from cakewright.cli.screen import console

OUT = {"a": Path("demo-out"), "b": Path("demo-out-b")}


def run_demo(cell: str, out: Path | None, seed: int, seconds: float | None, lines: int | None = None) -> None:
    """Write the demo files beside the results, then do exactly what `cakewright plan` does."""
    from cakewright.demo import demo_orders, write_demo

    out = out or OUT[cell]
    files = out / "files"
    console.print(f"Making the parts of an invented cell in {files} ...", markup=False)
    write_demo(files, cell, lines)
    monday = min(line.received for line in demo_orders(cell).lines)
    _stock_shelf(out, cell, datetime.combine(monday, time(6), UTC))
    run_plan(
        files / "orders.csv",
        files / "cell.toml",
        files / "parts",
        out,
        datetime.combine(monday, time(8)),
        seed,
        seconds,
    )
    console.print("\nThe same by hand:")
    console.print(
        f"  cakewright plan {files}/orders.csv --cell {files}/cell.toml --parts {files}/parts "
        f"--out {out} --start {monday}T08:00",
        soft_wrap=True,
        style="dim",
    )


def _stock_shelf(out: Path, cell: str, monday: datetime) -> None:
    """Give the cell a past of its powder, unless its books have begun already."""
    from cakewright.app.write_plan import DATABASE
    from cakewright.demo import demo_cell
    from cakewright.demo.powder import write_demo_powder
    from cakewright.store import open_store

    with open_store(out / DATABASE) as store:
        write_demo_powder(store, demo_cell(cell), min(monday, datetime.now(UTC)))
