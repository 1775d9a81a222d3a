"""Papers and tables of a stored plan, made when somebody asks for them."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

from cakewright.model.plan import WeekPlan
from cakewright.web.trouble import NotThereError

PAPERS = {  # name in the address: (title, what it is for, module, function)
    "traveller": ("Traveller", "goes with the chamber: checklist, cautions, hours", "traveller", "traveller_pdf"),
    "unpacking-map": (
        "Unpacking map",
        "what lies where, from the top of the cake down",
        "unpack_map",
        "unpack_map_pdf",
    ),
    "powder-slip": ("Powder slip", "what to weigh and blend", "powder_slip", "powder_slip_pdf"),
    "tray-labels": ("Tray labels", "one label for each line", "labels", "labels_pdf"),
    "cooling-sheet": (
        "Cooling sheet",
        "hangs on the chamber until it is measured and opened",
        "cooling_sheet",
        "cooling_sheet_pdf",
    ),
}
ORDER_PAPERS = {  # of one order: (title, what it is for, module, function)
    "packing-list": ("Packing list", "goes into the box: pieces counted by line", "packing_list", "packing_list_pdf"),
    "certificate": (
        "Certificate",
        "with the records of the floor; says what is open, valid when a person has signed",
        "certificate",
        "certificate_pdf",
    ),
    "quote-sheet": ("Quote sheet", "all lines of the order at the plan's cost", "quote_sheet", "quote_sheet_pdf"),
}
TABLES = {
    "placements": "every piece: where it stands and how it is turned",
    "schedule": "every task with people and places",
    "powder": "what each build takes and gives back",
    "quotes": "cost and date of each line",
}


def paper_pdf(plan: WeekPlan, build: str, name: str) -> bytes:
    """The PDF of one paper of a build; NotThereError for a paper that does not exist."""
    if name not in PAPERS:
        raise NotThereError(f"there is no paper {name!r}", remedy=f"there are: {', '.join(PAPERS)}")
    _title, _purpose, module, function = PAPERS[name]
    make: Callable[[WeekPlan, str], bytes] = getattr(import_module(f"cakewright.documents.{module}"), function)
    return make(plan, build)


def order_pdf(plan: WeekPlan, order: str, name: str, **more: Any) -> bytes:
    """The PDF of one paper of an order; NotThereError for a paper or an order that does not exist."""
    if name not in ORDER_PAPERS:
        raise NotThereError(f"there is no paper {name!r}", remedy=f"there are: {', '.join(ORDER_PAPERS)}")
    if order not in {line.order for line in plan.orders.lines}:
        raise NotThereError(f"plan {plan.version} has no order {order!r}", remedy="choose one from the papers")
    _title, _purpose, module, function = ORDER_PAPERS[name]
    make: Callable[..., bytes] = getattr(import_module(f"cakewright.documents.{module}"), function)
    return make(plan, order, **more)


def table_csv(plan: WeekPlan, name: str) -> str:
    """The text of one table; NotThereError for a table that does not exist."""
    if name not in TABLES:
        raise NotThereError(f"there is no table {name!r}", remedy=f"there are: {', '.join(TABLES)}")
    make: Callable[[WeekPlan], str] = getattr(import_module("cakewright.documents.tables"), f"{name}_csv")
    return make(plan)
