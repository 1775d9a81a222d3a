"""Inspection entry, charts over time, and what to do when something is wrong."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app import contain
from cakewright.app.charts import KINDS, draw_kind
from cakewright.app.gauges import gauge_doubts, gauges
from cakewright.app.inspect_line import Watched, characteristics, record_reading, verdict_of, watched
from cakewright.app.remake import remake_list, remakes
from cakewright.documents.control_chart import control_chart_svg
from cakewright.errors import InputError
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, line_of, shelf_of, shown_of
from cakewright.web.typed import happened
from cakewright.web.typed import number as typed

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
LINE = "/plans/{version}/lines/{number}"
Short = Annotated[str, Form(max_length=120)]


@pages.get(LINE + "/inspect")
def inspect(
    shelf: Plans,
    request: Request,
    version: int,
    number: int,
    by: Annotated[str, Query(max_length=80)] = "",
    aql: Annotated[str, Query(max_length=8)] = "",
) -> HTMLResponse:
    """Which pieces to measure, the values so far, and what they say."""
    plan = shelf.plan(version)
    line = line_of(plan, number)
    verdict = verdict_of(shelf.store, plan, number, aql=typed(aql, "AQL") if aql else None)
    pieces = [p.piece for b in plan.builds_of(number) for p in b.pieces_of(number)]
    shown = {
        **shown_of(shelf, plan, "/lines"),
        "line": line,
        "verdict": verdict,
        "pieces": pieces,
        "by": by,
        "aql": aql,
    }
    return page(request, "inspect.html", **shown, known=characteristics(verdict.readings),
                doubts=gauge_doubts(shelf.store, verdict.readings), gauges=gauges(shelf.store))  # fmt: skip


@pages.post(LINE + "/inspect")
def measured(
    shelf: Plans, version: int, number: int, piece: Short, name: Short, value: Short, by: Short,
    low: Short = "", high: Short = "", gauge: Short = "", when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """Keep one value."""
    plan = shelf.plan(version)
    line_of(plan, number)
    record_reading(
        shelf.store, plan, number, piece=piece, name=name, value=typed(value, "value"),
        low=typed(low, "low") if low else None, high=typed(high, "high") if high else None,
        gauge=gauge, by=by, at=happened(when, shelf.clock()), uid=uid, kept_at=shelf.clock(),
    )  # fmt: skip
    return RedirectResponse(_with_name(f"/plans/{version}/lines/{number}/inspect", by), status_code=303)


@pages.get("/plans/{version}/charts")
def charts(
    shelf: Plans, request: Request, version: int, kind: Annotated[str, Query(max_length=12)] = "individuals"
) -> HTMLResponse:
    """Every characteristic that was measured, in order of time; what is unusual first."""
    plan = shelf.plan(version)
    rows = [(w, *_drawn(w, kind)) for w in watched(shelf.store)]
    return page(request, "charts.html", **shown_of(shelf, plan, "/lines"), rows=rows, kinds=KINDS, kind=kind)


def _drawn(seen: Watched, kind: str) -> tuple[list[str], list[str], str]:
    """Charts as SVG, what is unusual on them in words, or why there is no chart."""
    try:
        found = draw_kind(kind, seen.readings, seen.builds)
    except InputError as wrong:
        return [], [], f"{wrong.found}: {wrong.remedy}."
    last, tolerance = seen.readings[-1], kind in ("individuals", "x-bar")
    svgs = [
        control_chart_svg(d.chart, d.signals, title=f"{seen.key}, {d.chart.name}",
                          low=last.low if tolerance and not i else None,
                          high=last.high if tolerance and not i else None)
        for i, d in enumerate(found)
    ]  # fmt: skip
    said = [f"{d.chart.name}, {d.labels[s.index]}: {s.rule}" for d in found for s in d.signals[-6:]]
    return svgs, said, ""


@pages.get("/plans/{version}/wrong")
def wrong(
    shelf: Plans, request: Request, version: int, piece: Annotated[str, Query(max_length=80)] = ""
) -> HTMLResponse:
    """Nonconformances of a plan, and what shares something with a piece."""
    plan = shelf.plan(version)
    found = contain.suspects(shelf.store, plan, piece) if piece else ()
    return page(
        request,
        "wrong.html",
        **shown_of(shelf, plan, "/lines"),
        piece=piece,
        found=found,
        kept=contain.mistakes(shelf.store, plan),
        decisions=contain.DECISIONS,
        remake=remakes(shelf.store, plan),
        causes=contain.causes(contain.mistakes(shelf.store, plan)),
    )


@pages.get("/plans/{version}/remake.csv")
def remake_orders(shelf: Plans, version: int, all_lines: bool = False) -> Response:
    """What is to be made again as an order list; with `all_lines` after the lines of the plan, ready to be planned."""
    plan = shelf.plan(version)
    text = remake_list(shelf.store, plan, with_orders=plan.orders.lines if all_lines else ())
    headers = {"content-disposition": f'attachment; filename="plan-{version:03d}-remake.csv"'}
    return Response(text.encode("utf-8-sig"), media_type="text/csv; charset=utf-8", headers=headers)


@pages.post("/plans/{version}/wrong")
def report(
    shelf: Plans, version: int, piece: Short, what: Annotated[str, Form(max_length=400)], by: Short, cause: Short = "",
    when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """Keep what is wrong with a piece."""
    plan, now = shelf.plan(version), shelf.clock()
    contain.report_mistake(shelf.store, plan, piece, what=what, cause=cause, by=by, at=happened(when, now), uid=uid,
                           kept_at=now)  # fmt: skip
    return RedirectResponse(f"/plans/{version}/wrong", status_code=303)


@pages.post("/plans/{version}/wrong/{number}")
def decide(
    shelf: Plans, version: int, number: int, decision: Short, by: Short, cause: Short = "", action: Short = ""
) -> Response:
    """What becomes of it; a remake wants its cause."""
    plan = shelf.plan(version)
    contain.decide(shelf.store, plan, number, decision, by=by, at=shelf.clock(), cause=cause, action=action)
    return RedirectResponse(f"/plans/{version}/wrong", status_code=303)


def _with_name(address: str, by: str) -> str:
    from urllib.parse import urlencode

    return f"{address}?{urlencode({'by': by})}"
