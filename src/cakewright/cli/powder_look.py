"""What the powder commands print, and the ones that only look."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cakewright.cli.powder import DB, Db, PlanNumber, opened, powder
from cakewright.errors import InputError

if TYPE_CHECKING:
    from rich.table import Table

    from cakewright.app.powder_blend import Proposal
    from cakewright.findings import Finding
    from cakewright.store import Store


__all__ = ["powder", "run_blend", "say", "show_stock"]


def tell(text: str | Table, style: str | None = None) -> None:
    """Print a line or a table; words from people are not read as markup."""
    from cakewright.cli.screen import console

    console.print(text, style=style, markup=False)


def _table(title: str = "") -> Table:
    from rich.table import Table

    return Table(title=title)


def say(findings: Iterable[Finding]) -> None:
    """Print findings for people."""
    for finding in findings:
        typer.echo(f"{finding.severity.value}: {finding.text}")


def show_stock(store: Store, with_empty: bool) -> None:
    """The shelf as a table, then what may not be used."""
    from cakewright.app.powder_books import look

    view = look(store)
    if view.is_empty:
        typer.echo("The powder books are empty. Begin with a delivery: cakewright powder receive --help")
        return
    table = _table()
    for name in ("can", "kind", "material", "kg", "lots", "builds seen", "melt flow"):
        table.add_column(name, justify="right" if name in ("kg", "builds seen") else "left")
    for can in view.shelf(with_empty=with_empty):
        lots = ", ".join(f"{lot} {share:.0%}" for lot, share in can.lots[:3])
        more = f" and {len(can.lots) - 3} more" if len(can.lots) > 3 else ""
        flow = f"{can.flow:.0f} ({can.flow_range[0]:.0f} to {can.flow_range[1]:.0f})" if can.flow_range else ""
        table.add_row(can.key if can.is_labelled else f"{can.key} no label", can.kind.value, can.material,
                      f"{can.kg:.3f}", lots + more, can.age_words, flow)  # fmt: skip
    tell(table)
    today = datetime.now(UTC).date()
    for material in view.materials():
        there = view.stock(material, today)
        tell(
            f"{material}: {there.virgin_kg:.2f} kg virgin, {there.used_kg:.2f} kg used, {there.to_sieve_kg:.2f} kg to "
            f"sieve, {there.in_machines_kg:.2f} kg in machines",
        )
        for why in there.blocked_why:
            typer.echo(f"  not to be used: {why}")


def run_blend(
    store: Store,
    plan: int | None,
    build: str,
    mode: str,
    lots: int | None,
    weighed: list[str],
    by: str,
    reason: str,
    at: datetime,
    pdf: Path | None,
) -> None:
    """Print the slip, or book what was weighed."""
    from cakewright.app.powder_blend import Weighing, propose_blend, weigh_blend
    from cakewright.app.powder_rules import BlendMode

    if mode not in list(BlendMode):
        raise InputError(f"mode {mode!r}", remedy=f"use one of: {', '.join(BlendMode)}", where="--mode")
    week = store.load_plan(plan)
    slip = propose_blend(store, week, build, today=at.date(), mode=BlendMode(mode), most_lots=lots)
    if pdf is not None:
        from cakewright.documents.powder_slip import powder_slip_pdf

        pdf.write_bytes(powder_slip_pdf(week, build, slip.blend))
        typer.echo(f"Wrote {pdf}")
    if not weighed:
        _show_slip(slip)
        return
    asked = {p.can: p.kg for p in slip.blend.picks}
    scale = dict(_weighed(text) for text in weighed)
    strange = sorted(set(scale) - set(asked))
    if strange or set(asked) - set(scale):
        raise InputError(
            f"weighed {', '.join(scale)}; the slip asks for {', '.join(asked)}",
            remedy="weigh the cans of the slip, each once",
            where="--weighed",
        )
    whole = {p.can for p in slip.blend.picks if p.is_whole}
    weighings = [Weighing(can, asked[can], kg, can in whole) for can, kg in scale.items()]
    done = weigh_blend(store, week, build, weighings, by=by, at=at, reason=reason)
    typer.echo(f"Blend {done.blend}: {done.kg:.3f} kg, melt flow about {done.flow:.0f}, {done.age:.1f} builds seen.")


def _show_slip(slip: Proposal) -> None:
    blend = slip.blend
    table = _table(title=f"{slip.build}: {blend.kg:.2f} kg, {blend.reason}")
    for name in ("", "can", "kg", "may be off", "take"):
        table.add_column(name)
    for p in blend.picks:
        take = "all of it" if p.is_whole else "part"
        table.add_row(str(p.order), p.can, f"{p.kg:.2f}", f"{p.tolerance_kg:.2f}", take)
    tell(table)
    typer.echo(f"Mix {blend.mixing_min:.0f} min. Lots: {', '.join(blend.lots)}.")
    weighed = " ".join(f"--weighed {p.can}={p.kg:.2f}" for p in blend.picks)
    typer.echo(f"Then: cakewright powder blend {slip.build} {weighed} --by YOU")


def _weighed(text: str) -> tuple[str, float]:
    can, _, kg = text.partition("=")
    try:
        return can.strip().upper(), float(kg)
    except ValueError as wrong:
        raise InputError(f"{text!r} is no weighing", remedy="write U03=7.98", where="--weighed") from wrong


@powder.command(rich_help_panel="Come in")
def labels(
    cans: Annotated[list[str] | None, typer.Argument(help="Codes; default every can on the shelf.")] = None,
    out: Annotated[Path, typer.Option("--out", help="The file to write.")] = Path("can-labels.pdf"),
    db: Db = DB,
) -> None:
    """Write labels with QR codes (PDF, eight to a sheet)."""
    from cakewright.app.powder_books import code_of, look
    from cakewright.documents.can_labels import can_labels_pdf

    with opened(db) as store:
        view = look(store)
        wanted = [view.can(code_of(view.ledger, c)) for c in cans] if cans else view.to_label()
        out.write_bytes(can_labels_pdf(wanted, view.ledger.lots))
    typer.echo(f"Wrote {out}: {', '.join(can.key for can in wanted)}")


@powder.command(rich_help_panel="Look")
def recall(
    lot: Annotated[str, typer.Argument(help="The lot.")],
    at_least: Annotated[
        float | None, typer.Option("--at-least", min=0.1, max=100, help="Smallest share that counts, %.")
    ] = None,
    csv: Annotated[Path | None, typer.Option("--csv", help="Write every single piece into this file.")] = None,
    db: Db = DB,
) -> None:
    """Who got something of this lot: cans, builds, orders, customers."""
    from cakewright.app.powder_recall import recall_csv, recall_lot
    from cakewright.sources.powder import RECALL_THRESHOLD

    threshold = RECALL_THRESHOLD.value if at_least is None else at_least / 100
    with opened(db) as store:
        found = recall_lot(store, lot, threshold)
        tell(
            f"Lot {found.lot}, share of at least {found.threshold:.1%}: {found.pieces} pieces in {len(found.builds)} "
            f"builds, {len(found.cans)} cans",
            style="bold",
        )
        for can in found.cans:
            tell(f"  {can.can} ({can.kind}): {can.lot_kg:.2f} of {can.kg:.2f} kg")
        for customer, pieces, orders in found.customers:
            tell(f"  {customer or 'no customer'}: {pieces} pieces, orders {', '.join(orders)}")
        if csv is not None:
            with csv.open("w", encoding="utf-8-sig", newline="") as file:
                file.writelines(recall_csv(store, lot, threshold))
            typer.echo(f"Wrote {csv}")


@powder.command(rich_help_panel="Look")
def piece(
    piece: Annotated[str, typer.Argument(help="Piece, such as L07-03.")], plan: PlanNumber = None, db: Db = DB
) -> None:
    """From which lots a piece was made."""
    from cakewright.app.powder_recall import lots_of_piece

    with opened(db) as store:
        version = plan if plan is not None else store.newest()
        for lot, share in lots_of_piece(store, version or 0, piece).items():
            typer.echo(f"{lot}: {share:.1%}")


@powder.command(rich_help_panel="Look")
def month(month: Annotated[datetime, typer.Argument(formats=["%Y-%m"], help="Such as 2027-03.")], db: Db = DB) -> None:
    """Close the month: in, out, stock, and what is not explained."""
    from cakewright.app.powder_books import look
    from cakewright.app.powder_month import month_books
    from cakewright.app.remake import scrap_kg

    start = month.replace(tzinfo=UTC)
    end = start.replace(year=start.year + start.month // 12, month=start.month % 12 + 1)
    with opened(db) as store:
        view = look(store)
        for material in view.materials():
            books = month_books(view, material, start, end, scrap_kg=scrap_kg(store, material, start, end))
            a = books.account
            table = _table(title=f"{material}, {month:%Y-%m}, kg")
            for name, kg in (("at the start", a.opening_kg), ("came in", a.delivered_kg), ("in parts", -a.shipped_kg),
                             ("waste", -a.waste_kg), ("at the end", a.closing_kg),
                             ("not explained", a.unexplained_kg)):  # fmt: skip
                table.add_row(name, f"{kg:+.3f}")
            tell(table)
            for can, kg, why in books.named:
                typer.echo(f"  {can}: {kg:+.3f} kg, {why}")
            if books.not_weighed:
                typer.echo(f"  not on the scale this month: {', '.join(books.not_weighed)}")
            say([books.finding] if books.finding else [])


@powder.command(rich_help_panel="Look")
def outlook(
    weeks: Annotated[int, typer.Option("--weeks", min=1, max=52, help="How many weeks ahead.")] = 8,
    lead: Annotated[int | None, typer.Option("--lead", min=0, help="Weeks from order to delivery.")] = None,
    coming: Annotated[str, typer.Option("--coming", help="Deliveries on their way: '20@3 10@5'.")] = "",
    plan: PlanNumber = None,
    db: Db = DB,
) -> None:
    """The coming weeks at the pace of the plan: order-by date, used stock, what would change it."""
    from cakewright.app.powder_outlook import coming_deliveries
    from cakewright.app.powder_outlook import outlook as project
    from cakewright.app.powder_stock import stocked_cell
    from cakewright.sources.powder import SUPPLIER_LEAD_WEEKS

    today = datetime.now(UTC).date()
    with opened(db) as store:
        week = store.load_plan(plan)
        cell = stocked_cell(week.cell, store, today)
    for material in sorted({b.material for b in week.builds}):
        there = cell.material(material)
        seen = project(week, material, virgin_kg=there.virgin_kg, used_kg=there.used_kg, today=today, weeks=weeks,
                       deliveries=coming_deliveries(coming),
                       lead_weeks=round(SUPPLIER_LEAD_WEEKS.value) if lead is None else lead)  # fmt: skip
        tell(f"{material}: {seen.charge_kg_per_week:.1f} kg a week", style="bold")
        typer.echo(f"  refresh {seen.refresh_ratio:.0%}, break-even {seen.break_even_ratio:.0%}: used stock "
                   f"{seen.surplus_kg_per_week:+.1f} kg a week, {seen.month_surplus_kg:+.1f} kg a month")  # fmt: skip
        typer.echo(f"  order by {seen.order_by}" if seen.order_by else f"  no order needed in {weeks} weeks")
        for week_number in range(weeks):
            low, middle, high = seen.projection.virgin_kg[:, week_number]
            used = seen.projection.used_kg[:, week_number]
            typer.echo(f"  week {week_number + 1}: virgin {middle:.0f} kg ({low:.0f} to {high:.0f}), "
                       f"used {used[1]:.0f} kg ({used[0]:.0f} to {used[2]:.0f})")  # fmt: skip
        for advice in (*seen.steps, *seen.advice):
            typer.echo(f"  {advice.text}")
