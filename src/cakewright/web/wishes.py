"""Why a nest is as it is: the wishes of a build with what each is worth, as a page and as numbers."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from cakewright.app.why_nest import WishRow, why_nest
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, build_of, shelf_of
from cakewright.web.trouble import RESPONSES

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["builds"])
Plans = Annotated[Shelf, Depends(shelf_of)]
BUILD = "/plans/{version}/builds/{key}/wishes"


@interface.get(BUILD)
def wish_numbers(shelf: Plans, version: int, key: str) -> list[WishRow]:
    """Every wish of a nest, most important first: how far from fulfilled, and its price in points (mm of height)."""
    plan = shelf.plan(version)
    return list(why_nest(plan, build_of(plan, key)))


@pages.get(BUILD)
def wish_page(shelf: Plans, request: Request, version: int, key: str) -> HTMLResponse:
    """The table for a person."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    rows = [row for row in why_nest(plan, build) if row.name != "density"]
    return page(
        request,
        "wishes.html",
        plan=plan,
        base=f"/plans/{version}",
        here="/builds",
        zone=plan.cell.zone,
        summaries=shelf.store.plans(),
        build=build,
        rows=rows,
        soft=sum(row.points for row in rows if row.name != "height"),
    )
