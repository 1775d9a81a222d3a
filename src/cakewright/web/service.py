"""Upkeep of machines: what is due by hours, layers, kilograms, builds or days, and which build would cross."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app import upkeep
from cakewright.model.floor import FloorKind
from cakewright.safety import CLOSING, Work, cautions_of
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, shelf_of, shown_of
from cakewright.web.typed import above_zero, happened, number

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Short = Annotated[str, Form(max_length=120)]


@pages.get("/plans/{version}/upkeep")
def service(
    shelf: Plans, request: Request, version: int, by: Annotated[str, Query(max_length=80)] = ""
) -> HTMLResponse:  # fmt: skip
    """What is due, which build would cross a limit, what was done."""
    plan, now = shelf.plan(version), shelf.clock()
    done = [r for r in reversed(shelf.store.floor.records(kind=FloorKind.SERVICE)) if r.data["deed"] != "rule"][:40]
    return page(request, "upkeep.html", **shown_of(shelf, plan, ""), due=upkeep.upkeep(shelf.store, plan, now), by=by,
                units=list(upkeep.Unit), done=done, cautions=cautions_of(Work.POWDER, Work.MACHINE),
                closing=CLOSING)  # fmt: skip


@pages.post("/plans/{version}/upkeep")
def rule(
    shelf: Plans, version: int, machine: Short, what: Short, every: Short, unit: Short, by: Short, already: Short = "",
    when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """Something is to be done every so often."""
    plan, now = shelf.plan(version), shelf.clock()
    upkeep.enter_rule(
        shelf.store, plan, machine=machine, what=what, every=above_zero(every, "every"), unit=unit,
        already=number(already, "already") if already else 0.0, by=by, at=happened(when, now), uid=uid, kept_at=now,
    )  # fmt: skip
    return _back(version, by)


@pages.post("/plans/{version}/upkeep/done")
def done(
    shelf: Plans, version: int, machine: Short, what: Short, by: Short, note: Annotated[str, Form(max_length=300)] = "",
    before: Short = "", after: Short = "", when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """It was done; counting begins again."""
    plan, now = shelf.plan(version), shelf.clock()
    upkeep.note_service(shelf.store, plan, machine=machine, what=what, by=by, at=happened(when, now), note=note,
                        before=before, after=after, uid=uid, kept_at=now)  # fmt: skip
    return _back(version, by)


@pages.post("/plans/{version}/upkeep/postponed")
def postponed(
    shelf: Plans, version: int, machine: Short, what: Short, more: Short, by: Short,
    reason: Annotated[str, Form(max_length=300)] = "", when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """It may run a little longer, with a reason."""
    plan, now = shelf.plan(version), shelf.clock()
    upkeep.postpone(shelf.store, plan, machine=machine, what=what, more=above_zero(more, "more"), reason=reason, by=by,
                    at=happened(when, now), uid=uid, kept_at=now)  # fmt: skip
    return _back(version, by)


def _back(version: int, by: str) -> Response:
    return RedirectResponse(f"/plans/{version}/upkeep?{urlencode({'by': by})}", status_code=303)
