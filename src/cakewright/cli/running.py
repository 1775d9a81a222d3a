"""`commit`, `note`, `replan`, `stop`, `whatif`, `kept`: the week while it runs."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from cakewright.cli.database import DEFAULT, Db

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from cakewright.app.failure_desk import FailureDesk
    from cakewright.app.what_if import Change, WhatIf
    from cakewright.model.plan import WeekPlan
    from cakewright.store import Store

By = Annotated[str, typer.Option("--by", help="Who says so.")]
Plan = Annotated[int | None, typer.Option("--plan", min=1, help="Version of the plan; default: the newest.")]
At = Annotated[datetime | None, typer.Option("--at", help="The present moment, cell time; default: the clock.")]
Down = Annotated[
    list[str] | None,
    typer.Option("--down", help="NAME,FROM,TO: a machine, chamber, station or person out of use, cell time."),
]
PANEL = "While the week runs"


def commit(
    hours: Annotated[float, typer.Option("--hours", min=0, max=72, help="How far ahead people were told.")] = 24.0,
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
    by: By = "",
    remark: Annotated[str, typer.Option("--remark", help="Anything to remember.")] = "",
) -> None:
    """Say that a plan was told to people: its promises count, and the next hours are not moved without need."""
    from datetime import timedelta

    with _opened(db, plan, at) as (store, version, now, the_plan):
        store.schedule.commit(plan=version, until=now + timedelta(hours=hours), at=now, by=by, note=remark)
        told = sum(p.p90 is not None for p in the_plan.promises)
        typer.echo(f"Plan {version} is committed for {hours:g} h; {told} promises count from now on.")


def note(
    kind: Annotated[str, typer.Argument(help="load, print, lift, unpack, clean, inspect or pack.")],
    build: Annotated[str, typer.Option("--build", help="The build it belongs to.")] = "",
    line: Annotated[int | None, typer.Option("--line", min=1, help="The order line it belongs to.")] = None,
    started: Annotated[datetime | None, typer.Option("--started", help="When it began, cell time.")] = None,
    ended: Annotated[datetime | None, typer.Option("--ended", help="When it ended, cell time.")] = None,
    not_begun: Annotated[bool, typer.Option("--not-begun", help="It was planned to have begun, but has not.")] = False,
    without: Annotated[
        str, typer.Option("--without", help="Why a print began without its labels held against it.")
    ] = "",
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
    by: By = "",
) -> None:
    """Note what really happened to a task: when it began, when it ended, or that it has not begun."""
    from cakewright.app.note_task import note_task
    from cakewright.app.running import kind_of

    with _opened(db, plan, at) as (store, version, now, the_plan):
        if not_begun == bool(started or ended):
            raise typer.BadParameter("give --started or --ended, or --not-begun alone")
        note_task(
            store, the_plan, kind=kind_of(kind), build=build, line=line, started=utc_of(started, the_plan),
            ended=utc_of(ended, the_plan), at=now, by=by, without=without,
        )  # fmt: skip
        typer.echo(f"Noted for plan {version}. `cakewright replan` tells what it moves.")


def replan(
    down: Down = None,
    free: Annotated[bool, typer.Option("--free", help="Also move what people were told for the next hours.")] = False,
    accept: Annotated[bool, typer.Option("--accept", help="Keep the new plan; else it is only shown.")] = False,
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
    by: By = "",
) -> None:
    """Plan again around what has begun, and say what moves. Nothing is kept without --accept."""
    from cakewright.app.replan import accept as keep
    from cakewright.app.replan import replan_stored
    from cakewright.app.running import quick_rule, windows_of
    from cakewright.cli.moving import told

    with _opened(db, plan, at) as (store, version, now, the_plan):
        out = windows_of(the_plan, down or ())
        made = replan_stored(store, now, version=version, unavailable=out, stop=quick_rule, free=free)
        typer.echo(made.difference.text)
        typer.echo(f"Begun: {made.started} tasks, {made.noted} noted by somebody. Kept because told: {made.committed}.")
        if made.given_up:
            typer.echo(f"What people were told could not be kept: {made.given_up}")
        if accept:
            told(store, keep(store, made, by=who(by), at=now), now)
        else:
            typer.echo("Nothing is kept yet; add --accept --by NAME to keep it as a new plan.")


def stop(
    build: Annotated[str, typer.Argument(help="The build that stopped, such as B3.")],
    layer: Annotated[int, typer.Option("--layer", min=0, help="Finished layers, as the machine counts them.")],
    cause: Annotated[str, typer.Option("--cause", help="power, recoater, powder, laser, heat, foreign or hand.")],
    margin_mm: Annotated[
        float | None, typer.Option("--margin-mm", min=0, help="In doubt below the stop; default by cause.")
    ] = None,
    accept: Annotated[str, typer.Option("--accept", help="The way out to take, by its word in brackets.")] = "",
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
    by: By = "",
) -> None:
    """A build has stopped: what is whole, what is lost, ways out ranked. Nothing is kept without --accept."""
    import time

    from cakewright.app.effort import effort_in_seconds
    from cakewright.app.failure_desk import failure_desk
    from cakewright.app.recover import accept_recovery
    from cakewright.app.running import cause_of
    from cakewright.cli.moving import told

    with _opened(db, plan, at) as (store, version, now, the_plan):
        desk = failure_desk(the_plan, build, layer, cause_of(cause), now=now, margin_mm=margin_mm,
                            progress=store.schedule.progress_of(version))  # fmt: skip
        if not accept:
            _show_desk(the_plan, desk)
            return
        effort = effort_in_seconds(the_plan.cell.nesting.seconds_per_build, time.monotonic)
        done = accept_recovery(store, the_plan, desk, accept, effort=effort, by=who(by), at=now)
        made = f"; the missing pieces are in {done.remake}" if done.remake else ""
        told(store, done.plan, now)
        typer.echo(f"Plan {version} is as it was{made}.")


def whatif(
    rush_hours: Annotated[
        float | None, typer.Option("--rush-hours", min=0.1, help="A rush order of so many print hours.")
    ] = None,
    rush_pieces: Annotated[int, typer.Option("--rush-pieces", min=1, help="Its pieces.")] = 10,
    rush_line: Annotated[int | None, typer.Option("--rush-line", min=1, help="This planned line goes first.")] = None,
    chambers: Annotated[int, typer.Option("--chambers", min=0, help="So many more chambers.")] = 0,
    night: Annotated[int, typer.Option("--night", min=0, help="So many people on a night shift.")] = 0,
    down: Down = None,
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
) -> None:
    """Ask what one change would do: a rush order, another chamber, a night shift, something out of use."""
    from cakewright.app.running import changes_of, quick_rule
    from cakewright.app.what_if import what_if

    with _opened(db, plan, at) as (store, version, now, the_plan):
        changes: list[Change] = changes_of(
            the_plan, rush_hours=rush_hours, rush_pieces=rush_pieces, rush_line=rush_line, chambers=chambers,
            night=night, down=down or (),
        )  # fmt: skip
        if not changes:
            raise typer.BadParameter("ask something: --rush-hours, --rush-line, --chambers, --night or --down")
        progress = store.schedule.progress_of(version)
        for change in changes:
            _show_what_if(the_plan, what_if(the_plan, change, now=now, progress=progress, stop=quick_rule))


def kept(db: Db = DEFAULT, at: At = None) -> None:
    """Does 90 % mean 90 %? Promises of committed plans against what was really packed when."""
    from cakewright.app.kept_promises import kept_promises

    with _opened(db, None, at) as (store, _version, now, _plan):
        record = kept_promises(store.schedule.kept_promises(), now)
        for rate in record.rates:
            interval = f" (true share between {rate.low:.0%} and {rate.high:.0%})" if rate.known else ""
            typer.echo(f"{rate.name}: {rate.kept} of {rate.known} kept{interval}: {rate.verdict}")
        typer.echo(f"{record.open} committed lines are not packed yet.")


def register(cli: typer.Typer) -> None:
    """Add the commands."""
    from cakewright.cli.moving import export, move, papers

    for command in (commit, note, replan, move, stop, whatif, kept, papers, export):
        cli.command(rich_help_panel=PANEL)(command)


# --- help -----------------------------------------------------------------------------------------------------------


def _opened(
    db: str, plan: int | None, at: datetime | None
) -> AbstractContextManager[tuple[Store, int, datetime, WeekPlan]]:
    from cakewright.app.running import opened

    return opened(db, plan, at)


def utc_of(when: datetime | None, plan: WeekPlan) -> datetime | None:
    """A wall time of the cell in UTC."""
    from cakewright.app.running import in_utc

    return None if when is None else in_utc(when, plan.cell.zone)


def who(by: str) -> str:
    """The name of who decides, which must be given."""
    if not by.strip():
        raise typer.BadParameter("say who decides: --by NAME")
    return by.strip()


def _show_desk(plan: WeekPlan, desk: FailureDesk) -> None:
    from cakewright.app.stop_build import PieceFate

    after, currency = desk.after, plan.cell.rates.currency
    typer.echo(
        f"{after.build} stopped after layer {after.layer} of {after.layers} ({after.at_mm:.1f} mm): {desk.cause}."
    )
    for fate in PieceFate:
        typer.echo(f"  {after.count(fate):3d}  {fate}")
    typer.echo(f"Value to be made again {desk.value_lost:,.2f} {currency}; held {desk.value_held:,.2f} {currency}.")
    typer.echo(f"Quarantine: {desk.rule.quarantine}.")
    p = desk.powder
    typer.echo(
        f"Powder: {p.not_spread_kg:.2f} kg not spread, {p.in_cake_kg:.2f} kg loose in the cake, "
        f"{p.in_pieces_kg:.2f} kg in pieces, {p.scrap_kg:.2f} kg scrap. It {p.word}."
    )
    typer.echo("Ways out, the best first:")
    for number, way in enumerate(desk.recoveries, 1):
        given = f", {way.value_not_made:,.2f} {currency} not delivered" if way.value_not_made else ""
        typer.echo(f"{number}. {way.title} [{way.key}]: {way.text}.")
        typer.echo(
            f"   costs {way.money:,.2f} {currency}{given}; {len(way.late)} lines late. {way.made.difference.headline}"
        )
        for move in way.made.difference.lines[:5]:
            typer.echo(f"   {move.text}")
    typer.echo("Nothing is changed. Take one with --accept WORD --by NAME.")


def _show_what_if(plan: WeekPlan, answer: WhatIf) -> None:
    from rich.table import Table

    from cakewright.app.running import figures_rows
    from cakewright.cli.screen import console

    table = Table(title=f"What if: {answer.question}", title_justify="left", pad_edge=False)
    for name in ("", "now", "then"):
        table.add_column(name)
    for row in figures_rows(plan, answer):
        table.add_row(*row)
    console.print(table)
    typer.echo(answer.made.difference.headline)
    for move in answer.made.difference.lines[:12]:
        typer.echo(f"  {move.text}")
    typer.echo("Nothing is kept.")
