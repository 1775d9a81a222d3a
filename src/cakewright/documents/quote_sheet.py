"""The quote sheet of an order: prices, dates with their chances, and the questions that are still open."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from cakewright.cost.requirements import check_complete
from cakewright.documents.sections import (
    Block,
    customer_of,
    facts,
    heading,
    letter,
    lines_of_order,
    part_cell,
    signatures,
    table,
    words,
)
from cakewright.documents.sheet import set_pdf
from cakewright.documents.tables import line_state
from cakewright.documents.words import count, due, moment, money, percent, title
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan

Price = tuple[Decimal, Decimal, Decimal]
_COLUMNS = (("", "auto"), ("Line", "auto"), ("Part", "2fr"), ("Each", "auto"), ("Amount", "auto"), ("Ready", "1.7fr"))


def quote_sheet_pdf(
    plan: WeekPlan, order: str, *, prices: Mapping[int, Price] | None = None, valid_until: date | None = None
) -> bytes:
    """The quote of one order as a PDF file, A4.

    `prices` gives (low, likely, high) of a whole line in the cell's currency; lines without one are
    quoted at the plan's cost and the sheet says so. InputError when the order is not in the plan.
    """
    lines = lines_of_order(plan, order)
    return set_pdf("letter", _data(plan, order, lines, dict(prices or {}), valid_until))


def _data(
    plan: WeekPlan, order: str, lines: tuple[OrderLine, ...], prices: dict[int, Price], valid_until: date | None
) -> dict[str, Any]:
    amounts = {line.line: _amount(plan, line.line, prices) for line in lines}
    known = [a for a in amounts.values() if a is not None]
    everything = count(len(lines), "line")
    asked = f"{len(known)} of {everything}" if len(known) < len(lines) else everything
    blocks: list[Block] = [
        facts(
            ("For", customer_of(lines)),
            ("Valid until", f"{valid_until:%Y-%m-%d}" if valid_until else "____________"),
            ("Sum", money(sum(known), plan.cell.rates.currency)),
            ("Holds for", asked),
        ),
        heading("Lines"),
        table(_COLUMNS, [_row(plan, line, amounts[line.line], prices.get(line.line)) for line in lines]),
        words(*_basis(plan, prices, lines)),
        *_questions(lines),
        signatures("Offered by · date", "Accepted by · date"),
    ]
    return letter(plan, "Quote", order, f"order-{order}", blocks)


def _amount(plan: WeekPlan, number: int, prices: dict[int, Price]) -> float | None:
    if number in prices:
        return float(prices[number][1])
    cost = next((c for c in plan.costs if c.line == number), None)
    return None if cost is None else cost.total


def _row(plan: WeekPlan, line: OrderLine, amount: float | None, price: Price | None) -> list[Any]:
    currency = plan.cell.rates.currency
    part = f"{line.quantity} × {title(line)}\n{line.material} · {line.finish} · {line.quality_class}"
    if amount is None:
        aside = next((s.reason for s in plan.set_aside if s.line == line.line), "no cost was computed")
        return [part_cell(plan, line.line, 16), line.key, part, "–", "not quoted", aside]
    said = money(amount, currency)
    if price is not None and price[0] != price[2]:
        said += f"\n{price[0]:.2f} to {price[2]:.2f}"
    return [
        part_cell(plan, line.line, 16),
        line.key,
        part,
        money(amount / line.quantity, currency),
        said,
        _ready(plan, line),
    ]


def _ready(plan: WeekPlan, line: OrderLine) -> str:
    promise = next((p for p in plan.promises if p.line == line.line), None)
    if promise is None or promise.ready is None:
        return "no date yet"
    zone = plan.cell.zone
    said = [f"plan: {moment(promise.ready, zone)}"]
    said += [f"50 %: {moment(promise.p50, zone)}"] if promise.p50 else []
    said += [f"90 %: {moment(promise.p90, zone)}"] if promise.p90 else []
    if line_state(plan, line.line) == "late":
        said.append(f"asked for {due(promise.due_by, zone)}")
    return "\n".join(said)


def _basis(plan: WeekPlan, prices: dict[int, Price], lines: tuple[OrderLine, ...]) -> list[str]:
    said = ["Dates are forecasts; 90 % means: kept in nine of ten simulated weeks."]
    if any(line.line not in prices for line in lines):
        said.append("Amounts without a range are the plan's cost at the cell's rates: no margin is added.")
    if plan.cell.failures.builds:
        share = plan.cell.failures.failed / plan.cell.failures.builds
        said.append(f"The risk share rests on {percent(share, 1)} failed builds in the cell's own record.")
    return said


def _questions(lines: tuple[OrderLine, ...]) -> list[Block]:
    """What is not settled by the order list, as questions ready to send."""
    settled = {"quantity", "date"}
    settled |= {"geometry"} if all(line.file and line.revision for line in lines) else set()
    settled |= {"feedstock"} if all(line.material for line in lines) else set()
    checked = check_complete(settled)
    title = f"Still to settle ({percent(checked.score)} of what a purchase of parts should state is known)"
    return [heading(title), words(*(f"□  {question}" for question in checked.questions))]
