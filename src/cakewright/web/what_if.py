"""What if: one change, its effect in a table, as a job; nothing is kept."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from cakewright.app.questions import AskWhatIf
from cakewright.app.running import changes_of, figures_rows
from cakewright.app.what_if import WhatIf, check_change
from cakewright.errors import InputError
from cakewright.store import Job
from cakewright.web.asking import ask, go_to, seen
from cakewright.web.inbox import Desk
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, moment_or_now, names_in, shelf_of, shown_of
from cakewright.web.trouble import RESPONSES
from cakewright.web.typed import number

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["running week"])
Plans = Annotated[Shelf, Depends(shelf_of)]
Words = Annotated[str, Form(max_length=120)]
PAST = "/plans/{version}/what-if"


class AskedWhatIf(BaseModel):
    """One change: `rush` (hours, pieces), `line` goes first, one more `chamber`, somebody at `night`, `down` (name).

    `at` is the moment from which on (left out: now).
    """

    question: Annotated[str, Field(max_length=20, examples=["rush"])]
    hours: Annotated[float, Field(gt=0, le=200, allow_inf_nan=False)] = 8
    pieces: Annotated[int, Field(ge=1, le=10_000)] = 10
    line: Annotated[int, Field(ge=0, le=1_000_000)] = 0
    name: Annotated[str, Field(max_length=120)] = ""
    start: Annotated[str, Field(max_length=40)] = ""
    end: Annotated[str, Field(max_length=40)] = ""
    at: Annotated[str, Field(max_length=40)] = ""


@pages.get(PAST)
def what_if(
    shelf: Plans, request: Request, version: int, answer: Annotated[str, Query(max_length=40)] = ""
) -> HTMLResponse:  # fmt: skip
    """The questions, and the answer when one is there."""
    plan = shelf.plan(version)
    found = seen(shelf, plan, answer)
    is_there = isinstance(found.answer, WhatIf)
    now = found.question.now if isinstance(found.question, AskWhatIf) else moment_or_now(shelf, plan, "")
    return page(
        request, "what_if.html", **shown_of(shelf, plan, ""), answer=found.answer if is_there else None, at=now,
        rows=figures_rows(plan, found.answer) if isinstance(found.answer, WhatIf) else [], seen=found,
        names=names_in(plan), planned=[p.line for p in plan.promises if p.ready],
    )  # fmt: skip


@pages.post(PAST)
def ask_one(
    request: Request, shelf: Plans, desk: Desk, version: int, question: Words,
    hours: Annotated[float, Form(gt=0, le=200)] = 8, pieces: Annotated[int, Form(ge=1, le=10_000)] = 10,
    line: Words = "", name: Words = "", start: Words = "", end: Words = "", at: Words = "",
) -> Response:  # fmt: skip
    """Ask, as a job; its page goes on to the table by itself."""
    number_of_line = int(number(line, "line")) if line.strip() else 0
    asked = AskedWhatIf(question=question, hours=hours, pieces=pieces, line=max(number_of_line, 0), name=name,
                        start=start, end=end, at=at)  # fmt: skip
    form = {"question": question, "hours": f"{hours:g}", "pieces": str(pieces), "line": line, "name": name,
            "start": start, "end": end}  # fmt: skip
    return go_to(_ask(request, shelf, desk, version, asked, form))


@interface.post(PAST, status_code=202)
def ask_for_scripts(request: Request, shelf: Plans, desk: Desk, version: int, asked: AskedWhatIf) -> Job:
    """What one change would do, as a job; its answer is at `/jobs/{job}/answer`. Nothing is kept."""
    return _ask(request, shelf, desk, version, asked, {})


def _ask(
    request: Request, shelf: Shelf, desk: Desk, version: int, asked: AskedWhatIf, form: dict[str, str]
) -> Job:  # fmt: skip
    """Begin; what cannot be meant is said at once."""
    plan = shelf.plan(version)
    changes: dict[str, dict[str, Any]] = {
        "rush": {"rush_hours": asked.hours, "rush_pieces": asked.pieces},
        "line": {"rush_line": asked.line},
        "chamber": {"chambers": 1},
        "night": {"night": 1},
        "down": {"down": [f"{asked.name},{asked.start},{asked.end}"]},
    }
    if asked.question not in changes:
        known = ", ".join(changes)
        raise InputError(f"{asked.question!r} is no question", remedy=f"ask one of: {known}", where="question")
    (change,) = changes_of(plan, **changes[asked.question])
    check_change(plan, change)
    now = moment_or_now(shelf, plan, asked.at)
    return ask(request, desk, plan, "/what-if", AskWhatIf(now, change), form=form)
