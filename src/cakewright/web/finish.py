"""Finishing baskets at the bench: what goes in together, start, end."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app import finish_baskets, finish_effect
from cakewright.safety import CLOSING
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, line_of, shelf_of, shown_of
from cakewright.web.typed import above_zero, happened

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Short = Annotated[str, Form(max_length=120)]


@pages.get("/plans/{version}/baskets")
def baskets(
    shelf: Plans, request: Request, version: int, by: Annotated[str, Query(max_length=80)] = ""
) -> HTMLResponse:
    """Every basket of the plan: what is in it, what must not be, what protects, its buttons."""
    plan = shelf.plan(version)
    found = finish_baskets.finish_baskets(shelf.store, plan)
    last = finish_baskets.last_in(shelf.store, plan)
    return page(request, "baskets.html", **shown_of(shelf, plan, "/lines"), baskets=found, last=last, by=by,
                media=finish_baskets.MEDIA, closing=CLOSING,
                effects=finish_effect.finish_effects(shelf.store))  # fmt: skip


@pages.post("/plans/{version}/baskets/start")
def start(
    shelf: Plans, version: int, basket: Short, station: Short, by: Short,
    line: Annotated[list[int] | None, Form()] = None, bath: Short = "", media: Short = "", kept_apart: Short = "",
    when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """A basket goes in."""
    plan, now = shelf.plan(version), shelf.clock()
    finish_baskets.start_basket(
        shelf.store, plan, basket, line or [], by=by, at=happened(when, now), station=station, bath=bath, media=media,
        kept_apart=kept_apart, uid=uid, kept_at=now,
    )  # fmt: skip
    return _back(version, by)


@pages.post("/plans/{version}/baskets/size")
def size(
    shelf: Plans, version: int, line: Annotated[int, Form(ge=1)], piece: Short, before: Short, after: Short, by: Short,
    kind: Short = "outside", name: Short = "", when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """One value before and after a finish."""
    plan, now = shelf.plan(version), shelf.clock()
    line_of(plan, line)
    finish_effect.keep_change(
        shelf.store, plan, line, piece=piece, name=name, before=above_zero(before, "before"),
        after=above_zero(after, "after"), kind=kind, by=by, at=happened(when, now), uid=uid, kept_at=now,
    )  # fmt: skip
    return _back(version, by)


@pages.post("/plans/{version}/baskets/end")
def end(
    shelf: Plans, version: int, of: Short, by: Short, found: Short = "", when: Short = "", uid: Short = ""
) -> Response:
    """A basket is out again."""
    plan, now = shelf.plan(version), shelf.clock()
    at = happened(when, now)
    finish_baskets.end_basket(shelf.store, plan, of, by=by, at=at, found=found, uid=uid, kept_at=now)
    return _back(version, by)


def _back(version: int, by: str) -> Response:
    return RedirectResponse(f"/plans/{version}/baskets?{urlencode({'by': by})}", status_code=303)
