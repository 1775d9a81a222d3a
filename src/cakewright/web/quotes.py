"""Quotes on the page: drop a file, say how many and when, read the answer out on the phone, accept it later."""

from __future__ import annotations

import tempfile
import time
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app.check_part import loose_line
from cakewright.app.effort import effort_in_seconds
from cakewright.app.inbox import CHECK_LIMITS, LARGEST_FILE_BYTES, plain_name
from cakewright.app.keep_quotes import accept, accepted, again, keep_quote, mesh_of, order_accepted, sheet_of
from cakewright.app.progress import Progress
from cakewright.app.quotes import SEARCH_S, is_expired, make_offer, questions_for_form
from cakewright.app.worker import Worker
from cakewright.errors import CakewrightError, InputError
from cakewright.model.cell import Cell
from cakewright.model.offer import Offer, OfferState
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan
from cakewright.store import KeptOffer
from cakewright.web.acting import acting_name
from cakewright.web.inbox import Desk
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, shelf_of
from cakewright.web.trouble import RESPONSES, NotThereError

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["quotes"])
Plans = Annotated[Shelf, Depends(shelf_of)]


@pages.get("/quotes")
def quotes(shelf: Plans, desk: Desk, request: Request) -> HTMLResponse:
    """What was offered, and the form for a new one."""
    cell = desk.cell()
    return page(request, "quotes.html", kept=shelf.offers(), cell=cell, today=shelf.clock().date(),
                expired=is_expired, waiting=len(accepted(shelf.store)),
                requirements=questions_for_form(),
                people=[p.name for p in cell.people] if cell else [])  # fmt: skip


@pages.post("/quotes")
def new_quote(
    request: Request,
    shelf: Plans,
    desk: Desk,
    file: UploadFile,
    quantity: Annotated[int, Form(ge=1, le=100_000)] = 1,
    material: Annotated[str, Form(max_length=80)] = "",
    finish: Annotated[str, Form(max_length=80)] = "",
    quality_class: Annotated[str, Form(max_length=80)] = "",
    customer: Annotated[str, Form(max_length=120)] = "",
    due: Annotated[str, Form(max_length=10)] = "",
    by: Annotated[str, Form(max_length=80)] = "",
    settled: Annotated[list[str] | None, Form()] = None,
    number: Annotated[int | None, Form()] = None,
    seconds: Annotated[float, Form(ge=0, le=60)] = SEARCH_S,
) -> Response:
    """Quote a file in a process of its own and keep the answer; with `number` as its next issue."""
    cell = desk.cell()
    if cell is None:
        raise InputError("no cell is described yet", remedy="plan a week first; its cell is used for quotes")
    shelf.check_customer(customer)
    if number is not None:
        _offer(shelf, number)
    by = acting_name(getattr(request.state, "account", None), by)
    with tempfile.TemporaryDirectory(prefix="quote-") as folder:
        path = uploaded(file, Path(folder))
        line = loose_line(path, cell, material or None, quantity=quantity, finish=finish or None,
                          quality_class=quality_class or None)  # fmt: skip
        line = replace(line, customer=customer)
        offer = _quoted(shelf, path, line, cell, tuple(settled or ()), due, seconds)
        kept = keep_quote(shelf.store, offer, path, at=shelf.clock(), by=by, replaces=number)
    return RedirectResponse(f"/quotes/{kept.number}", status_code=303)


@pages.post("/quotes/{number}/again")
def quote_again(
    request: Request,
    shelf: Plans,
    desk: Desk,
    number: int,
    quantity: Annotated[int, Form(ge=1, le=100_000)] = 1,
    due: Annotated[str, Form(max_length=10)] = "",
    by: Annotated[str, Form(max_length=80)] = "",
    seconds: Annotated[float, Form(ge=0, le=60)] = SEARCH_S,
) -> Response:
    """The same part once more, from its kept file, at today's rates and in today's plan: a quote of its own."""
    cell = desk.cell()
    if cell is None:
        raise InputError("no cell is described yet", remedy="plan a week first; its cell is used for quotes")
    _offer(shelf, number)
    by = acting_name(getattr(request.state, "account", None), by)
    with tempfile.TemporaryDirectory(prefix="quote-") as folder:
        path, line = again(shelf.store, number, Path(folder), cell, quantity=quantity)
        offer = _quoted(shelf, path, line, cell, (), due, seconds)
        kept = keep_quote(shelf.store, offer, path, at=shelf.clock(), by=by)
    return RedirectResponse(f"/quotes/{kept.number}", status_code=303)


def _quoted(
    shelf: Shelf, path: Path, line: OrderLine, cell: Cell, settled: tuple[str, ...], due: str, seconds: float
) -> Offer:
    newest = shelf.store.newest()
    plan = shelf.whole_plan(newest) if newest is not None else None
    wanted = _day(due) if due else None
    ended = Worker(
        quote_in_worker, path, line, cell, plan, shelf.clock(), settled, wanted, seconds, limits=CHECK_LIMITS
    ).result()
    if not ended.is_good:
        raise CakewrightError(ended.found, remedy=ended.remedy, where=ended.where or path.name)
    offer: Offer = ended.value
    return offer


@pages.get("/quotes/{number}")
def one_quote(shelf: Plans, desk: Desk, request: Request, number: int) -> HTMLResponse:
    """One quote: price, date, breakdown, other quantities, questions, what became of it."""
    kept = _offer(shelf, number)
    cell = desk.cell()
    return page(request, "quote.html", kept=kept, offer=kept.offer, zone=cell.zone if cell else shelf.clock().tzinfo,
                is_expired=is_expired(kept.offer, shelf.clock().date()),
                people=[p.name for p in cell.people] if cell else [])  # fmt: skip


@pages.get("/quotes/{number}/sheet.pdf")
def sheet(shelf: Plans, desk: Desk, number: int) -> Response:
    """The quote sheet."""
    kept = _offer(shelf, number)
    cell = desk.cell()
    if cell is None:
        raise InputError("no cell is described yet", remedy="plan a week first")
    content = sheet_of(kept.offer, kept.key, cell, mesh_of(shelf.store, kept.offer), made=kept.at.date())
    name = f'attachment; filename="{kept.key}.pdf"'
    return Response(content, media_type="application/pdf", headers={"content-disposition": name})


@pages.post("/quotes/{number}/answer")
def answer(
    shelf: Plans,
    number: int,
    said: Annotated[OfferState, Form()],
    by: Annotated[str, Form(max_length=80)] = "",
    note: Annotated[str, Form(max_length=500)] = "",
) -> Response:
    """The customer says yes or no."""
    _offer(shelf, number)
    if said is OfferState.ACCEPTED:
        accept(shelf.store, number, at=shelf.clock(), by=by, note=note)
    elif said is OfferState.DECLINED:
        shelf.store.step_offer(number, said, at=shelf.clock(), by=by, note=note)
    else:
        raise InputError(f"a customer cannot say {said}", remedy="accepted or declined")
    return RedirectResponse(f"/quotes/{number}", status_code=303)


@pages.post("/quotes/order")
def order(shelf: Plans, desk: Desk, by: Annotated[str, Form(max_length=80)] = "") -> Response:
    """An order list of every accepted quote, in the inbox."""
    tray = order_accepted(shelf.store, desk.inbox, at=shelf.clock(), by=by)
    return RedirectResponse(f"/inbox/{tray}", status_code=303)


@interface.get("/quotes")
def all_quotes(shelf: Plans) -> list[KeptOffer]:
    """Every quote in its newest issue, newest first."""
    return list(shelf.offers())


@interface.get("/quotes/{quote}")
def quote_now(shelf: Plans, quote: int) -> KeptOffer:
    """One quote."""
    return _offer(shelf, quote)


def quote_in_worker(
    report: Progress,
    path: Path,
    line: OrderLine,
    cell: Cell,
    plan: WeekPlan | None,
    now: datetime,
    settled: tuple[str, ...],
    wanted: date | None,
    seconds: float,
) -> Offer:
    """What the worker does: a stranger's file never meets the server itself."""
    effort = effort_in_seconds(seconds, time.monotonic)
    return make_offer(
        path, line, cell, plan,
        now=now, clock=time.monotonic, settled=settled, wanted=wanted, effort=effort, progress=report,
    )  # fmt: skip


def uploaded(file: UploadFile, folder: Path) -> Path:
    """The file as it was sent, under a plain name; InputError when it is empty or too large."""
    name = plain_name(file.filename or "")
    path = folder / name
    size = 0
    with path.open("wb") as out:
        while chunk := file.file.read(1024 * 1024):
            size += len(chunk)
            if size > LARGEST_FILE_BYTES:
                raise InputError(f"{name} is larger than {LARGEST_FILE_BYTES // 1024**2} MB")
            out.write(chunk)
    if not size:
        raise InputError("no file was sent, or it is empty", remedy="choose a mesh file")
    return path


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as wrong:
        raise InputError(f"{text!r} is no day", remedy="write 2027-03-12", where="due") from wrong


def _offer(shelf: Shelf, number: int) -> KeptOffer:
    if number not in {k.number for k in shelf.offers()}:
        raise NotThereError(f"there is no quote Q{number:04d}", remedy="choose one from the list of quotes")
    return shelf.store.offer(number)
