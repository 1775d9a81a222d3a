"""The powder account of a month: what was there, came, went and is there, and what nobody can explain."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cakewright.app.powder_books import PowderView
from cakewright.errors import InputError
from cakewright.findings import Finding
from cakewright.powder.health import MonthAccount, check_month
from cakewright.powder.ledger import OUTSIDE, ContainerKind, Ledger


@dataclass(frozen=True, slots=True)
class MonthBooks:
    """One material from `start` to `end`, kg. `named` lists differences found by weighing, with their reasons."""

    material: str
    start: datetime
    end: datetime
    account: MonthAccount
    waste_by_cause: tuple[tuple[str, float], ...]
    named: tuple[tuple[str, float, str], ...]
    not_weighed: tuple[str, ...]
    finding: Finding | None


def month_books(
    view: PowderView, material: str, start: datetime, end: datetime, *, scrap_kg: float = 0.0
) -> MonthBooks:  # fmt: skip
    """Close the books of a material over [start, end); closing stock is what the scales say it is.

    `scrap_kg` of what left the stock in parts was rejected, broken or lost: it is told apart from what was shipped.

    Differences that weighing found count as not explained, whatever name they were given.
    """
    if not start < end:
        raise InputError(f"the month ends at {end}, before it starts", remedy="give an end after the start")
    ledger = view.ledger
    flows = dict.fromkeys(("opening", "delivered", "parts", "waste", "missing", "found", "stated"), 0)
    causes: dict[str, float] = {}
    named = []
    for m in ledger.movements():
        entry = ledger.entries[m.number - 1]
        if material not in (ledger.containers[m.source].material, ledger.containers[m.target].material):
            continue
        if entry.at >= end:
            continue
        what = _what(ledger, m.source, m.target)
        if entry.at < start:
            flows["opening"] += _into_stock(what, m.grams)
            continue
        if what:
            flows[what] += m.grams
        if what == "waste":
            causes[entry.reason or "no cause"] = causes.get(entry.reason or "no cause", 0.0) + m.grams / 1000
        if what in ("missing", "found"):
            sign = -1 if what == "missing" else 1
            can = m.source if what == "missing" else m.target
            named.append((can, sign * m.grams / 1000, entry.reason))
    kg = {name: grams / 1000 for name, grams in flows.items()}
    closing = kg["opening"] + kg["delivered"] + kg["stated"] + kg["found"] - kg["parts"] - kg["waste"] - kg["missing"]
    account = MonthAccount(
        opening_kg=kg["opening"],
        delivered_kg=kg["delivered"] + kg["stated"],
        shipped_kg=kg["parts"] - min(scrap_kg, kg["parts"]),
        scrap_kg=min(scrap_kg, kg["parts"]),
        waste_kg=kg["waste"],
        closing_kg=closing,
    )
    return MonthBooks(
        material,
        start,
        end,
        account,
        tuple(sorted(causes.items(), key=lambda pair: -pair[1])),
        tuple(named),
        _not_weighed(view, material, start, end),
        check_month(account),
    )


def _what(ledger: Ledger, source: str, target: str) -> str:
    """The side of the account that a movement is on; empty inside the stock."""
    from_, to = ledger.containers[source].kind, ledger.containers[target].kind
    if from_ is ContainerKind.SUPPLIER:
        return "delivered"
    if from_ in OUTSIDE:
        return "found" if source.startswith("found") else "stated"
    sides = {ContainerKind.PARTS: "parts", ContainerKind.WASTE: "waste", ContainerKind.MISSING: "missing"}
    return sides.get(to, "")


def _into_stock(what: str, grams: int) -> int:
    return {"": 0, "delivered": grams, "found": grams, "stated": grams}.get(what, -grams)


def _not_weighed(view: PowderView, material: str, start: datetime, end: datetime) -> tuple[str, ...]:
    """Cans with powder that nobody put on the scale in the month."""
    weighed = {r.key for r in view.books.remarks if r.what == "weighed" and start <= r.at < end}
    return tuple(can.key for can in view.shelf(material) if can.key not in weighed)
