"""Building blocks of the papers that go to a customer or to a colleague: facts, tables, ticks, text, signatures.

Each block is a JSON value that `templates/letter.typ` knows how to set.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from cakewright.documents.render import Picture, Shape, draw
from cakewright.documents.sheet import picture_svg
from cakewright.errors import InputError
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan
from cakewright.safety import CLOSING

Block = dict[str, Any]
_PAPER_GREY = (0.78, 0.78, 0.78)
_THUMB_PX = 220
BLANK = "\u00a0"


def letter(
    plan: WeekPlan, title: str, subtitle: str, path: str, blocks: Sequence[Block], **more: Any
) -> dict[str, Any]:
    """The data of a paper: `path` goes into the QR code after the plan, `blocks` make the body."""
    return {
        "title": f"{title} · {plan.cell.name} · plan {plan.version}",
        "subtitle": subtitle,
        "id": f"cakewright:plan-{plan.version}/{quote(path, safe='/-')}",
        "footer": f"{plan.cell.name} · plan {plan.version} · {title.lower()}",
        "lead": None,
        "stop": [],
        "closing": CLOSING,
        "blocks": list(blocks),
        **more,
    }


def heading(text: str) -> Block:
    """A heading inside the paper."""
    return {"kind": "heading", "text": text}


def facts(*pairs: tuple[str, str]) -> Block:
    """Label and value, two columns."""
    return {"kind": "facts", "pairs": [list(p) for p in pairs]}


def table(columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[Any]], *, roomy: bool = False) -> Block:
    """Rows under titles; a column is (title, width), width 'auto' or a share such as '1fr'.

    A cell is text, a `picture_cell`, or None for a box to write in. `roomy` leaves space for handwriting.
    """
    return {
        "kind": "table",
        "titles": [title for title, _ in columns],
        "widths": [width for _, width in columns],
        "rows": [list(r) for r in rows],
        "roomy": roomy,
    }


def words(*sentences: str, strong: bool = False) -> Block:
    """Sentences, one to a line."""
    return {"kind": "words", "items": list(sentences), "strong": strong}


def ticks(*items: str, across: int = 1, small: bool = False) -> Block:
    """Boxes to tick, `across` beside each other."""
    return {"kind": "ticks", "items": list(items), "across": across, "small": small}


def signatures(*items: str) -> Block:
    """Lines to sign."""
    return {"kind": "signatures", "items": list(items)}


def part_cell(plan: WeekPlan, number: int, width_mm: float = 20.0) -> Block | str:
    """A small picture of the part of a line; empty where the plan has no mesh."""
    key = plan.part_of_line.get(number)
    if key is None or key not in plan.parts:
        return ""
    return {"svg": picture_svg(part_drawing(plan, key)), "mm": width_mm}


def part_drawing(plan: WeekPlan, part_key: str, size: int = _THUMB_PX) -> Picture:
    """A part as it lies in its file, in grey."""
    return draw([Shape("part", plan.parts[part_key].mesh, _PAPER_GREY)], "corner", size)


def lines_of_order(plan: WeekPlan, order: str) -> tuple[OrderLine, ...]:
    """The lines of an order; InputError naming the known ones when there is none of that name."""
    lines = tuple(line for line in plan.orders.lines if line.order == order)
    if not lines:
        known = ", ".join(sorted({line.order for line in plan.orders.lines}))
        raise InputError(f"order {order!r} is not in the plan", remedy=f"use one of: {known}")
    return lines


def customer_of(lines: Sequence[OrderLine]) -> str:
    """Whom the lines are for."""
    return " · ".join(dict.fromkeys(line.customer for line in lines if line.customer)) or BLANK
