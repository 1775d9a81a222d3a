"""Plan again: the rest of the week made anew as a job, shown, kept by somebody with a name."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from cakewright.app.questions import PlanAgain
from cakewright.app.replan import Replanned
from cakewright.errors import InputError
from cakewright.model.plan import WeekPlan
from cakewright.store import Job
from cakewright.web.asking import ask, go_to, seen
from cakewright.web.inbox import Desk
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, moment_of, moment_or_now, names_in, shelf_of, shown_of
from cakewright.web.trouble import RESPONSES
from cakewright.web.typed import decider

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["running week"])
Plans = Annotated[Shelf, Depends(shelf_of)]
Words = Annotated[str, Form(max_length=120)]
Moment = Annotated[str, Field(max_length=40, examples=["2027-03-02T06:00"])]
PAST = "/plans/{version}"


class OutOfUse(BaseModel):
    """A machine, chamber, station or person that is away; times are the cell's unless they name a zone."""

    name: Annotated[str, Field(min_length=1, max_length=120, examples=["A1"])]
    start: Moment
    end: Moment


class AskedPlanAgain(BaseModel):
    """From when on (left out: now), what is out of use, and whether what was told may move too."""

    at: Moment = ""
    out: Annotated[list[OutOfUse], Field(max_length=50)] = []
    free: bool = False


@pages.get(PAST + "/again")
def again(
    shelf: Plans, request: Request, version: int, answer: Annotated[str, Query(max_length=40)] = ""
) -> HTMLResponse:  # fmt: skip
    """The forms, and the answer when one is there; nothing is kept by looking."""
    plan = shelf.plan(version)
    found = seen(shelf, plan, answer)
    told = next((c for c in shelf.store.schedule.commitments() if c.plan == version), None)
    now = found.question.now if isinstance(found.question, PlanAgain) else moment_or_now(shelf, plan, "")
    return page(
        request, "again.html", **shown_of(shelf, plan, ""), at=now, seen=found, names=names_in(plan), told=told,
        made=found.answer if isinstance(found.answer, Replanned) else None,
    )  # fmt: skip


@pages.post(PAST + "/again/asked")
def ask_again(
    request: Request, shelf: Plans, desk: Desk, version: int, at: Words = "", name: Words = "", start: Words = "",
    end: Words = "", free: Annotated[bool, Form()] = False,
) -> Response:  # fmt: skip
    """Make the rest of the week again, as a job; its page goes on to the answer by itself."""
    plan = shelf.plan(version)
    out = [OutOfUse(name=name, start=start, end=end)] if name and start and end else []
    question = _question(shelf, plan, at, out, free)
    form = {"name": name, "start": start, "end": end, "free": "yes" if free else ""}
    return go_to(ask(request, desk, plan, "/again", question, form=form))


@pages.post(PAST + "/again")
def keep_again(shelf: Plans, desk: Desk, version: int, draft: Words, by: Words = "") -> Response:
    """Keep what was shown as a new plan version, as a job."""
    return go_to(desk.accept(draft, shelf.plan(version), by=decider(by)))


@pages.post(PAST + "/commit")
def commit(shelf: Plans, version: int, by: Words = "", hours: Annotated[float, Form(ge=0, le=72)] = 24) -> Response:
    """Note that this plan was told to people."""
    now = shelf.clock()
    shelf.plan(version)
    shelf.store.schedule.commit(plan=version, until=now + timedelta(hours=hours), at=now, by=decider(by))
    return RedirectResponse(f"/plans/{version}/again", status_code=303)


@interface.post(PAST + "/again", status_code=202)
def ask_for_scripts(request: Request, shelf: Plans, desk: Desk, version: int, asked: AskedPlanAgain) -> Job:
    """The rest of the week again, as a job; its answer is at `/jobs/{job}/answer`. Asking changes nothing."""
    plan = shelf.plan(version)
    return ask(request, desk, plan, "/again", _question(shelf, plan, asked.at, asked.out, asked.free))


def _question(shelf: Shelf, plan: WeekPlan, at: str, out: list[OutOfUse], free: bool) -> PlanAgain:
    """The question; what is named wrongly is said at once."""
    known, windows = names_in(plan), []
    for one in out:
        if one.name not in known:
            raise InputError(f"the cell has no {one.name}", remedy=f"name one of: {', '.join(known)}", where="name")
        begins, ends = moment_of(plan, one.start), moment_of(plan, one.end)
        if not begins < ends:
            raise InputError(f"{one.name} is out of use for no time", remedy="give an end after the start", where="end")
        windows.append((one.name, begins, ends))
    return PlanAgain(moment_or_now(shelf, plan, at), tuple(windows), free)
