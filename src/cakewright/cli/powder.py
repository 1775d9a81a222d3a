"""`cakewright powder`: the loop in the order of the job, each deed with a name and a time."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cakewright.cli import database

if TYPE_CHECKING:
    from cakewright.store import Store

HELP = """The powder ledger: deliveries, cans, blends, charges, what came back, waste.

Every movement is kept in grams with a name; nothing is erased. Codes such as U03 are on the can's label.
"""

powder = typer.Typer(name="powder", help=HELP, no_args_is_help=True, rich_markup_mode="markdown")

By = Annotated[str, typer.Option("--by", help="Who did it.", envvar="CAKEWRIGHT_NAME")]
At = Annotated[datetime | None, typer.Option("--at", help="When, UTC. Default: now.")]
Why = Annotated[str, typer.Option("--reason", help="Why, in words.")]
Can = Annotated[str, typer.Argument(help="Code of the can, typed or scanned.")]
Kg = Annotated[float, typer.Argument(help="What the scale says, kg.")]
PlanNumber = Annotated[int | None, typer.Option("--plan", help="Plan version. Default: the newest.")]
Db = database.Db
DB = database.DEFAULT


def opened(db: str) -> Store:
    """The store, which must be there already or be made by the first delivery."""
    from cakewright.store import open_store
    from cakewright.store.engine import is_address

    if not is_address(db):
        Path(db).parent.mkdir(parents=True, exist_ok=True)
    return open_store(db)


def moment(at: datetime | None) -> datetime:
    """The instant meant; now when none is given."""
    if at is None:
        return datetime.now(UTC)
    return at if at.tzinfo else at.replace(tzinfo=UTC)


@powder.command(rich_help_panel="Look")
def stock(
    db: Db = DB,
    empty: Annotated[bool, typer.Option("--empty", help="Show empty cans too.")] = False,
) -> None:
    """Every can with its kilograms, lots, age and melt flow."""
    from cakewright.cli.powder_look import show_stock

    with opened(db) as store:
        show_stock(store, empty)


@powder.command(rich_help_panel="Come in")
def receive(
    lot: Annotated[str, typer.Argument(help="The supplier's lot number.")],
    material: Annotated[str, typer.Option("--material", help="As in the cell file.")],
    drum: Annotated[list[float], typer.Option("--drum", help="Net weight of a drum, kg; once for each drum.")],
    by: By,
    certificate: Annotated[str, typer.Option("--certificate", help="Number or file; without it the lot waits.")] = "",
    expires: Annotated[
        datetime | None, typer.Option("--use-by", formats=["%Y-%m-%d"], help="Use-by date of the supplier.")
    ] = None,
    storage: Annotated[str, typer.Option("--storage", help="Where it stands.")] = "",
    melt_flow: Annotated[float | None, typer.Option("--melt-flow", help="From the certificate, g/10 min.")] = None,
    db: Db = DB,
    at: At = None,
) -> None:
    """Book a delivery of one lot: one drum for each weight."""
    from cakewright.app.powder_deeds import receive_lot

    with opened(db) as store:
        got = receive_lot(
            store, material=material, supplier_lot=lot, drums_kg=drum, by=by, at=moment(at), certificate=certificate,
            expires=expires.date() if expires else None, storage=storage, melt_flow=melt_flow,
        )  # fmt: skip
    typer.echo(f"Lot {got.lot}: {', '.join(got.drums)}. Print the labels: cakewright powder labels")
    if not certificate:
        typer.echo("No certificate yet: nothing may be taken out before it is filed.")


@powder.command(name="file", rich_help_panel="Come in")
def file_(
    lot: Annotated[str, typer.Argument(help="The lot.")],
    by: By,
    certificate: Annotated[str, typer.Option("--certificate", help="Number or file name of the certificate.")] = "",
    storage: Annotated[str, typer.Option("--storage", help="Where it stands now.")] = "",
    use_by: Annotated[str, typer.Option("--use-by", help="New date from the supplier; needs a reason.")] = "",
    reason: Why = "",
    db: Db = DB,
    at: At = None,
) -> None:
    """File a lot's certificate, storage place or new use-by date."""
    from cakewright.app.powder_deeds import file_lot

    said = {"certificate": certificate, "storage": storage, "expires": use_by}
    with opened(db) as store:
        for what, value in said.items():
            if value:
                file_lot(store, lot, what, value, by=by, at=moment(at), reason=reason)
                typer.echo(f"Lot {lot}: {what} {value}")


@powder.command(name="open", rich_help_panel="Come in")
def open_(
    drum: Can,
    powder_c: Annotated[float, typer.Option("--powder-c", help="Temperature of the powder, °C.")],
    room_c: Annotated[float, typer.Option("--room-c", help="Temperature of the room, °C.")],
    humidity: Annotated[float, typer.Option("--humidity", min=1, max=100, help="Relative humidity, %.")],
    by: By,
    db: Db = DB,
    at: At = None,
) -> None:
    """Open a drum, unless water would settle on cold powder."""
    from cakewright.app.powder_deeds import open_drum

    with opened(db) as store:
        open_drum(store, drum, powder_c=powder_c, room_c=room_c, relative_humidity=humidity / 100, by=by, at=moment(at))
    typer.echo(f"{drum} is open.")


@powder.command(name="can", rich_help_panel="Come in")
def can_(
    material: Annotated[str, typer.Option("--material", help="What may go in; as in the cell file.")],
    by: By,
    size: Annotated[float | None, typer.Option("--size", help="What it takes, kg.")] = None,
    holds: Annotated[
        float | None, typer.Option("--holds", help="Used powder that was in it before the books began, kg.")
    ] = None,
    builds_seen: Annotated[
        int | None, typer.Option("--builds-seen", min=0, help="About how many builds that powder has seen.")
    ] = None,
    db: Db = DB,
    at: At = None,
) -> None:
    """Make a can with the next free code, empty or with stock from before the books."""
    from cakewright.app.powder_deeds import make_can, opening_stock

    with opened(db) as store:
        code = make_can(store, material=material, by=by, at=moment(at), capacity_kg=size)
        if holds:
            opening_stock(store, code, holds, by=by, at=moment(at), builds_seen=builds_seen)
    typer.echo(f"{code}: put its label on before anything else.")


@powder.command(rich_help_panel="For a build")
def blend(
    build: Annotated[str, typer.Argument(help="Build of the plan, such as B1.")],
    plan: PlanNumber = None,
    mode: Annotated[str, typer.Option("--mode", help="'fixed ratio', 'by age' or 'by melt flow'.")] = "fixed ratio",
    lots: Annotated[int | None, typer.Option("--lots", min=1, help="Most lots in it.")] = None,
    weighed: Annotated[
        list[str] | None, typer.Option("--weighed", help="U03=7.98: book it as weighed; once for each can.")
    ] = None,
    by: Annotated[str, typer.Option("--by", help="Who weighed it; with --weighed.", envvar="CAKEWRIGHT_NAME")] = "",
    reason: Why = "",
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Write the slip into this file.")] = None,
    db: Db = DB,
    at: At = None,
) -> None:
    """Say which cans and how much make the charge of a build; with --weighed, book it as a blend."""
    from cakewright.cli.powder_look import run_blend

    with opened(db) as store:
        run_blend(store, plan, build, mode, lots, weighed or [], by, reason, moment(at), pdf)


@powder.command(rich_help_panel="For a build")
def charge(
    build: Annotated[str, typer.Argument(help="Build of the plan.")],
    blend: Annotated[str, typer.Argument(help="Code of the blend.")],
    by: By,
    kg: Annotated[float | None, typer.Option("--kg", help="Default: all of it.")] = None,
    plan: PlanNumber = None,
    db: Db = DB,
    at: At = None,
) -> None:
    """Pour a blend into the machine for a build."""
    from cakewright.app.powder_build import charge_build
    from cakewright.cli.powder_look import say

    with opened(db) as store:
        key, findings = charge_build(store, store.load_plan(plan), build, blend, by=by, at=moment(at), kg=kg)
    typer.echo(f"{blend} is in: {key}")
    say(findings)


@powder.command(rich_help_panel="For a build")
def back(
    build: Annotated[str, typer.Argument(help="Build of the plan.")],
    by: By,
    parts: Annotated[float | None, typer.Option("--parts", help="Weight of the parts; default as planned.")] = None,
    cake: Annotated[list[float] | None, typer.Option("--cake", help="Loose cake, kg; once for each can.")] = None,
    top: Annotated[list[float] | None, typer.Option("--top", help="Top third of the cake, kept apart.")] = None,
    crust: Annotated[list[float] | None, typer.Option("--crust", help="Hard crust near the parts.")] = None,
    overflow: Annotated[list[float] | None, typer.Option("--overflow", help="Overflow bins.")] = None,
    feeds: Annotated[list[float] | None, typer.Option("--feeds", help="Left in the feeds.")] = None,
    dust: Annotated[list[float] | None, typer.Option("--dust", help="Floor and blast dust: to waste.")] = None,
    rest: Annotated[str, typer.Option("--rest", help="Name of the difference; without it it stays open.")] = "",
    plan: PlanNumber = None,
    db: Db = DB,
    at: At = None,
) -> None:
    """Book what came back at break-out, each fraction into a can of its own."""
    from cakewright.app.powder_build import Fraction, book_back
    from cakewright.cli.powder_look import say

    came = dict(zip(Fraction, (cake or [], top or [], crust or [], overflow or [], feeds or [], dust or []),
                    strict=True))  # fmt: skip
    with opened(db) as store:
        done = book_back(
            store, store.load_plan(plan), build, came, by=by, at=moment(at), parts_kg=parts, rest_reason=rest
        )
    for name, code, kg in done.cans:
        typer.echo(f"{name}: {kg:.3f} kg in {code}")
    say(done.findings)


@powder.command(rich_help_panel="On the shelf")
def sieve(
    can: Can,
    through: Annotated[float, typer.Option("--through", help="Through the cloth, kg.")],
    oversize: Annotated[float, typer.Option("--oversize", help="Left on the cloth, kg: to waste.")],
    by: By,
    into: Annotated[str | None, typer.Option("--into", help="Used can; default a new one.")] = None,
    cloth: Annotated[str, typer.Option("--cloth", help="Number of the sieve cloth.")] = "",
    db: Db = DB,
    at: At = None,
) -> None:
    """Sieve a can: into a used can, oversize to waste, the gap under its name."""
    from cakewright.app.powder_deeds import sieve as run
    from cakewright.cli.powder_look import say

    with opened(db) as store:
        code, findings = run(
            store, can, through_kg=through, oversize_kg=oversize, by=by, at=moment(at), target=into, cloth=cloth
        )
    typer.echo(f"{through:.3f} kg in {code}")
    say(findings)


@powder.command(rich_help_panel="On the shelf")
def move(
    source: Annotated[str, typer.Argument(help="From this can.")],
    target: Annotated[str, typer.Argument(help="Into this one.")],
    by: By,
    kg: Annotated[float | None, typer.Option("--kg", help="Default: all of it.")] = None,
    reason: Why = "",
    db: Db = DB,
    at: At = None,
) -> None:
    """Pour from one can into another."""
    from cakewright.app.powder_deeds import move as run

    with opened(db) as store:
        entry = run(store, source, target, kg, by=by, at=moment(at), reason=reason)
    typer.echo(f"Entry {entry.number}: {entry.kg:.3f} kg from {entry.source} to {entry.target}")


@powder.command(rich_help_panel="On the shelf")
def weigh(can: Can, kg: Kg, by: By, reason: Why = "", db: Db = DB, at: At = None) -> None:
    """Put a can on the scale: a difference to the books needs a name."""
    from cakewright.app.powder_deeds import weigh_in

    with opened(db) as store:
        entry = weigh_in(store, can, kg, reason=reason, by=by, at=moment(at))
    typer.echo(
        "Scale and books agree." if entry is None else f"Entry {entry.number}: {entry.kg:.3f} kg to {entry.target}"
    )


@powder.command(rich_help_panel="On the shelf")
def flow(can: Can, melt_flow: Annotated[float, typer.Argument(help="g/10 min")], by: By, db: Db = DB,
         at: At = None) -> None:  # fmt: skip
    """Keep a measured melt flow of a can."""
    from cakewright.app.powder_books import look
    from cakewright.app.powder_deeds import measure_flow

    with opened(db) as store:
        measure_flow(store, can, melt_flow, by=by, at=moment(at))
        seen = look(store).can(can.strip().upper())
    if seen.flow is not None and seen.flow_range is not None:
        low, high = seen.flow_range
        typer.echo(f"{can}: {seen.flow:.1f} g/10 min now, with 90 % confidence {low:.1f} to {high:.1f}")


@powder.command(rich_help_panel="On the shelf")
def waste(can: Can, by: By, reason: Annotated[str, typer.Option("--cause", help="Why it is waste.")],
          kg: Annotated[float | None, typer.Option("--kg", help="Default: all of it.")] = None,
          db: Db = DB, at: At = None) -> None:  # fmt: skip
    """Discard powder, with its cause."""
    from cakewright.app.powder_deeds import discard

    with opened(db) as store:
        entry = discard(store, can, kg, reason=reason, by=by, at=moment(at))
    typer.echo(f"Entry {entry.number}: {entry.kg:.3f} kg to waste")


@powder.command(rich_help_panel="On the shelf")
def label(
    can: Can,
    by: By,
    lost: Annotated[bool, typer.Option("--lost/--found", help="Lost, or surely found again.")] = True,
    reason: Why = "",
    db: Db = DB,
    at: At = None,
) -> None:
    """Say that a label is lost (the can is waste then) or surely found again."""
    from cakewright.app.powder_deeds import find_label, lose_label

    with opened(db) as store:
        (lose_label if lost else find_label)(store, can, by=by, at=moment(at), reason=reason)
    typer.echo(f"{can}: label {'lost, only waste takes it now' if lost else 'found'}")


@powder.command(rich_help_panel="On the shelf")
def correct(
    number: Annotated[int, typer.Argument(help="The entry that is wrong.")],
    kg: Annotated[float, typer.Argument(help="What really moved, kg; 0: nothing did.")],
    by: By,
    reason: Why,
    db: Db = DB,
    at: At = None,
) -> None:
    """Put an entry right with a new one; the old one stays as it was written."""
    from cakewright.app.powder_deeds import correct as run

    with opened(db) as store:
        entry = run(store, number, kg, reason=reason, by=by, at=moment(at))
    typer.echo(f"Entry {entry.number} corrects entry {number} by {entry.kg:+.3f} kg")
