"""Upkeep of the floor: gauges and their studies."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app import gauges
from cakewright.errors import InputError
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, shelf_of, shown_of
from cakewright.web.typed import happened
from cakewright.web.typed import number as typed

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Short = Annotated[str, Form(max_length=120)]
By = Annotated[str, Query(max_length=80)]


@pages.get("/plans/{version}/gauges")
def all_gauges(shelf: Plans, request: Request, version: int, by: By = "") -> HTMLResponse:
    """The register of gauges, what is due first at the top, and a place for a study."""
    return _gauges(shelf, request, version, by)


@pages.post("/plans/{version}/gauges")
def enter_gauge(
    shelf: Plans, version: int, name: Short, due: Short, by: Short, what: Short = "", share: Short = "",
    when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """A gauge is entered, or calibrated again."""
    now = shelf.clock()
    percent = typed(share, "share of the tolerance") if share else None
    gauges.enter_gauge(shelf.store, shelf.plan(version), name=name, what=what, due=due, share_percent=percent, by=by,
                       at=happened(when, now), uid=uid, kept_at=now)  # fmt: skip
    return _back(f"/plans/{version}/gauges", by)


@pages.post("/plans/{version}/gauges/out")
def take_out(shelf: Plans, version: int, name: Short, by: Short, why: Short = "") -> Response:
    """A gauge leaves the register."""
    gauges.take_out(shelf.store, shelf.plan(version), name, by=by, at=shelf.clock(), why=why)
    return _back(f"/plans/{version}/gauges", by)


@pages.post("/plans/{version}/gauges/study")
def study(
    shelf: Plans, request: Request, version: int, name: Short, by: Short, text: Annotated[str, Form(max_length=20_000)]
) -> HTMLResponse:
    """A pasted study is judged and kept; what cannot be read comes back with the reason and the text."""
    try:
        result = gauges.keep_study(shelf.store, shelf.plan(version), name, text, by=by, at=shelf.clock())
    except InputError as wrong:
        return _gauges(shelf, request, version, by, wrong=wrong, text=text, asked=name, status=422)
    return _gauges(shelf, request, version, by, result=result, asked=name)


def _gauges(shelf: Shelf, request: Request, version: int, by: str, *, status: int = 200, **more: Any) -> HTMLResponse:
    plan = shelf.plan(version)
    found = gauges.gauges(shelf.store)
    today = shelf.clock().astimezone(plan.cell.zone).date()
    shown = {"wrong": None, "result": None, "text": "", "asked": "", **more}
    return page(request, "gauges.html", status=status, **shown_of(shelf, plan, "/lines"), gauges=found, by=by,
                today=today, findings=gauges.due_findings(found, today), **shown)  # fmt: skip


def _back(address: str, by: str) -> Response:
    return RedirectResponse(f"{address}?{urlencode({'by': by})}", status_code=303)
