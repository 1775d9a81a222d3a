"""The pages. Every one belongs to a plan version; the bare address leads to the newest."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app.certificate import certificate_facts
from cakewright.app.customer_answers import answers_of
from cakewright.app.floor_asks import floor_asks
from cakewright.app.hold_lines import gates, line_gate
from cakewright.app.inspected import inspected
from cakewright.app.noted_plan import as_noted
from cakewright.app.plans import horizon, morning, powder_steps, shown_moment
from cakewright.app.powder_books import look
from cakewright.app.powder_doubts import powder_doubts
from cakewright.app.powder_slips import slip_pdf
from cakewright.documents.inspection_report import inspection_report_pdf
from cakewright.documents.timeline import hours_of
from cakewright.documents.verdicts import clearance_verdict, removal_verdict, stop_reasons
from cakewright.documents.words import trays
from cakewright.documents.workbook import plan_xlsx
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan
from cakewright.web.lines import find_lines, line_views
from cakewright.web.look import page
from cakewright.web.papers import ORDER_PAPERS, PAPERS, TABLES, order_pdf, paper_pdf, table_csv
from cakewright.web.shelf import Shelf, as_it_went, build_of, line_of, moment_of, shelf_of

router = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
At = Annotated[str, Query(max_length=40)]
PAST = "/plans/{version}"


@router.get("/")
def front(shelf: Plans, request: Request) -> Response:
    """To the newest plan, or a word on how to make the first."""
    version = shelf.store.newest()
    if version is None:
        return page(request, "no_plan.html", database=shelf.store.name)
    query = f"?{request.url.query}" if request.url.query else ""
    return RedirectResponse(f"/plans/{version}{query}", status_code=303)


@router.get("/plans")
def plans(shelf: Plans, request: Request) -> HTMLResponse:
    """Every version."""
    return page(request, "plans.html", summaries=shelf.store.plans(), now=shelf.clock())


@router.get(PAST)
def first_page(shelf: Plans, request: Request, version: int, at: At = "") -> HTMLResponse:
    """The morning page."""
    plan = shelf.plan(version)
    when = moment_of(plan, at) if at else shown_moment(plan, shelf.clock())
    seen = morning(as_noted(plan, shelf.store.schedule.progress_of(version), when), when)
    is_now = not at and when == shelf.clock()
    powder_asks = powder_doubts(look(shelf.store), shelf.clock())
    asks = floor_asks(shelf.store, plan, shelf.clock())
    return page(request, "morning.html", **_common(shelf, version, ""), seen=seen, at=when, is_now=is_now,
                horizon=horizon(plan), asked=bool(at), powder_asks=powder_asks, floor_asks=asks)  # fmt: skip


@router.get(PAST + "/lines")
def lines(shelf: Plans, request: Request, version: int, q: Annotated[str, Query(max_length=80)] = "") -> HTMLResponse:
    """All order lines, or those that hold the words of `q`; only the rows when htmx asks."""
    plan = shelf.plan(version)
    found = find_lines(line_views(plan), q)
    template = "lines_rows.html" if request.headers.get("hx-request") == "true" else "lines.html"
    return page(request, template, **_common(shelf, version, "/lines"), lines=found, q=q)


@router.get(PAST + "/lines/{number}")
def one_line(shelf: Plans, request: Request, version: int, number: int) -> HTMLResponse:
    """Everything about one line."""
    plan = shelf.plan(version)
    line = line_of(plan, number)
    view = next(v for v in line_views(plan) if v.line.line == number)
    part = plan.parts.get(plan.part_of_line.get(number, ""))
    gate = line_gate(shelf.store, plan, number)
    return page(request, "line.html", **_common(shelf, version, "/lines"), line=line, view=view, part=part, gate=gate,
                answers=answers_of(shelf.store, line))  # fmt: skip


@router.get(PAST + "/builds")
def builds(shelf: Plans, request: Request, version: int) -> HTMLResponse:
    """All builds."""
    plan = shelf.plan(version)
    went = as_it_went(shelf, plan)
    rows = [(b, hours_of(went, b), stop_reasons(b)) for b in plan.builds]
    return page(request, "builds.html", **_common(shelf, version, "/builds"), rows=rows)


@router.get(PAST + "/builds/{key}")
def one_build(
    shelf: Plans, request: Request, version: int, key: str, kept: Annotated[int | None, Query(ge=1)] = None
) -> HTMLResponse:
    """One build: the nest in 3D, its curves, checks and pieces; `kept` names the version it was changed from."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    before = build_of(shelf.plan(kept), key) if kept else None
    return page(
        request,
        "build.html",
        **_common(shelf, version, "/builds"),
        build=build,
        kept=before,
        kept_from=kept,
        room=plan.cell.chamber_type(build.chamber_type),
        hours=hours_of(as_it_went(shelf, plan), build),
        verdicts=(clearance_verdict(build.verification), removal_verdict(build.removal)),
        stops=stop_reasons(build),
        trays=trays(build),
        removal={piece: i + 1 for i, piece in enumerate(build.removal.order)},
    )


@router.get(PAST + "/powder")
def powder(shelf: Plans, request: Request, version: int) -> HTMLResponse:
    """Stock of each material through the plan, and what each build takes and gives back."""
    plan = shelf.plan(version)
    return page(request, "powder.html", **_common(shelf, version, "/powder"), steps=powder_steps(plan))


@router.get(PAST + "/papers")
def papers(shelf: Plans, request: Request, version: int) -> HTMLResponse:
    """What can be printed or opened in a spreadsheet."""
    return page(
        request,
        "papers.html",
        **_common(shelf, version, "/papers"),
        papers=PAPERS,
        tables=TABLES,
        order_papers=ORDER_PAPERS,
        orders=_orders(shelf.plan(version)),
    )


@router.get(PAST + "/papers/{key}/{name}.pdf")
def paper(shelf: Plans, version: int, key: str, name: str) -> Response:
    """One paper of one build, made on the spot."""
    plan = shelf.plan(version)
    build_of(plan, key)
    today = shelf.clock().date()
    made = slip_pdf(shelf.store, plan, key, today) if name == "powder-slip" else paper_pdf(plan, key, name)
    return _download(made, "application/pdf", f"plan-{version:03d}-{key}-{name}.pdf")


@router.get(PAST + "/lines/{number}/inspection-report.pdf")
def inspection_sheet(shelf: Plans, version: int, number: int) -> Response:
    """What is measured on how many pieces of a line, with room for the results."""
    plan = shelf.plan(version)
    line_of(plan, number)
    content = inspection_report_pdf(plan, number, inspected(shelf.store, plan, number))
    return _download(content, "application/pdf", f"plan-{version:03d}-L{number:02d}-inspection-report.pdf")


@router.get(PAST + "/orders/{name}.pdf")
def order_paper(shelf: Plans, version: int, name: str, order: Annotated[str, Query(max_length=120)]) -> Response:
    """One paper of one order, made on the spot."""
    plan = shelf.plan(version)
    is_known = order in {line.order for line in plan.orders.lines}
    more: dict[str, Any] = {}
    if name == "certificate" and is_known:
        more = {"known": certificate_facts(shelf.store, plan, order)}
    elif name == "packing-list" and is_known:
        shut = gates(shelf.store, plan, tuple(line.line for line in plan.orders.lines if line.order == order))
        more = {"held": {n: g.why for n, g in shut.items() if g.is_held}}
    content = order_pdf(plan, order, name, **more)
    return _download(content, "application/pdf", f"plan-{version:03d}-{order}-{name}.pdf")


@router.get(PAST + "/tables.xlsx")
def workbook(shelf: Plans, version: int) -> Response:
    """All tables of the plan as one workbook."""
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return _download(plan_xlsx(shelf.plan(version)), kind, f"plan-{version:03d}.xlsx")


@router.get(PAST + "/tables/{name}.csv")
def table(shelf: Plans, version: int, name: str) -> Response:
    """One table of the plan."""
    text = table_csv(shelf.plan(version), name)
    return _download(text.encode("utf-8-sig"), "text/csv; charset=utf-8", f"plan-{version:03d}-{name}.csv")


@router.get("/api/docs")
def interface(request: Request) -> HTMLResponse:
    """The JSON interface, described from its own OpenAPI document."""
    return page(request, "interface.html", document=request.app.openapi())


def _orders(plan: WeekPlan) -> list[tuple[str, str, list[OrderLine]]]:
    """Orders with customer and lines, in the order in which they are listed."""
    found: dict[str, list[OrderLine]] = {}
    for line in plan.orders.lines:
        found.setdefault(line.order, []).append(line)
    return [(order, lines[0].customer, lines) for order, lines in found.items()]


def _download(content: bytes, kind: str, name: str) -> Response:
    safe = "".join(c if c.isalnum() or c in "-_." else "-" for c in name)
    return Response(content, media_type=kind, headers={"content-disposition": f'attachment; filename="{safe}"'})


def _common(shelf: Shelf, version: int, here: str) -> dict[str, Any]:
    """What every page of a plan shows: the plan, all versions, the zone, the entry in the menu."""
    plan = shelf.plan(version)
    return {
        "plan": plan,
        "here": here,
        "summaries": shelf.store.plans(),
        "zone": plan.cell.zone,
        "base": f"/plans/{version}",
    }
