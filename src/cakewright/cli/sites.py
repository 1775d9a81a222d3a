"""`cakewright sites`: one order book, several cells, one promise."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from cakewright.errors import InputError


def sites(
    orders: Annotated[Path, typer.Argument(help="The order list of all sites (CSV).")],
    cell: Annotated[list[Path], typer.Option("--cell", help="The cell file of a site; give one for each.")],
    road: Annotated[
        list[float] | None,
        typer.Option(
            "--road", help="Hours from that site to the customer's counter, in the order of --cell; 0: there."
        ),
    ] = None,
    parts: Annotated[Path, typer.Option("--parts", help="Folder with the mesh files.")] = Path("parts"),
    out: Annotated[Path, typer.Option("--out", help="A folder for each site, and promises.csv.")] = Path("plans"),
    seconds: Annotated[float | None, typer.Option("--seconds", min=0.1, help="Search time for each build.")] = None,
    seed: Annotated[int, typer.Option("--seed", help="Same seed, same plan.")] = 1,
) -> None:
    """Plan several sites with one order book: each order goes to one of them, each line is promised once."""
    from cakewright.app.plan_sites import Site, plan_sites, promises_csv, read_book
    from cakewright.app.write_plan import write_plan
    from cakewright.cli.screen import Bars, console
    from cakewright.formats.cell_toml import read_cell

    roads = road or [0.0] * len(cell)
    if len(roads) != len(cell):
        raise InputError(f"{len(cell)} cells and {len(roads)} roads", remedy="give --road for each --cell")
    all_sites = [Site(read_cell(path), hours) for path, hours in zip(cell, roads, strict=True)]
    book = read_book(orders, all_sites)
    with Bars() as bars:
        made = plan_sites(book, all_sites, parts, now=datetime.now(UTC), seconds=seconds, seed=seed, progress=bars)
        for name, plan in made.plans.items():
            kept, folder = write_plan(plan, out / name.replace("/", "-"), progress=bars)
            console.print(f"{name}: plan {kept.version}, {len(plan.orders.lines)} lines, {len(plan.builds)} builds, "
                          f"{folder}", markup=False)  # fmt: skip
    table = out / "promises.csv"
    table.write_text(promises_csv(book, made, all_sites[0].cell), encoding="utf-8-sig", newline="")
    late = sum(promise.is_late for promise in made.promises)
    console.print(f"{len(made.promises)} lines promised at the counter, {late} late: {table}", markup=False)
    for aside in made.set_aside:
        typer.echo(f"cakewright: set aside: line {aside.line}: {aside.reason} -> {aside.remedy}", err=True)
    if made.set_aside:
        raise typer.Exit(2)
