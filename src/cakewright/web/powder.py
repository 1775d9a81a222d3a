"""The powder pages that look: shelf, one can, one lot with its recall, the coming weeks."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response, StreamingResponse
from markupsafe import Markup

from cakewright.app.powder_books import code_of, look
from cakewright.app.powder_deeds import judged_runs
from cakewright.app.powder_doubts import powder_doubts
from cakewright.app.powder_family import family_of
from cakewright.app.powder_goods_in import judged_lots
from cakewright.app.powder_month import MonthBooks, month_books
from cakewright.app.powder_outlook import coming_deliveries, outlook
from cakewright.app.powder_recall import Origin, origins_of, recall_csv, recall_lot, recalled_lines
from cakewright.app.powder_stock import stocked_cell, used_place
from cakewright.app.remake import scrap_kg
from cakewright.documents.can_labels import can_labels_pdf
from cakewright.documents.control_chart import control_chart_svg
from cakewright.errors import InputError
from cakewright.sources.powder import RECALL_THRESHOLD, SUPPLIER_LEAD_WEEKS
from cakewright.web.look import page
from cakewright.web.powder_draw import draw_ages, draw_family, draw_outlook
from cakewright.web.shelf import Shelf, shelf_of

router = APIRouter(include_in_schema=False, prefix="/powder")
Plans = Annotated[Shelf, Depends(shelf_of)]
By = Annotated[str, Query(max_length=80)]
PLACES = (
    ("", "Shelf"),
    ("/book", "Book"),
    ("/lots", "Goods-in"),
    ("/outlook", "Coming weeks"),
    ("/recall", "Recall"),
    ("/month", "Month"),
    ("/change", "Change material"),
)


def shown(shelf: Shelf, here: str, by: str = "") -> dict[str, Any]:
    """What every powder page shows: the newest plan when there is one, the people, the menu of these pages."""
    version = shelf.store.newest()
    plan = None if version is None else shelf.plan(version)
    common: dict[str, Any] = {"powder_places": PLACES, "powder_here": here, "by": by, "people": [], "zone": None}
    if plan is not None:
        common |= {"plan": plan, "base": f"/plans/{version}", "here": "/powder", "summaries": shelf.store.plans(),
                   "zone": plan.cell.zone, "people": [p.name for p in plan.cell.people]}  # fmt: skip
    return common


@router.get("")
def front(shelf: Plans, request: Request, by: By = "", said: By = "") -> HTMLResponse:
    """Every can, and what there is of each material."""
    view, today = look(shelf.store), shelf.clock().date()
    cans = () if view.is_empty else view.shelf()
    stocks = [view.stock(name, today) for name in view.materials()]
    doubts = powder_doubts(view, shelf.clock())
    return page(request, "powder_shelf.html", **shown(shelf, "", by), cans=cans, stocks=stocks, said=said,
                doubts=doubts, empty=view.is_empty, count_of_entries=len(view.ledger.entries))  # fmt: skip


@router.get("/cans/{key:path}")
def one_can(shelf: Plans, request: Request, key: str, by: By = "") -> HTMLResponse:
    """One can: what is in it, how old, from where, and every entry."""
    view = look(shelf.store)
    code = code_of(view.ledger, key)
    can = view.can(code)
    filled = not view.is_empty and code in view.graph.now
    entries = [e for e in view.ledger.entries if code in (e.source, e.target)]
    return page(
        request, "powder_can.html", **shown(shelf, "", by), can=can, filled=filled,
        ages=draw_ages(can.ages) if filled else "",
        family=family_of(view, code) if filled else None,
        picture=draw_family(family_of(view, code)) if filled else "",
        entries=entries[::-1], remarks=view.books.remarks_on("container", code)[::-1],
        lot=view.ledger.lots.get(can.lot or ""),
    )  # fmt: skip


@router.get("/lots")
def lots(shelf: Plans, request: Request, by: By = "") -> HTMLResponse:
    """Every delivered lot with its values beside own limits and the lots before it."""
    found = judged_lots(look(shelf.store))
    charts = {
        (j.lot.key, v.what): Markup(control_chart_svg(v.chart, v.told, low=v.low, high=v.high,
                                                      title=f"{v.what}, the last of {j.lot.key}"))
        for j in found for v in j.values if v.chart is not None
    }  # fmt: skip
    return page(request, "powder_lots.html", **shown(shelf, "/lots", by), lots=found, charts=charts)  # fmt: skip


@router.get("/recall")
def recall(
    shelf: Plans,
    request: Request,
    lot: Annotated[str, Query(max_length=80)] = "",
    at_least: Annotated[float, Query(ge=0.1, le=100)] = 100 * RECALL_THRESHOLD.value,
    made: Annotated[str, Query(max_length=80)] = "",
) -> HTMLResponse:
    """From a lot to customers, with the threshold in plain sight; and back from a piece or an order to its lots."""
    view = look(shelf.store)
    origins: tuple[Origin, ...] = ()
    wrong = ""
    if made.strip():
        try:
            origins = origins_of(shelf.store, made)
        except InputError as unknown:
            wrong = unknown.text
    found = recall_lot(shelf.store, lot, at_least / 100) if lot else None
    lots = [] if view.is_empty else list(view.graph.origins)
    return page(request, "powder_recall.html", **shown(shelf, "/recall"), lots=lots, lot=lot, at_least=at_least,
                made=made, origins=origins, wrong=wrong, found=found,
                lines=recalled_lines(shelf.store, found) if found else ())  # fmt: skip


@router.get("/recall.csv")
def recall_file(
    shelf: Plans,
    lot: Annotated[str, Query(max_length=80)],
    at_least: Annotated[float, Query(ge=0.1, le=100)] = 100 * RECALL_THRESHOLD.value,
) -> Response:
    """Every piece of a recall."""
    recall_lot(shelf.store, lot, at_least / 100)  # refuse before the first byte is sent
    rows = (row.encode() for row in recall_csv(shelf.store, lot, at_least / 100))
    return StreamingResponse(rows, media_type="text/csv; charset=utf-8",
                             headers={"content-disposition": 'attachment; filename="recall.csv"'})  # fmt: skip


@router.get("/labels.pdf")
def labels(shelf: Plans, can: Annotated[list[str] | None, Query()] = None) -> Response:
    """Labels of the cans named, or of every can on the shelf."""
    view = look(shelf.store)
    cans = [view.can(code_of(view.ledger, c)) for c in can] if can else list(view.to_label())
    if not cans:
        raise InputError("there is no can yet", remedy="book a delivery or make a can first", where="can")
    return Response(can_labels_pdf(cans, view.ledger.lots), media_type="application/pdf",
                    headers={"content-disposition": 'inline; filename="can-labels.pdf"'})  # fmt: skip


@router.get("/outlook")
def coming_weeks(
    shelf: Plans,
    request: Request,
    weeks: Annotated[int, Query(ge=2, le=26)] = 8,
    lead: Annotated[int, Query(ge=0, le=26)] = round(SUPPLIER_LEAD_WEEKS.value),
    density: Annotated[str, Query(max_length=8)] = "",
    refresh: Annotated[str, Query(max_length=8)] = "",
    coming: Annotated[str, Query(max_length=80)] = "",
) -> HTMLResponse:
    """Stock to come at the pace of the newest plan, and what would change it."""
    common = shown(shelf, "/outlook")
    plan, today = common.get("plan"), shelf.clock().date()
    seen = []
    if plan is not None:
        cell, view = stocked_cell(plan.cell, shelf.store, today), look(shelf.store)
        for name in sorted({b.material for b in plan.builds}):
            there = cell.material(name)
            found = outlook(
                plan, name, virgin_kg=there.virgin_kg, used_kg=there.used_kg, today=today, weeks=weeks,
                lead_weeks=lead, used_place_kg=used_place(view, name), density=_share(density, "density"),
                refresh_ratio=_share(refresh, "refresh"), deliveries=coming_deliveries(coming),
            )  # fmt: skip
            seen.append((found, draw_outlook(found)))
    return page(request, "powder_outlook.html", **common, seen=seen, weeks=weeks, lead=lead, density=density,
                refresh=refresh, coming=coming)  # fmt: skip


@router.get("/month")
def month(
    shelf: Plans, request: Request, month: Annotated[str, Query(pattern=r"^(\d{4}-\d{2})?$")] = ""
) -> HTMLResponse:
    """The account of a month: the one asked for, else the running one."""
    now = shelf.clock()
    year, number = (int(x) for x in month.split("-")) if month else (now.year, now.month)
    if not 1 <= number <= 12 or year < 1:
        raise InputError(f"{month!r} is no month", remedy="write 2027-03", where="month")
    start = now.replace(year=year, month=number, day=1, hour=0, minute=0, second=0, microsecond=0)
    end = start.replace(year=year + number // 12, month=number % 12 + 1)
    view = look(shelf.store)
    books: list[MonthBooks] = [
        month_books(view, name, start, end, scrap_kg=scrap_kg(shelf.store, name, start, end))
        for name in view.materials()
    ]
    sieve = [run for name in view.materials() for run in judged_runs(view.books, name, start, end)]
    return page(
        request, "powder_month.html", **shown(shelf, "/month"), books=books, month=f"{start:%Y-%m}", sieve=sieve
    )


def _share(text: str, where: str) -> float | None:
    """A percentage of a form as a share; None for an empty field."""
    if not text.strip():
        return None
    try:
        value = float(text.replace(",", ".")) / 100
    except ValueError as wrong:
        raise InputError(f"{text!r} is no number", remedy="write a percentage such as 9.5", where=where) from wrong
    if not 0.005 <= value <= 0.9:
        raise InputError(f"{text} %", remedy="give 0.5 to 90 %", where=where)
    return value
