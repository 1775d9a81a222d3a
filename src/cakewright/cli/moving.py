"""`move`, `papers` and `export`: put a task elsewhere; the papers of a kept plan; the file of a build."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cakewright.cli.database import DEFAULT, Db
from cakewright.cli.running import At, By, Plan, utc_of, who

if TYPE_CHECKING:
    from cakewright.store import Store


def move(
    task: Annotated[str, typer.Argument(help="Such as B3/load, B3/unpack, 'basket 2/1', L07/inspect.")],
    to: Annotated[datetime | None, typer.Option("--to", help="When it is to begin, cell time.")] = None,
    machine: Annotated[str | None, typer.Option("--machine", help="Another machine for a loading.")] = None,
    chamber: Annotated[str | None, typer.Option("--chamber", help="Another chamber for a loading.")] = None,
    station: Annotated[str | None, typer.Option("--station", help="Another station for unpacking or a step.")] = None,
    accept: Annotated[bool, typer.Option("--accept", help="Keep the new plan; else it is only shown.")] = False,
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
    by: By = "",
) -> None:
    """Put one task elsewhere: the rest is mended around it, or the reason why not. Nothing is kept without --accept."""
    from cakewright.app.move_task import accept_move, propose_move
    from cakewright.app.running import opened

    with opened(db, plan, at) as (store, version, now, the_plan):
        answer = propose_move(store, version, task, start=utc_of(to, the_plan), machine=machine, chamber=chamber,
                              station=station, now=now)  # fmt: skip
        typer.echo(answer.text)
        if not answer.is_possible:
            raise typer.Exit(1)
        before, after = (minutes / 60 for minutes in answer.late_min)
        typer.echo(f"Weighted lateness: {before:.1f} h as planned, {after:.1f} h then.")
        if not accept:
            typer.echo("Nothing is kept yet; add --accept --by NAME to keep it as a new plan.")
            return
        told(store, accept_move(store, answer, by=who(by), at=now), now)


def papers(db: Db = DEFAULT, plan: Plan = None, at: At = None) -> None:
    """Write the folder of a plan that is in the database: papers, files for the machines, calendars."""
    from cakewright.app.running import opened

    with opened(db, plan, at) as (store, version, now, _):
        told(store, version, now)


def export(
    build: Annotated[str, typer.Argument(help="The build, such as B3.")],
    out: Annotated[Path, typer.Option("--out", help="Folder for the two files.")] = Path(),
    db: Db = DEFAULT,
    plan: Plan = None,
) -> None:
    """Write the 3MF and STL of one build for its machine, with the scale that is in effect for it now."""
    from cakewright.app.running import opened
    from cakewright.app.scale_in_effect import export_build, scale_words

    with opened(db, plan, None) as (store, _version, _now, the_plan):
        threemf, stl = export_build(store, the_plan, build, out)
        words = scale_words(store, the_plan, the_plan.build(build))
        typer.echo(f"Wrote {threemf} and {stl}" + (f", {words}." if words else ", drawn as in the plan's folder."))


def told(store: Store, version: int, at: datetime) -> Path:
    """Write the papers of a kept plan and say where they lie."""
    from cakewright.app.plan_folder import write_papers
    from cakewright.cli.screen import Bars

    with Bars() as bars:
        folder = write_papers(store, version, at=at, progress=bars)
    typer.echo(f"Kept as plan {version}, with its papers in {folder}.")
    return folder
