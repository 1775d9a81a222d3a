"""A new revision of an ordered line: drop the file, see what it means for the pieces, keep the price as a quote."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Form, Query, Request, UploadFile
from fastapi.responses import HTMLResponse, Response

from cakewright.app.inbox import plain_name
from cakewright.app.questions import NewRevision, Revised
from cakewright.app.quotes import SEARCH_S
from cakewright.store import Job
from cakewright.web.acting import acting_name
from cakewright.web.asking import ask, go_to, seen
from cakewright.web.inbox import Desk
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, line_of, shelf_of, shown_of
from cakewright.web.trouble import RESPONSES
from cakewright.web.typed import decider

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["running week"])
Plans = Annotated[Shelf, Depends(shelf_of)]
Text = Annotated[str, Form(max_length=80)]
Revision = Annotated[str, Form(max_length=20)]
Seconds = Annotated[float, Form(ge=0, le=60, allow_inf_nan=False)]
LINE = "/plans/{version}/lines/{number}/revision"


@pages.get(LINE)
def form(
    shelf: Plans, request: Request, version: int, number: int, answer: Annotated[str, Query(max_length=40)] = ""
) -> HTMLResponse:  # fmt: skip
    """The form, where the pieces are, and what the new file means when that is there."""
    plan = shelf.plan(version)
    line = line_of(plan, number)
    found = seen(shelf, plan, answer)
    revised = found.answer if isinstance(found.answer, Revised) and found.answer.change.line.line == number else None
    kept = shelf.store.offer(revised.quote) if revised else None
    return page(request, "revise.html", **shown_of(shelf, plan, "/lines"), line=line, kept=kept, seen=found,
                found=revised.change if revised else None, currency=plan.cell.rates.currency)  # fmt: skip


@pages.post(LINE)
def ask_what_it_means(
    request: Request, shelf: Plans, desk: Desk, version: int, number: int, file: UploadFile, revision: Revision = "",
    by: Text = "", seconds: Seconds = SEARCH_S,
) -> Response:  # fmt: skip
    """What it means, as a job: by piece, in money and days; the price is kept as a quote, plan and pieces stay."""
    return go_to(_ask(request, shelf, desk, version, number, file, revision, by, seconds))


@interface.post(LINE, status_code=202)
def ask_for_scripts(
    request: Request, shelf: Plans, desk: Desk, version: int, number: int, file: UploadFile, revision: Revision = "",
    by: Text = "", seconds: Seconds = SEARCH_S,
) -> Job:  # fmt: skip
    """What a new revision means for the pieces of a line, as a job; its answer is at `/jobs/{job}/answer`."""
    return _ask(request, shelf, desk, version, number, file, revision, by, seconds)


def _ask(
    request: Request, shelf: Shelf, desk: Desk, version: int, number: int, file: UploadFile, revision: str, by: str,
    seconds: float,
) -> Job:  # fmt: skip
    """Keep the file and begin: a stranger's file never meets the server itself."""
    plan = shelf.plan(version)
    line_of(plan, number)
    by = acting_name(getattr(request.state, "account", None), decider(by))
    question = NewRevision(shelf.clock(), number, plain_name(file.filename or ""), revision, seconds, by)
    content = iter(lambda: file.file.read(1024 * 1024), b"")
    return ask(request, desk, plan, f"/lines/{number}/revision", question, by=by, content=content,
               form={"revision": revision})  # fmt: skip
