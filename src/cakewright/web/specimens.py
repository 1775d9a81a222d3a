"""Test specimens at the bench: where they stand, limits, values, and lines that are held until they pass."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app import specimens
from cakewright.app.hold_lines import gates, release_line
from cakewright.app.specimen_places import places_words
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, build_of, line_of, shelf_of, shown_of
from cakewright.web.typed import above_zero, happened
from cakewright.web.typed import number as typed

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Short = Annotated[str, Form(max_length=120)]
By = Annotated[str, Query(max_length=80)]
BUILD = "/plans/{version}/builds/{key}/specimens"


@pages.get("/plans/{version}/held")
def held(shelf: Plans, request: Request, version: int, by: By = "") -> HTMLResponse:
    """Every line that must not be packed yet, and why; who let one go."""
    plan = shelf.plan(version)
    found = [(plan.line(n), g) for n, g in gates(shelf.store, plan).items() if g.holds]
    sets = [specimens.specimen_set(shelf.store, plan, b) for b in plan.builds]
    return page(request, "held.html", **shown_of(shelf, plan, "/lines"), found=found, sets=sets, by=by,
                places_words=places_words)  # fmt: skip


@pages.post("/plans/{version}/lines/{number}/release")
def release(
    shelf: Plans, version: int, number: int, reason: Annotated[str, Form(max_length=300)], by: Short, when: Short = "",
    uid: Short = "",
) -> Response:  # fmt: skip
    """An authorised person lets a held line go, with a reason."""
    plan, now = shelf.plan(version), shelf.clock()
    line_of(plan, number)
    release_line(shelf.store, plan, number, reason=reason, by=by, at=happened(when, now), uid=uid, kept_at=now)
    return _back(f"/plans/{version}/held", by)


@pages.get(BUILD)
def of_build(shelf: Plans, request: Request, version: int, key: str, by: By = "") -> HTMLResponse:
    """The specimens of a build: places, bench day, values, what is missing."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    seen = specimens.specimen_set(shelf.store, plan, build)
    return page(request, "specimens.html", **shown_of(shelf, plan, "/builds"), build=build, seen=seen, by=by,
                known=specimens.QUANTITIES, words=places_words(seen.places))  # fmt: skip


@pages.post(BUILD)
def value(
    shelf: Plans, version: int, key: str, piece: Short, quantity: Short, value: Short, by: Short, unit: Short = "",
    standard: Short = "", condition: Short = "", when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """One value from the bench."""
    plan, now = shelf.plan(version), shelf.clock()
    specimens.enter_value(
        shelf.store, plan, build_of(plan, key), piece=piece, quantity=quantity, value=typed(value, "value"), unit=unit,
        standard=standard, condition=condition, by=by, at=happened(when, now), uid=uid, kept_at=now,
    )  # fmt: skip
    return _back(f"/plans/{version}/builds/{key}/specimens", by)


@pages.post(BUILD + "/limit")
def limit(
    shelf: Plans, version: int, key: str, quantity: Short, least: Short, unit: Short, by: Short, when: Short = "",
    uid: Short = "",
) -> Response:  # fmt: skip
    """The least value of a property for the material of the build."""
    plan, now = shelf.plan(version), shelf.clock()
    specimens.enter_limit(
        shelf.store, plan, material=build_of(plan, key).material, quantity=quantity,
        least=above_zero(least, "least"), unit=unit, by=by, at=happened(when, now), uid=uid, kept_at=now,
    )  # fmt: skip
    return _back(f"/plans/{version}/builds/{key}/specimens", by)


@pages.post(BUILD + "/bench")
def bench(shelf: Plans, version: int, key: str, day: Short, by: Short, when: Short = "", uid: Short = "") -> Response:
    """The day on which they are tested."""
    plan, now = shelf.plan(version), shelf.clock()
    specimens.book_bench(shelf.store, plan, build_of(plan, key), day=day, by=by, at=happened(when, now), uid=uid,
                         kept_at=now)  # fmt: skip
    return _back(f"/plans/{version}/builds/{key}/specimens", by)


def _back(address: str, by: str) -> Response:
    return RedirectResponse(f"{address}?{urlencode({'by': by})}", status_code=303)
