"""`cakewright floor`: who may do what, upkeep, specimens and held lines, what is made again."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Iterable

    from cakewright.findings import Finding

floor = typer.Typer(help="The floor: authority, upkeep, specimens, held lines, remakes.", no_args_is_help=True)

Db = Annotated[Path, typer.Option("--db", help="The database of your plans.")]
Plan = Annotated[int | None, typer.Option("--plan", min=1, help="Version of the plan; default: the newest.")]
By = Annotated[str, typer.Option("--by", help="Who says so.")]
At = Annotated[datetime | None, typer.Option("--at", help="The present moment, cell time; default: the clock.")]
DEFAULT = Path("plans/cakewright.sqlite")


@floor.command()
def due(db: Db = DEFAULT, plan: Plan = None, at: At = None) -> None:
    """What the floor asks for now: upkeep, gauges, training, parts to look at for warp, held lines."""
    from cakewright.app.floor_asks import floor_asks
    from cakewright.app.running import opened

    with opened(db, plan, at) as (store, _version, now, the_plan):
        _say(floor_asks(store, the_plan, now), "Nothing is due.")


@floor.command()
def trained(
    person: Annotated[str, typer.Argument(help="Who was trained.")],
    step: Annotated[str, typer.Argument(help="The step, such as start, release-build or release-parts.")],
    until: Annotated[str, typer.Option("--until", help="Last day, 2027-03-31; empty: no end.")] = "",
    note: Annotated[str, typer.Option("--note", help="What was shown.")] = "",
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
    by: By = "",
) -> None:
    """Enter that somebody may do a step until a day; another person signs."""
    from cakewright.app.authority import grant
    from cakewright.app.running import opened

    with opened(db, plan, at) as (store, _version, now, the_plan):
        grant(store, the_plan, person=person, step=step, until=until, note=note, by=by, at=now)
        typer.echo(f"{person} may do '{step}'{f' until {until}' if until else ''}.")


@floor.command()
def who(db: Db = DEFAULT, plan: Plan = None, at: At = None) -> None:
    """Who may do which step today, and the steps that hang on one name."""
    from cakewright.app.authority import matrix
    from cakewright.app.running import opened

    with opened(db, plan, at) as (store, _version, now, the_plan):
        for row in matrix(store, the_plan, now.astimezone(the_plan.cell.zone).date()):
            names = ", ".join(row.names) or ("nobody" if row.is_kept else "open to all")
            typer.echo(f"{row.step.value:<26} {names}{'   RISK: one name' if row.is_risk else ''}")


@floor.command()
def served(
    machine: Annotated[str, typer.Argument(help="The machine.")],
    what: Annotated[str, typer.Argument(help="What was done, as it is called on the page Upkeep.")] = "service",
    note: Annotated[str, typer.Option("--note", help="What was done, part numbers.")] = "",
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
    by: By = "",
) -> None:
    """Note that upkeep was done: counting begins again, and the next plan counts from here."""
    from cakewright.app.running import opened
    from cakewright.app.upkeep import note_service, upkeep

    with opened(db, plan, at) as (store, _version, now, the_plan):
        note_service(store, the_plan, machine=machine, what=what, note=note, by=by, at=now)
        for d in upkeep(store, the_plan, now):
            if d.rule.machine == machine:
                typer.echo(f"{d.rule.machine}, {d.rule.what}: {d.words}")


@floor.command()
def held(db: Db = DEFAULT, plan: Plan = None, at: At = None) -> None:
    """Lines that must not be packed yet, and why."""
    from cakewright.app.hold_lines import gates
    from cakewright.app.running import opened

    with opened(db, plan, at) as (store, _version, _now, the_plan):
        found = [(n, g) for n, g in gates(store, the_plan).items() if g.is_held]
        for n, gate in found:
            typer.echo(f"{the_plan.line(n).key}: {gate.why}")
        typer.echo(f"{len(found)} lines are held." if found else "No line is held.")


@floor.command()
def release(
    line: Annotated[int, typer.Argument(min=1, help="The order line.")],
    reason: Annotated[str, typer.Option("--reason", help="Why it may go; it stands on the certificate.")] = "",
    db: Db = DEFAULT,
    plan: Plan = None,
    at: At = None,
    by: By = "",
) -> None:
    """Let a held line go, as an authorised person and with a reason."""
    from cakewright.app.hold_lines import release_line
    from cakewright.app.running import opened

    with opened(db, plan, at) as (store, _version, now, the_plan):
        release_line(store, the_plan, line, reason=reason, by=by, at=now)
        typer.echo(f"{the_plan.line(line).key} is released by {by}.")


@floor.command()
def remake(
    out: Annotated[Path, typer.Argument(help="The order list (CSV) to write.")],
    orders: Annotated[
        Path | None, typer.Option("--orders", help="An order list to put in front: the next plan reads the result.")
    ] = None,
    db: Db = DEFAULT,
    plan: Plan = None,
) -> None:
    """Write what was rejected, broken or lost into an order list, with the dates of its lines."""
    from cakewright.app.remake import remake_list, remakes
    from cakewright.app.running import opened
    from cakewright.errors import InputError
    from cakewright.formats.orders_csv import read_orders

    with opened(db, plan, datetime.now(UTC)) as (store, _version, _now, the_plan):
        found = [r for r in remakes(store, the_plan) if r.order is not None]
        before = read_orders(orders, the_plan.cell).lines if orders else ()
        if out.exists():
            raise InputError(f"{out} is already there", remedy="name another file")
        out.write_text(remake_list(store, the_plan, with_orders=before), encoding="utf-8-sig", newline="")
        for r in found:
            typer.echo(f"L{r.line:02d}: {r.pieces} to make again, due {the_plan.line(r.line).due}")
        typer.echo(f"Wrote {out}: {len(before)} lines as they were, {len(found)} to make again.")


def _say(found: Iterable[Finding], nothing: str) -> None:
    lines = [f.text for f in found]
    for line in lines or [nothing]:
        typer.echo(line)
