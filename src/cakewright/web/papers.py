"""Papers and tables of a stored plan, made when somebody asks for them."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module

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


def table_csv(plan: WeekPlan, name: str) -> str:
    """The text of one table; NotThereError for a table that does not exist."""
    if name not in TABLES:
        raise NotThereError(f"there is no table {name!r}", remedy=f"there are: {', '.join(TABLES)}")
    make: Callable[[WeekPlan], str] = getattr(import_module("cakewright.documents.tables"), f"{name}_csv")
    return make(plan)
