"""Quotes on the page: drop a file, say how many and when, read the answer out on the phone, accept it later."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app.asked_quotes import AskedQuote, keep_asked
from cakewright.app.earlier_part import earlier_part
from cakewright.app.inbox import plain_name
from cakewright.app.jobs import JobDesk
from cakewright.app.keep_quotes import accept, accepted, kept_mesh, mesh_of, order_accepted, sheet_of
from cakewright.app.quotes import SEARCH_S, is_expired, questions_for_form
from cakewright.errors import InputError
from cakewright.model.offer import OfferState
from cakewright.sources.cost import QUANTITY_DROP
from cakewright.store import KeptOffer
from cakewright.web.acting import acting_name
from cakewright.web.inbox import Desk, begin_quote, cell_of
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
    """Ask for a quote of a file, as a job in a process of its own; with `number` as the next issue of that quote."""
    shelf.check_customer(customer)
    if number is not None:
        _offer(shelf, number)
    by = acting_name(getattr(request.state, "account", None), by)
    asked = AskedQuote(plain_name(file.filename or ""), quantity, material, finish, quality_class, customer, due,
                       tuple(settled or ()), seconds, by, number)  # fmt: skip
    return _ask(shelf, desk, asked, iter(lambda: file.file.read(1024 * 1024), b""))


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
    offer = _offer(shelf, number).offer
    by = acting_name(getattr(request.state, "account", None), by)
    asked = AskedQuote(offer.file, quantity, offer.material, offer.finish, offer.quality_class, offer.customer, due,
                       seconds=seconds, by=by, part=offer.part, revision=offer.revision)  # fmt: skip
    return _ask(shelf, desk, asked, [kept_mesh(shelf.store, offer).read_bytes()])


def _ask(shelf: Shelf, desk: JobDesk, asked: AskedQuote, content: Iterable[bytes]) -> Response:
    """Keep what is asked for and begin; the page of the job goes on to the quote by itself."""
    word = keep_asked(shelf.store, asked, content, cell_of(desk))
    return RedirectResponse(f"/jobs/{begin_quote(shelf, desk, word)}?then=open", status_code=303)


@pages.get("/quotes/{number}")
def one_quote(shelf: Plans, desk: Desk, request: Request, number: int) -> HTMLResponse:
    """One quote: price, date, breakdown, other quantities, questions, what became of it."""
    kept = _offer(shelf, number)
    cell = desk.cell()
    return page(request, "quote.html", kept=kept, offer=kept.offer, zone=cell.zone if cell else shelf.clock().tzinfo,
                drop=QUANTITY_DROP.value, is_expired=is_expired(kept.offer, shelf.clock().date()),
                earlier=earlier_part(shelf.store, kept.offer, shelf.whole_plan, shelf.shows),
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


def _offer(shelf: Shelf, number: int) -> KeptOffer:
    if number not in {k.number for k in shelf.offers()}:
        raise NotThereError(f"there is no quote Q{number:04d}", remedy="choose one from the list of quotes")
    return shelf.store.offer(number)
