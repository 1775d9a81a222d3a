"""`cakewright log`, `probe` and `shrink`: what really happened teaches the next plan."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from cakewright.cli.database import DEFAULT, Db

By = Annotated[str, typer.Option("--by", help="Who says so.")]
Plan = Annotated[int | None, typer.Option("--plan", min=1, help="Version of the plan; default: the newest.")]


def log(
    file: Annotated[Path, typer.Argument(help="Job log (CSV): build,start,end or build,layer,seconds.")],
    cell: Annotated[
        Path | None, typer.Option("--cell", help="The cell file the factors multiply; default: that of the plan.")
    ] = None,
    db: Db = DEFAULT,
    plan: Plan = None,
    by: By = "",
) -> None:
    """Read a machine's job log: learn its real times and how far to trust a promise.

    Name builds as their files: B2, or 3-B2 for build B2 of plan 3. Every later plan uses what was learnt.
    """
    from cakewright.app.learn_times import take_log
    from cakewright.app.serve import check_database
    from cakewright.cli.screen import console
    from cakewright.formats.cell_toml import read_cell
    from cakewright.store import open_store

    check_database(db)
    with open_store(db) as store:
        taken = take_log(
            file, store, cell=read_cell(cell) if cell else None, plan=plan, by=by or "cakewright log",
            at=datetime.now(UTC),
        )  # fmt: skip
    console.print(f"Kept {len(taken.kept)} of the builds in {file}.", markup=False)
    for finding in taken.findings:
        console.print(f"  {finding.severity.value}: {finding.text}", markup=False, soft_wrap=True)
    for fit in taken.fits:
        n = len(fit.residuals)
        console.print(f"{fit.machine}: learnt from {n} build{'s'[: n > 1]}", style="bold", markup=False)
        for f in fit.factors:
            console.print(f"  {_WORDS[f.term]:<18} x {f.value:.3f}   90 % between {f.low:.3f} and {f.high:.3f}")
        console.print(f"  spread of actual over predicted {100 * fit.relative_sigma:.1f} %: the next promises use it")
        for build, gap in fit.residuals:
            mark = "   unusual: something happened in it" if build in fit.unusual else ""
            console.print(f"  {build:<10} {100 * gap:+.1f} %{mark}", markup=False)


def probe(
    build: Annotated[str, typer.Argument(help="The build whose cake was measured, such as B2.")],
    celsius: Annotated[float, typer.Argument(help="What the probe showed, °C.")],
    after_h: Annotated[float, typer.Option("--after-h", min=0, help="Hours after the end of the print.")],
    x: Annotated[float | None, typer.Option("--x", help="mm from the left wall; default: the hottest place.")] = None,
    y: Annotated[float | None, typer.Option("--y", help="mm from the front wall.")] = None,
    z: Annotated[float | None, typer.Option("--z", help="mm above the first part layer.")] = None,
    db: Db = DEFAULT,
    plan: Plan = None,
    by: By = "",
) -> None:
    """Note a temperature measured in a cake: learn how fast chambers of its type really cool.

    Measure while it still cools, with a clean probe and gloves; hot powder burns. The number learnt is used by
    every later plan. It releases nothing: measure each cake before opening it.
    """
    from cakewright.app.learn_cooling import take_reading
    from cakewright.app.serve import check_database
    from cakewright.cli.screen import console
    from cakewright.errors import InputError
    from cakewright.store import open_store

    given = [v for v in (x, y, z) if v is not None]
    if len(given) not in (0, 3):
        raise InputError("one or two of x, y, z", remedy="give all three, or none for the hottest place")
    place = (given[0], given[1], given[2]) if given else None
    check_database(db)
    with open_store(db) as store:
        speed, chamber = take_reading(
            store, build, place, after_h, celsius, plan=plan, by=by or "cakewright probe", at=datetime.now(UTC)
        )
    n = len(speed.gaps_c)
    console.print(
        f"Chambers {chamber.name} cool {speed.value:.2f} times as fast as computed "
        f"(90 % between {speed.low:.2f} and {speed.high:.2f}), from {n} reading{'s'[: n > 1]}.",
        markup=False,
        soft_wrap=True,
    )
    console.print(f"This reading is {speed.gaps_c[-1]:+.1f} °C off what is now expected.")


def shrink(
    file: Annotated[Path, typer.Argument(help="Measured lengths (CSV): axis,wanted,measured[,hole][,x,y,z].")],
    build: Annotated[str, typer.Option("--build", help="The build the pieces came from, such as B2.")],
    keep: Annotated[bool, typer.Option("--keep", help="Keep the ladder: enough of them may propose a change.")] = False,
    db: Db = DEFAULT,
    plan: Plan = None,
    by: By = "",
) -> None:
    """Measured lengths: what scale and offset the machine's files should have next.

    Lengths as ordered and as measured cold; the plan knows how they were drawn. Nothing is changed: write the
    proposal into the cell file when you agree.
    """
    from cakewright.app.learn_shrink import propose_shrink
    from cakewright.app.scale_change import axis_states, keep_ladder
    from cakewright.app.scale_in_effect import drawn_for
    from cakewright.app.serve import check_database
    from cakewright.cli.screen import console
    from cakewright.formats.lengths_csv import read_lengths
    from cakewright.store import open_store

    lengths = read_lengths(file)
    check_database(db)
    with open_store(db) as store:
        the_plan = store.load_plan(plan)
        found = propose_shrink(drawn_for(store, the_plan, build), build, lengths)
        kept = keep_ladder(store, the_plan, build, lengths, by=by, at=datetime.now(UTC)) if keep else ()
        told = [s for s in axis_states(store, the_plan) if s.machine == found.machine] if keep else []
    console.print(f"{found.machine}, from {len(lengths)} lengths:", style="bold", markup=False)
    for a in found.axes:
        console.print(
            f"  {a.axis}: comes out as {a.fit.scale:.5f} x drawn {a.fit.offset_mm:+.3f} mm "
            f"(± {a.fit.scale_error:.5f}, ± {a.fit.offset_error_mm:.3f} mm); worst length {a.left_mm:+.3f} mm off",
            markup=False,
            soft_wrap=True,
        )
        console.print(
            f"     scale {a.old_scale:.5f} -> {a.scale:.5f}, offset per face {a.old_offset_mm:+.3f} -> "
            f"{a.offset_mm:+.3f} mm",
            markup=False,
        )
    if found.by_place:
        console.print(f"  {found.by_place}", markup=False)
    console.print("For the cell file: export_scale and export_offset_mm of this machine.")
    for s in told:
        change = "leave it" if s.proposal.new_factor is None else f"proposed x {s.proposal.new_factor:.5f}"
        console.print(f"  {s.axis}: {change}: {s.proposal.reason}", markup=False, soft_wrap=True)
    console.print(f"Kept {len(kept)} ladders; a person approves a change on the page Scale." if kept
                  else "Nothing was changed.")  # fmt: skip


_WORDS = {"fixed": "warm-up and end", "recoat": "recoat", "hatch": "hatching", "outline": "outlines"}


def register(cli: typer.Typer) -> None:
    """Hang the commands into the program."""
    panel = "What really happened"
    cli.command("log", rich_help_panel=panel)(log)
    cli.command("probe", rich_help_panel=panel)(probe)
    cli.command("shrink", rich_help_panel=panel)(shrink)
