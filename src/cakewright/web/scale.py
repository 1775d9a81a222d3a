"""Scale of the machines: ladders, the rule that fired, the proposal, who approved it."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app import scale_change
from cakewright.app.charts import chart_of
from cakewright.documents.control_chart import control_chart_svg
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, shelf_of, shown_of
from cakewright.web.typed import happened

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Short = Annotated[str, Form(max_length=120)]


@pages.get("/plans/{version}/scale")
def scale(
    shelf: Plans, request: Request, version: int, by: Annotated[str, Query(max_length=80)] = ""
) -> HTMLResponse:  # fmt: skip
    """Every axis that was measured: its chart, what is proposed and why, or why nothing is."""
    plan = shelf.plan(version)
    rows = [(s, _chart(s)) for s in scale_change.axis_states(shelf.store, plan)]
    now = shelf.clock()
    first = {s.machine: scale_change.may_begin(shelf.store, plan, s.machine, now) for s, _ in rows}
    return page(request, "scale.html", **shown_of(shelf, plan, "/lines"), rows=rows, first=first, by=by)


@pages.post("/plans/{version}/scale")
def approve(
    shelf: Plans, version: int, machine: Short, axis: Short, by: Short, note: Short = "", first: Short = "",
    when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """A second person takes a proposal."""
    plan, now = shelf.plan(version), shelf.clock()
    scale_change.approve(shelf.store, plan, machine, axis, by=by, at=happened(when, now), note=note, first=first,
                         uid=uid, kept_at=now)  # fmt: skip
    return RedirectResponse(f"/plans/{version}/scale?{urlencode({'by': by})}", status_code=303)


def _chart(state: scale_change.AxisState) -> str:
    drawn = chart_of([m.scale for m in state.ladders if m.opened_cold])
    if drawn is None:
        return ""
    return control_chart_svg(drawn.chart, drawn.signals, title=f"{state.machine} {state.axis}, measured over wanted")
