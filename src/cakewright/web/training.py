"""Training and authority: who may do which step, until when, and which step hangs on one name."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app import authority
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, shelf_of, shown_of
from cakewright.web.typed import happened

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Short = Annotated[str, Form(max_length=120)]


@pages.get("/plans/{version}/training")
def training(
    shelf: Plans, request: Request, version: int, by: Annotated[str, Query(max_length=80)] = ""
) -> HTMLResponse:  # fmt: skip
    """The matrix of people and steps, what ends, and the risks."""
    plan = shelf.plan(version)
    today = shelf.clock().astimezone(plan.cell.zone).date()
    kept = authority.authorities(shelf.store)
    names = [p.name for p in plan.cell.people]
    names += sorted({a.person for a in kept.values()} - set(names))
    return page(request, "training.html", **shown_of(shelf, plan, ""), steps=list(authority.Step), names=names,
                kept=kept, rows=authority.matrix(shelf.store, plan, today), today=today, by=by,
                findings=authority.training_findings(shelf.store, plan, today))  # fmt: skip


@pages.post("/plans/{version}/training")
def grant(
    shelf: Plans, version: int, person: Short, step: Short, by: Short, until: Short = "", note: Short = "",
    when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """Somebody was trained."""
    plan, now = shelf.plan(version), shelf.clock()
    authority.grant(shelf.store, plan, person=person, step=step, until=until, note=note, by=by,
                    at=happened(when, now), uid=uid, kept_at=now)  # fmt: skip
    return _back(version, by)


@pages.post("/plans/{version}/training/taken")
def take_back(shelf: Plans, version: int, person: Short, step: Short, by: Short, why: Short = "") -> Response:
    """Somebody may not do a step any more."""
    authority.take_back(shelf.store, shelf.plan(version), person=person, step=step, why=why, by=by, at=shelf.clock())
    return _back(version, by)


def _back(version: int, by: str) -> Response:
    return RedirectResponse(f"/plans/{version}/training?{urlencode({'by': by})}", status_code=303)
