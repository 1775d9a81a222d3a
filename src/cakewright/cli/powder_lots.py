"""The powder commands about delivered lots: values, own limits, decisions."""

from __future__ import annotations

from typing import Annotated

import typer

from cakewright.cli.powder import DB, At, By, Db, Why, moment, opened, powder
from cakewright.cli.powder_look import say
from cakewright.model.goods_in import Decision, LotProperty, Origin

__all__ = ["powder"]

Lot = Annotated[str, typer.Argument(help="The lot.")]
What = Annotated[LotProperty, typer.Argument(help="What was measured.")]


@powder.command(rich_help_panel="Look")
def lots(
    material: Annotated[str | None, typer.Option("--material", help="Only of this material.")] = None, db: Db = DB
) -> None:
    """Delivered lots: values beside own limits and the lots before, and which may be used."""
    from rich.table import Table

    from cakewright.app.powder_books import look
    from cakewright.app.powder_goods_in import judged_lots
    from cakewright.cli.screen import console

    with opened(db) as store:
        judged = judged_lots(look(store), material)
    if not judged:
        typer.echo("No lot was delivered yet: cakewright powder receive --help")
    for j in judged:
        table = Table("property", "value", "from", "own limits", "beside the lots before",
                      title=f"{j.lot.key}, {j.lot.material}: {j.decision}, {j.kg:.1f} kg left")  # fmt: skip
        for v in j.values:
            held = f"outside {v.limits_text}" if v.is_outside else v.limits_text
            beside = v.unlike or ("like them" if v.chart else "fewer than two before it")
            table.add_row(str(v.what), f"{v.value:g} {v.unit}", v.origin, held, beside)
        console.print(table)
        say(j.findings)


@powder.command(rich_help_panel="Come in")
def value(
    lot: Lot,
    what: What,
    value: Annotated[float, typer.Argument(help="g/10 min, kg/L, %, µm; a ratio as it is.")],
    by: By,
    origin: Annotated[Origin, typer.Option("--from", help="Who measured it.")] = Origin.CERTIFICATE,
    db: Db = DB,
    at: At = None,
) -> None:
    """Keep a value of a lot; outside your own limits the lot is put on hold."""
    from cakewright.app.powder_goods_in import note_lot_value

    with opened(db) as store:
        judged = note_lot_value(store, lot, what, value, origin=origin, by=by, at=moment(at))
    typer.echo(f"Lot {lot}: {what} {value:g} kept. The lot is {judged.decision}.")
    say(judged.findings)


@powder.command(rich_help_panel="Come in")
def limits(
    material: Annotated[str, typer.Argument(help="As in the cell file.")],
    what: What,
    by: By,
    reason: Why = "",
    low: Annotated[float | None, typer.Option("--at-least", help="Lower limit.")] = None,
    high: Annotated[float | None, typer.Option("--at-most", help="Upper limit.")] = None,
    db: Db = DB,
    at: At = None,
) -> None:
    """Set your own limits for lots to come; without both, they are taken away."""
    from cakewright.app.powder_goods_in import set_lot_limits

    with opened(db) as store:
        set_lot_limits(store, material, what, low=low, high=high, reason=reason, by=by, at=moment(at))
    typer.echo(f"{material}: limits of {what} kept for the lots to come.")


@powder.command(rich_help_panel="Come in")
def decide(
    lot: Lot,
    decision: Annotated[Decision, typer.Argument(help="May it be used?")],
    by: By,
    reason: Why = "",
    db: Db = DB,
    at: At = None,
) -> None:
    """Let a lot free, put it on hold or reject it, with the reason."""
    from cakewright.app.powder_goods_in import decide_lot

    with opened(db) as store:
        judged = decide_lot(store, lot, decision, reason=reason, by=by, at=moment(at))
    typer.echo(f"Lot {lot} is {judged.decision}.")
