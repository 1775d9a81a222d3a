"""The packing list of an order: what goes into the box, a picture of each part, room for the count."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cakewright.documents.sections import (
    customer_of,
    facts,
    heading,
    letter,
    lines_of_order,
    part_cell,
    signatures,
    table,
    ticks,
    words,
)
from cakewright.documents.sheet import set_pdf
from cakewright.documents.words import count, grams, looks, moment, piece_mass_g, title, trays
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan

_COLUMNS = (
    ("", "auto"),
    ("Line, part", "2.2fr"),
    ("Ordered", "auto"),
    ("From", "1.1fr"),
    ("Expected mass", "auto"),
    ("Packed", "1fr"),
    ("Carton", "0.8fr"),
)


def packing_list_pdf(plan: WeekPlan, order: str, held: Mapping[int, str] | None = None) -> bytes:
    """The packing list of one order as a PDF file, A4; InputError when the order is not in the plan.

    `held` says for each line that must not be packed why: it stands in black on top.
    """
    lines = lines_of_order(plan, order)
    numbers = {line.line for line in lines}
    stop = [f"DO NOT PACK {plan.line(n).key}: {why}." for n, why in (held or {}).items() if n in numbers]
    return set_pdf("letter", {**_data(plan, order, lines), "stop": stop})


def line_mass_g(plan: WeekPlan, line: OrderLine) -> float | None:
    """Expected mass of all pieces of a line in g; None without a mesh."""
    one = piece_mass_g(plan, line)
    return None if one is None else one * line.quantity


def _data(plan: WeekPlan, order: str, lines: tuple[OrderLine, ...]) -> dict[str, Any]:
    here = [line for line in lines if plan.builds_of(line.line)]
    missing = [line for line in lines if line not in here]
    ready = [p.ready for p in plan.promises if p.line in {ln.line for ln in here} and p.ready is not None]
    masses = [m for m in (line_mass_g(plan, line) for line in here) if m is not None]
    blocks = [
        facts(
            ("For", customer_of(lines)),
            ("All lines ready", moment(max(ready), plan.cell.zone) if ready else "no date"),
            ("Pieces", str(sum(line.quantity for line in here))),
            ("Parts weigh about", f"{sum(masses) / 1000:.2f} kg" if masses else "____ kg"),
        ),
        heading("In the box"),
        table(_COLUMNS, [_row(plan, line) for line in here], roomy=True),
        *(_not_here(plan, missing) if missing else ()),
        heading("Before closing the box"),
        ticks(
            "Counted twice, or counted and weighed: both agree with the order",
            "Revision on the paper is the revision ordered, now",
            "Released by inspection; certificate and report are in, where asked for",
            "No loose powder in or on the parts; no surplus pieces of the customer's design in the box or on the bench",
        ),
        words("Expected mass is volume × sintered density of the material: a check of the count, not of quality."),
        signatures("Packed by · date", "Carrier · number of cartons", "Gross weight, kg", "Checked by"),
    ]
    return letter(plan, "Packing list", order, f"order-{order}", blocks)


def _row(plan: WeekPlan, line: OrderLine) -> list[Any]:
    builds = plan.builds_of(line.line)
    source = ", ".join(f"{b.key} tray {trays(b)[line.line]}" for b in builds)
    mass = line_mass_g(plan, line)
    return [
        part_cell(plan, line.line, 15),
        f"{line.key} {title(line)}\n{looks(plan, line)} · {line.finish}",
        str(line.quantity),
        source,
        "–" if mass is None else grams(mass),
        None,
        None,
    ]


def _not_here(plan: WeekPlan, missing: list[OrderLine]) -> tuple[dict[str, Any], ...]:
    aside = {s.line: s.reason for s in plan.set_aside}
    said = [
        f"{line.key} {title(line)}, {count(line.quantity, 'piece')}: {aside.get(line.line, 'in no build')}"
        for line in missing
    ]
    return (heading("Not in this delivery"), words(*said))
