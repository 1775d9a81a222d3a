"""A build has stopped: fates, powder and ways out as a job; one of them is carried out as another."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from cakewright.app.failure_desk import RULES, Cause, FailureDesk, check_stop
from cakewright.app.questions import HasStopped
from cakewright.app.running import cause_of
from cakewright.store import Job
from cakewright.web.asking import ask, go_to, seen
from cakewright.web.inbox import Desk
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, build_of, moment_or_now, shelf_of, shown_of
from cakewright.web.trouble import RESPONSES
from cakewright.web.typed import decider, number

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["running week"])
Plans = Annotated[Shelf, Depends(shelf_of)]
Words = Annotated[str, Form(max_length=500)]
Layers = Annotated[int, Field(ge=0, le=1_000_000)]
PAST = "/plans/{version}/builds/{key}/stopped"


class AskedStop(BaseModel):
    """Finished layers, why it stopped, when (left out: now), mm in doubt below it (left out: by the cause)."""

    layer: Layers
    cause: Annotated[str, Field(max_length=40, examples=["power"])]
    at: Annotated[str, Field(max_length=40)] = ""
    margin_mm: Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)] | None = None


@pages.get(PAST)
def stopped(
    shelf: Plans, request: Request, version: int, key: str, answer: Annotated[str, Query(max_length=40)] = ""
) -> HTMLResponse:  # fmt: skip
    """The failure desk: the form, and the answer when one is there. Looking changes nothing."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    found = seen(shelf, plan, answer)
    now = found.question.now if isinstance(found.question, HasStopped) else moment_or_now(shelf, plan, "")
    return page(
        request, "stopped.html", **shown_of(shelf, plan, "/builds"), build=build, at=now, seen=found,
        desk=found.answer if isinstance(found.answer, FailureDesk) and found.answer.after.build == key else None,
        causes=[(c.name.lower(), c.value, RULES[c]) for c in Cause],
    )  # fmt: skip


@pages.post(PAST + "/asked")
def ask_what_that_means(
    request: Request, shelf: Plans, desk: Desk, version: int, key: str,
    layer: Annotated[int, Form(ge=0, le=1_000_000)], cause: Words, margin_mm: Words = "", at: Words = "",
) -> Response:  # fmt: skip
    """Look for ways out, as a job; its page goes on to the answer by itself."""
    margin = number(margin_mm, "margin") if margin_mm.strip() else None
    question = _question(shelf, version, key, AskedStop(layer=layer, cause=cause, at=at, margin_mm=margin))
    form = {"layer": str(layer), "cause": cause, "margin_mm": margin_mm}
    return go_to(ask(request, desk, shelf.plan(version), f"/builds/{key}/stopped", question, form=form))


@pages.post(PAST)
def take_way_out(
    shelf: Plans, desk: Desk, version: int, key: str, draft: Words, way: Words, by: Words = "", note: Words = ""
) -> Response:
    """Carry out a way out, as a job; its page goes on to the plan it leads to."""
    plan = shelf.plan(version)
    build_of(plan, key)
    return go_to(desk.accept(draft, plan, way=way, by=decider(by), note=note))


@interface.post(PAST, status_code=202)
def ask_for_scripts(request: Request, shelf: Plans, desk: Desk, version: int, key: str, asked: AskedStop) -> Job:
    """Fates, powder and ways out, as a job; its answer is at `/jobs/{job}/answer`. Asking changes nothing."""
    question = _question(shelf, version, key, asked)
    return ask(request, desk, shelf.plan(version), f"/builds/{key}/stopped", question)


def _question(shelf: Shelf, version: int, key: str, asked: AskedStop) -> HasStopped:
    """The question; what cannot be meant is said at once."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    now = moment_or_now(shelf, plan, asked.at)
    check_stop(plan, build, asked.layer, now, asked.margin_mm)
    return HasStopped(now, key, asked.layer, cause_of(asked.cause), asked.margin_mm)
