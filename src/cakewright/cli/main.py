"""`cakewright`: the commands, in the order of the job."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

import typer

from cakewright import __version__
from cakewright.cli.customers import customers
from cakewright.cli.database import DEFAULT, VARIABLE, Db
from cakewright.cli.faces import register as register_faces
from cakewright.cli.floor import floor
from cakewright.cli.keep import keep
from cakewright.cli.learn import register as register_learning
from cakewright.cli.numbers import register as register_numbers
from cakewright.cli.people import people
from cakewright.cli.powder_lots import powder
from cakewright.cli.quotes import quotes
from cakewright.cli.revise import register as register_revise
from cakewright.cli.running import register as register_running
from cakewright.cli.sites import sites
from cakewright.errors import CakewrightError, disk_trouble

HELP = """From an order list to a week that a laser-sintering cell can run.

Describe the cell once (init), look at the files (check), tell a price and a date (quote), plan the
week (plan) and keep it open beside the machine (serve). New here? `cakewright demo` plans the week of
an invented cell.
"""

cli = typer.Typer(
    name="cakewright",
    help=HELP,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
)

Cell = Annotated[Path, typer.Option("--cell", help="The cell file: machines, chambers, people, powder, rates.")]
Parts = Annotated[Path, typer.Option("--parts", help="Folder with the mesh files (STL, OBJ, PLY, 3MF).")]
Out = Annotated[Path, typer.Option("--out", help="Folder for the results; each plan gets its own plan-NNN inside.")]
Seed = Annotated[int, typer.Option("--seed", help="Same seed, same search.")]
Start = Annotated[
    datetime | None,
    typer.Option("--start", help="When the week begins, cell time. Default: now, or the first order if that is later."),
]
Seconds = Annotated[
    float | None,
    typer.Option("--seconds", min=0, help="Search time for the nest of each build; default from the cell file."),
]


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"cakewright {__version__}")
        raise typer.Exit


@cli.callback()
def about(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say the version.")
    ] = False,
) -> None:
    """Only here to hold --version; the help text is HELP."""


@cli.command(rich_help_panel="Before the week")
def init(
    cell: Annotated[Path, typer.Argument(help="The file to write.")] = Path("cell.toml"),
) -> None:
    """Write a commented cell file to fill in."""
    from cakewright.app.init_cell import init_cell

    init_cell(cell)
    typer.echo(f"Wrote {cell}. Fill in your machines, chambers and people; every default says where it comes from.")


@cli.command(rich_help_panel="Before the week")
def check(
    files: Annotated[list[Path], typer.Argument(help="Mesh files, or folders with mesh files.")],
    cell: Annotated[
        Path | None, typer.Option("--cell", help="Judge against the materials and chambers of this cell.")
    ] = None,
    material: Annotated[
        str | None, typer.Option("--material", help="Material of the cell file; default: its first.")
    ] = None,
    report: Annotated[
        Path | None, typer.Option("--report", help="Write a report for each file (HTML and PDF) into this folder.")
    ] = None,
    visible: Annotated[str, typer.Option("--visible", help="Side of the part that must look good: +X ... -Z.")] = "",
    load: Annotated[str, typer.Option("--load", help="Direction of the main load in the part: +X ... -Z.")] = "",
    faces: Annotated[
        str, typer.Option("--faces", help="Numbers of the faces that must look good, such as 1,4; one file only.")
    ] = "",
    db: Annotated[
        str | None, typer.Option("--db", help="Use the faces that were marked in this database for the same files.")
    ] = None,
) -> None:
    """Read mesh files and say what is wrong with them, before anybody promises anything."""
    from cakewright.cli.check import run_check

    run_check(files, cell, material, report, visible, load, faces, db)


@cli.command(rich_help_panel="Before the week")
def quote(
    file: Annotated[Path, typer.Argument(help="The mesh file.")],
    cell: Cell = Path("cell.toml"),
    quantity: Annotated[int, typer.Option("--quantity", "-n", min=1, help="Pieces.")] = 1,
    material: Annotated[str | None, typer.Option("--material", help="Default: the first of the cell file.")] = None,
    finish: Annotated[str | None, typer.Option("--finish", help="Default: the first of the cell file.")] = None,
    quality_class: Annotated[str | None, typer.Option("--class", help="Default: the first of the cell file.")] = None,
    customer: Annotated[str, typer.Option("--customer", help="Who asks.")] = "",
    due: Annotated[datetime | None, typer.Option("--due", help="The day asked for.")] = None,
    settled: Annotated[
        list[str] | None, typer.Option("--settled", help="What is agreed already, e.g. tolerances; may be repeated.")
    ] = None,
    db: Annotated[
        str | None, typer.Option("--db", help="Look for room in its newest plan, and keep the quote there.")
    ] = None,
    sheet: Annotated[Path | None, typer.Option("--sheet", help="Write the quote sheet (PDF).")] = None,
    replaces: Annotated[
        int | None, typer.Option("--replaces", help="Number of the quote this is a new issue of.")
    ] = None,
    by: Annotated[str, typer.Option("--by", help="Who quotes.")] = "",
    start: Start = None,
) -> None:
    """Tell a price range, a date and the open questions for one file."""
    from cakewright.cli.quote import run_quote

    run_quote(
        file, cell, quantity, material, finish, quality_class, start, customer, due, tuple(settled or ()), db, sheet,
        replaces, by,
    )  # fmt: skip


@cli.command(rich_help_panel="The week")
def plan(
    orders: Annotated[Path, typer.Argument(help="The order list (CSV).")],
    cell: Cell = Path("cell.toml"),
    parts: Parts = Path("parts"),
    out: Out = Path("plans"),
    start: Start = None,
    seed: Seed = 1,
    seconds: Seconds = None,
    db: Annotated[
        str | None,
        typer.Option("--db", envvar=VARIABLE, metavar="DATABASE", help="Keep the plan here instead of in --out."),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            envvar="CAKEWRIGHT_CLUSTER",
            metavar="ADDRESS",
            help="Let a Dask cluster do the work, e.g. tcp://planner:8786.",
        ),
    ] = None,
) -> None:
    """Plan the week: builds, dates, powder, costs, papers. A plan is a version; nothing is overwritten.

    Exit code 0: every line is planned. 2: the input was refused and nothing written, or some lines were set
    aside and the rest planned; the messages say which, why, and what to do.
    """
    from cakewright.cli.plan import run_plan

    run_plan(orders, cell, parts, out, start, seed, seconds, db, cluster)


@cli.command(rich_help_panel="The week")
def serve(
    context: typer.Context,
    db: Db = DEFAULT,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on; others need accounts and TLS.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port to listen on.")] = 8765,
    new: Annotated[
        bool, typer.Option("--new", help="Begin with an empty database; drop the files on the page.")
    ] = False,
    certificate: Annotated[Path | None, typer.Option("--certificate", help="TLS certificate (PEM).")] = None,
    key: Annotated[Path | None, typer.Option("--key", help="Its key (PEM).")] = None,
    behind_tls: Annotated[bool, typer.Option("--behind-tls", help="A proxy in front speaks TLS.")] = False,
    name: Annotated[
        list[str] | None, typer.Option("--name", help="A name by which others call this machine; may be repeated.")
    ] = None,
    settings: Annotated[
        Path | None, typer.Option("--settings", help="Read settings from this file (TOML); what is given here counts.")
    ] = None,
) -> None:
    """Open the plans in the web application on this machine.

    Settings come from the command, the environment (CAKEWRIGHT_PORT and so on), the file, in this order.
    """
    from cakewright.cli.serve import run_serve

    asked = {"db": db, "host": host, "port": port, "certificate": str(certificate or ""), "key": str(key or ""),
             "behind_tls": behind_tls, "names": tuple(name or ())}  # fmt: skip
    run_serve(context, settings, asked, new)


@cli.command(rich_help_panel="To see it work")
def demo(
    cell: Annotated[
        Literal["a", "b"],
        typer.Option(
            "--cell", help="a: one machine, 300 pieces. b: four machines, two powders, 2,688 pieces; a few minutes."
        ),
    ] = "a",
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the results. Default: demo-out, or demo-out-b.")
    ] = None,
    lines: Annotated[
        int | None, typer.Option("--lines", min=1, help="Only the first so many order lines: a quick look.")
    ] = None,
    seed: Seed = 1,
    seconds: Seconds = None,
) -> None:
    """Make the parts of an invented cell and plan its week of 40 order lines."""
    from cakewright.cli.demo import run_demo

    run_demo(cell, out, seed, seconds, lines)


cli.add_typer(quotes, name="quotes", rich_help_panel="Before the week")

cli.add_typer(floor, name="floor", rich_help_panel="While the week runs")
cli.add_typer(people, name="people", rich_help_panel="While the week runs")
cli.add_typer(customers, name="customers", rich_help_panel="While the week runs")
cli.add_typer(keep, name="keep", rich_help_panel="While the week runs")
cli.add_typer(powder, name="powder", rich_help_panel="The week")
register_faces(cli)
register_learning(cli)
register_running(cli)
cli.command(rich_help_panel="The week")(sites)
register_numbers(cli)
register_revise(cli)


def run() -> None:
    """Entry point: our own errors become one clear message and exit code 2."""
    try:
        cli()
    except CakewrightError as wrong:
        typer.echo(f"cakewright: {wrong.text}", err=True)
        sys.exit(2)
    except OSError as wrong:
        told = disk_trouble(wrong)
        if told is None:
            raise
        typer.echo(f"cakewright: {told.text}", err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        typer.echo("cakewright: stopped; nothing was written half", err=True)
        sys.exit(130)


if __name__ == "__main__":
    run()
