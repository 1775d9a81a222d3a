"""Quotes: made from a mesh in a minute, kept with every step, turned into order lines when accepted."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from cakewright import __version__
from cakewright.app.effort import Effort, effort_in_seconds
from cakewright.app.fit_in_plan import InPlan, as_new_line, fit_in_plan
from cakewright.app.intake import read_part
from cakewright.app.plan_dates import week_start
from cakewright.app.progress import Progress, quiet
from cakewright.app.quantity_prices import QUANTITIES, quantity_prices
from cakewright.app.quote_order import Quote, quote_order
from cakewright.cost.money import round_up, share_out
from cakewright.cost.requirements import REQUIREMENTS, check_complete
from cakewright.cost.rush import RushEffect, RushPrice, rush_surcharge
from cakewright.errors import DoesNotFitError
from cakewright.findings import Severity
from cakewright.model.cell import Cell
from cakewright.model.offer import BreakRow, CostRow, Offer
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import LineCost, LinePromise, WeekPlan
from cakewright.store import KeptOffer

ROWS = ("machine", "powder_in_parts", "refresh_burden", "hands", "finish", "risk")
SEARCH_S = 4.0  # each search of a quote: somebody is on the phone
ORDER_COLUMNS = (
    "line",
    "order",
    "received",
    "customer",
    "part",
    "rev",
    "qty",
    "material",
    "finish",
    "class",
    "due",
    "file",
)


def make_offer(
    file: Path,
    line: OrderLine,
    cell: Cell,
    plan: WeekPlan | None,
    *,
    now: datetime,
    clock: Callable[[], float],
    settled: Collection[str] = (),
    wanted: date | None = None,
    effort: Effort | None = None,
    progress: Progress = quiet,
    seed: int = 1,
) -> Offer:
    """Quote a mesh file.

    The part is read and checked, nested and scheduled alone, priced as one of many in full builds, tried in
    the builds of `plan` that are not loaded yet, and priced for other quantities. `settled` are keys of
    requirements the customer has already answered; `wanted` is the day asked for. `clock` counts seconds, unless
    `effort` says how long to search.
    Raises MeshFileError or DoesNotFitError when the part cannot be made here.
    """
    steps = 5
    progress("quoting", 0, steps, "reading the part")
    begin = week_start(None, now, [line], cell)
    line = replace(line, due=wanted or begin.date())
    part = read_part(line, cell, file)
    blocking = next((f for f in part.findings if f.severity is Severity.BLOCKING), None)
    if blocking is not None:
        raise DoesNotFitError(blocking.message, remedy=blocking.remedy, where=file.name)
    effort = effort or effort_in_seconds(SEARCH_S, clock)
    progress("quoting", 1, steps, "nesting and scheduling it alone")
    quote = quote_order(line, part, cell, start=begin, effort=effort, seed=seed)
    progress("quoting", 2, steps, "looking for room in the plan")
    inside, why_not = _inside(plan, line, part, now, effort, seed)
    progress("quoting", 3, steps, "pricing other quantities")
    quantities = sorted({*QUANTITIES, line.quantity})
    others = quantity_prices(line, part, cell, [q for q in quantities if q <= max(100, line.quantity)], seed=seed)
    progress("quoting", 4, steps, "writing it down")
    rush = _rush(plan, inside)
    price = _pricing(cell)
    likely = inside.cost if inside else quote.alone
    low, high = price(quote.shared.total), price(max(quote.alone.total, likely.total))
    promise = inside.promise if inside else quote.promise
    known = check_complete({"geometry", "quantity", "feedstock", *settled} | ({"date"} if wanted else set()))
    offer = Offer(
        customer=line.customer,
        part=line.part,
        revision=line.revision,
        file=file.name,
        file_sha256=part.origin.sha256,
        quantity=line.quantity,
        material=line.material,
        finish=line.finish,
        quality_class=line.quality_class,
        currency=cell.rates.currency,
        margin=cell.rates.margin,
        low=low,
        likely=min(max(price(likely.total), low), high),
        high=high,
        rows=_rows(quote.shared, inside.cost if inside else None, quote.alone),
        breaks=tuple(BreakRow(q.quantity, price(q.unit), price(q.cost.total), q.builds, q.is_break) for q in others),
        feasible=_feasible(inside, why_not, plan, cell),
        ready=_day(promise.ready, cell),
        ready_reason=promise.reason,
        p50=_day(promise.p50, cell),
        p90=_day(promise.p90, cell),
        on_time_probability=promise.on_time_probability,
        rush_surcharge=rush.surcharge if rush else None,
        rush_reason=_rush_words(rush),
        completeness=known.score,
        questions=known.questions,
        doubts=tuple(f.text for f in part.findings),
        assumptions=_assumptions(quote, part, cell, plan),
        valid_until=(now + timedelta(days=cell.rates.quote_valid_days)).date(),
        plan=plan.version if plan else 0,
        program=__version__,
        size_mm=part.measures.size_mm,
        volume_cm3=part.measures.volume_cm3,
    )
    progress("quoting", steps, steps)
    return offer


def questions_for_form() -> tuple[tuple[str, str], ...]:
    """Requirements that a form may tick as settled, (key, question): those it does not ask itself."""
    asked = {"geometry", "quantity", "feedstock", "date"}
    return tuple((r.key, r.question) for r in REQUIREMENTS if r.key not in asked)


def is_expired(offer: Offer, today: date) -> bool:
    """True when the day it held until has passed."""
    return today > offer.valid_until


def order_rows(offers: Collection[KeptOffer], *, received: date, first_line: int = 1) -> str:
    """Accepted quotes as rows of an order list (CSV with its heading)."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(ORDER_COLUMNS)
    for n, kept in enumerate(offers):
        o = kept.offer
        due = o.p90 or o.ready or received
        row = (first_line + n, kept.key, received, o.customer, o.part, o.revision, o.quantity, o.material, o.finish,
               o.quality_class, max(due, received), o.file)  # fmt: skip
        writer.writerow([_plain(cell) for cell in row])
    return out.getvalue()


def _plain(cell: object) -> str:
    """Text that a spreadsheet would run as a formula gets an apostrophe, as everywhere else."""
    text = str(cell)
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def _inside(
    plan: WeekPlan | None, line: OrderLine, part: Part, now: datetime, effort: Effort, seed: int
) -> tuple[InPlan | None, tuple[str, ...]]:
    if plan is None:
        return None, ("there is no plan yet",)
    new = as_new_line(line, plan)
    return fit_in_plan(plan, new, replace(part, key=new.key), now=now, effort=effort, seed=seed)


def _pricing(cell: Cell) -> Callable[[float], Decimal]:
    step = Decimal(repr(cell.rates.price_step))
    return lambda cost: round_up(cost * (1.0 + cell.rates.margin), step)


def _rows(shared: LineCost, inside: LineCost | None, alone: LineCost) -> tuple[CostRow, ...]:
    columns = [share_out([getattr(cost, name) for name in ROWS]) if cost else None for cost in (shared, inside, alone)]
    return tuple(
        CostRow(
            name.replace("_", " "),
            columns[0][i] if columns[0] else Decimal(0),
            columns[1][i] if columns[1] else None,
            columns[2][i] if columns[2] else Decimal(0),
        )
        for i, name in enumerate(ROWS)
    )


def _feasible(inside: InPlan | None, why_not: tuple[str, ...], plan: WeekPlan | None, cell: Cell) -> str:
    if inside is None:
        return "No planned build can take it: " + "; ".join(why_not) + ". Priced and dated in builds of its own."
    assert plan is not None
    said = (
        f"Fits into {inside.build.key} of plan {plan.version}: {max(inside.more_mm, 0.0):.0f} mm higher, "
        f"{max(inside.more_s, 0.0) / 3600:.1f} h longer"
    )
    late = [m.line for m in inside.moved if m.is_late]
    if late:
        said += f"; makes {', '.join(f'L{n:02d}' for n in late)} late"
    elif inside.moved:
        said += f"; moves {len(inside.moved)} lines, none becomes late"
    return said + (f". Earlier builds cannot: {'; '.join(why_not)}." if why_not else ".")


def _day(when: datetime | None, cell: Cell) -> date | None:
    return when.astimezone(cell.zone).date() if when else None


def _rush(plan: WeekPlan | None, inside: InPlan | None) -> RushPrice | None:
    """What going into the plan at once costs others; None when no build takes it."""
    if plan is None or inside is None:
        return None
    before = {p.line: p for p in plan.promises}
    price = {c.line: c.total for c in plan.costs}
    effects = [
        RushEffect(
            p.line,
            _chance(before[p.line]),
            _chance(p) if p.on_time_probability is not None or before[p.line].on_time_probability is None
            else _chance(before[p.line]) * (not p.is_late),
            _late_price(plan, p.line, price.get(p.line, 0.0)),
        )
        for p in inside.promises
        if p.line in before
    ]  # fmt: skip
    return rush_surcharge(effects, step=Decimal(repr(plan.cell.rates.price_step)))


def _chance(promise: LinePromise) -> float:
    if promise.on_time_probability is not None:
        return promise.on_time_probability
    return 0.0 if promise.is_late else 1.0


def _late_price(plan: WeekPlan, number: int, cost: float) -> Decimal:
    weight = plan.cell.quality_class(plan.line(number).quality_class).weight
    return round_up(max(cost, 0.0) * plan.cell.rates.late_price_share * weight)


def _rush_words(rush: RushPrice | None) -> str:
    if rush is None:
        return "no planned build takes it"
    if not rush.losses:
        return "nobody loses by it"
    return "; ".join(f"L{line:02d} loses {loss:.1%} of its on-time chance" for line, loss in rush.losses[:5])


def _assumptions(quote: Quote, part: Part, cell: Cell, plan: WeekPlan | None) -> tuple[str, ...]:
    origin = part.origin
    sure = "" if origin.unit_confidence >= 1 else f", {origin.unit_confidence:.0%} sure"
    said = [
        f"unit {origin.unit.value} ({origin.unit_reason}{sure})",
        f"cell {cell.name}: hands {cell.rates.hands_per_h:g} {cell.rates.currency}/h, margin {cell.rates.margin:.0%}",
        f"class {quote.line.quality_class}: refresh {cell.quality_class(quote.line.quality_class).refresh_ratio:.0%}",
        f"{cell.failures.failed} of {cell.failures.builds} builds failed in the cell's record",
        "low: one of many in full mixed builds of typical density; high: in builds of its own",
    ]
    said.append(f"plan {plan.version} as it stands" if plan else "an empty cell: no plan was there to look at")
    return tuple(said)
