"""The packing bench: what of an order is ready, what is held and why, what went into which carton."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app import pack_line
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, line_of, shelf_of, shown_of
from cakewright.web.typed import above_zero, happened

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Short = Annotated[str, Form(max_length=120)]


@pages.get("/plans/{version}/packing")
def packing(
    shelf: Plans, request: Request, version: int, order: Annotated[str, Query(max_length=120)] = "",
    by: Annotated[str, Query(max_length=80)] = "",
) -> HTMLResponse:  # fmt: skip
    """One order on the bench: counts, holds, cartons; without an order the list of orders."""
    plan = shelf.plan(version)
    orders = list(dict.fromkeys(line.order for line in plan.orders.lines))
    chosen = order or (orders[0] if orders else "")
    rows = pack_line.packing_of_order(shelf.store, plan, chosen) if orders else ()
    masses = {r.line: pack_line.expected_mass_g(plan, r.line, max(1, r.ready)) for r in rows}
    return page(request, "packing.html", **shown_of(shelf, plan, "/papers"), orders=orders, order=chosen, rows=rows,
                masses=masses, by=by)  # fmt: skip


@pages.post("/plans/{version}/lines/{number}/pack")
def pack(
    shelf: Plans, version: int, number: int, pieces: Annotated[int, Form(ge=1, le=100_000)], by: Short,
    carton: Short = "", mass_g: Short = "", when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """Pieces of a line go into a carton; refused with the reason while the line is held."""
    plan, now = shelf.plan(version), shelf.clock()
    line = line_of(plan, number)
    pack_line.pack(shelf.store, plan, number, pieces=pieces, carton=carton, by=by, at=happened(when, now), uid=uid,
                   mass_g=above_zero(mass_g, "mass") if mass_g else None, kept_at=now)  # fmt: skip
    return RedirectResponse(f"/plans/{version}/packing?{urlencode({'order': line.order, 'by': by})}", status_code=303)
