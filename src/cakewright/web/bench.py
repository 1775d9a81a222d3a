"""Break-out at the bench: the cake from the top down, and one touch for each piece."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from cakewright.app.unpack_build import say_pieces
from cakewright.documents.bands import bands, surface_mm
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import trays
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.safety import CLOSING, Work, cautions_of
from cakewright.store import PieceRecord, PieceState, last_words
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, as_it_went, build_of, shelf_of
from cakewright.web.trouble import RESPONSES
from cakewright.web.typed import happened

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["bench"])
Plans = Annotated[Shelf, Depends(shelf_of)]
BUILD = "/plans/{version}/builds/{key}"


class Word(BaseModel):
    """What somebody says about one piece."""

    piece: str = Field(max_length=80, examples=["L07-03"])
    state: PieceState
    by: str = Field(min_length=1, max_length=80, examples=["Mira"])
    note: str = Field(default="", max_length=500)


@interface.get(BUILD + "/records")
def records(shelf: Plans, version: int, key: str) -> list[PieceRecord]:
    """Everything said about the pieces of a build, oldest first; the last word about a piece counts."""
    build_of(shelf.plan(version), key)
    return list(shelf.store.piece_records(version, key))


@interface.post(BUILD + "/records", status_code=201)
def add_record(shelf: Plans, version: int, key: str, word: Word) -> PieceRecord:
    """Append a word about a piece. Nothing is replaced: to correct it, say it again."""
    plan = shelf.plan(version)
    (number,) = say_pieces(shelf.store, plan, build_of(plan, key), [word.piece], word.state, by=word.by,
                           at=shelf.clock(), note=word.note)  # fmt: skip
    return next(r for r in shelf.store.piece_records(version, key) if r.number == number)


@pages.get(BUILD + "/unpack")
def unpack(shelf: Plans, request: Request, version: int, key: str,
           by: Annotated[str, Query(max_length=80)] = "") -> HTMLResponse:  # fmt: skip
    """The unpacking page for a tablet."""
    plan = shelf.plan(version)
    return page(request, "unpack.html", **_shown(shelf, plan, build_of(plan, key), by))


@pages.post(BUILD + "/unpack")
def say(
    shelf: Plans,
    request: Request,
    version: int,
    key: str,
    piece: Annotated[list[str], Form()],
    state: Annotated[PieceState, Form()],
    by: Annotated[str, Form(max_length=80)] = "",
    when: Annotated[str, Form(max_length=40)] = "",
) -> Response:
    """Keep one touch; htmx gets the list drawn again, a browser without scripts goes back to the page."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    at = happened(when, shelf.clock())
    say_pieces(shelf.store, plan, build, piece, state, by=by, at=at)
    if request.headers.get("hx-request") == "true":
        return page(request, "unpack_list.html", **_shown(shelf, plan, build, by))
    return RedirectResponse(str(request.url.include_query_params(by=by)), status_code=303)


def _shown(shelf: Shelf, plan: WeekPlan, build: Build, by: str) -> dict[str, Any]:
    said = last_words(shelf.store.piece_records(plan.version, build.key))
    counts = {state.value: sum(1 for r in said.values() if r.state is state) for state in PieceState}
    order = {piece: i + 1 for i, piece in enumerate(build.removal.order)}
    return {
        "plan": plan,
        "build": build,
        "hours": hours_of(as_it_went(shelf, plan), build),
        "bands": bands(plan, build),
        "surface_mm": surface_mm(plan, build),
        "trays": trays(build),
        "said": said,
        "counts": counts,
        "remaining": build.pieces - len(said),
        "order": order,
        "by": by,
        "cautions": cautions_of(Work.OPEN_CAKE, Work.SIEVE),
        "closing": CLOSING,
        "here": "/builds",
        "summaries": shelf.store.plans(),
        "zone": plan.cell.zone,
        "base": f"/plans/{plan.version}",
        "people": [p.name for p in plan.cell.people],
    }
