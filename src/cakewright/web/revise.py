"""A new revision of an ordered line: drop the file, see what it means for the pieces, keep the price as a quote."""

from __future__ import annotations

import tempfile
import time
from datetime import datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from fastapi.responses import HTMLResponse

from cakewright.app.effort import effort_in_seconds
from cakewright.app.inbox import CHECK_LIMITS
from cakewright.app.keep_quotes import keep_quote
from cakewright.app.progress import Progress
from cakewright.app.quotes import SEARCH_S
from cakewright.app.revise_line import RevisionChange, revise_line
from cakewright.app.worker import Worker
from cakewright.errors import CakewrightError, InputError
from cakewright.model.plan import WeekPlan
from cakewright.store import KeptOffer
from cakewright.store.schedule import Progress as Noted
from cakewright.web.acting import acting_name
from cakewright.web.look import page
from cakewright.web.quotes import uploaded
from cakewright.web.shelf import Shelf, line_of, shelf_of, shown_of

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
LINE = "/plans/{version}/lines/{number}/revision"


@pages.get(LINE)
def ask(shelf: Plans, request: Request, version: int, number: int) -> HTMLResponse:
    """The form, and where the pieces are."""
    return _page(shelf, request, version, number)


@pages.post(LINE)
def answer(
    shelf: Plans,
    request: Request,
    version: int,
    number: int,
    file: UploadFile,
    revision: Annotated[str, Form(max_length=20)] = "",
    by: Annotated[str, Form(max_length=80)] = "",
    seconds: Annotated[float, Form(ge=0, le=60)] = SEARCH_S,
) -> HTMLResponse:
    """What it means: by piece, in money and days. The price is kept as a quote; plan and pieces are as before."""
    plan = shelf.plan(version)
    line_of(plan, number)
    if not by.strip():
        raise InputError("nobody's name is given", remedy="choose your name: the quote is kept with it", where="by")
    by = acting_name(getattr(request.state, "account", None), by)
    with tempfile.TemporaryDirectory(prefix="revision-") as folder:
        path = uploaded(file, Path(folder))
        noted = shelf.store.schedule.progress_of(version)
        ended = Worker(
            revise_in_worker, path, plan, number, revision, shelf.clock(), noted, seconds, limits=CHECK_LIMITS
        ).result()
        if not ended.is_good:
            raise CakewrightError(ended.found, remedy=ended.remedy, where=ended.where or path.name)
        found: RevisionChange = ended.value
        kept = keep_quote(shelf.store, found.offer, path, at=shelf.clock(), by=by)
    return _page(shelf, request, version, number, found, kept)


def revise_in_worker(
    report: Progress,
    path: Path,
    plan: WeekPlan,
    number: int,
    revision: str,
    now: datetime,
    noted: tuple[Noted, ...],
    seconds: float,
) -> RevisionChange:
    """What the worker does: a stranger's file never meets the server itself."""
    effort = effort_in_seconds(seconds, time.monotonic)
    return revise_line(
        plan, number, path, revision, now=now, clock=time.monotonic, noted=noted, effort=effort, progress=report
    )


def _page(
    shelf: Shelf,
    request: Request,
    version: int,
    number: int,
    found: RevisionChange | None = None,
    kept: KeptOffer | None = None,
) -> HTMLResponse:
    plan = shelf.plan(version)
    return page(request, "revise.html", **shown_of(shelf, plan, "/lines"), line=line_of(plan, number), found=found,
                kept=kept, currency=plan.cell.rates.currency)  # fmt: skip
