"""The changeover page: what a change costs, how long a campaign should be, the checklist with names."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app.powder_change import (
    STEPS,
    advise_change,
    begin_change,
    purge,
    running_change,
    sign_change,
    sign_step,
)
from cakewright.errors import CakewrightError, InputError
from cakewright.model.cell import Cell
from cakewright.sources.powder import CHANGEOVER_STAFFED_H, PURGE_KG
from cakewright.web.look import page
from cakewright.web.powder import By, Plans, shown
from cakewright.web.powder_book import Said, number, posted
from cakewright.web.shelf import Shelf

router = APIRouter(include_in_schema=False, prefix="/powder")
Text = Annotated[str, Query(max_length=80)]


@router.get("/change")
def change(
    shelf: Plans,
    request: Request,
    machine: Text = "",
    to: Text = "",
    demand: Text = "20",
    waiting: Text = "0",
    staffed: Text = f"{CHANGEOVER_STAFFED_H.value:g}",
    purge_kg: Text = f"{PURGE_KG.value:g}",
    by: By = "",
) -> HTMLResponse:
    """Does it pay, and the list of the machine."""
    given = {"machine": machine, "to": to, "demand": demand, "waiting": waiting, "staffed": staffed,
             "purge_kg": purge_kg, "by": by}  # fmt: skip
    return _page(shelf, request, given)


@router.post("/change")
def do(shelf: Plans, request: Request, given: Annotated[Said, Depends(posted)]) -> Response:
    """Begin, sign a step, book purge powder, sign the end."""
    try:
        _do(shelf, given)
    except CakewrightError as wrong:
        return _page(shelf, request, given, wrong.text, status=422)
    back = {k: given.get(k, "") for k in ("machine", "to", "by")}
    return RedirectResponse(f"/powder/change?{urlencode(back)}", status_code=303)


def _do(shelf: Shelf, given: Said) -> None:
    by, at, machine = given.get("by", "").strip(), shelf.clock(), given.get("machine", "")
    if not by:
        raise InputError("nobody's name is given", remedy="choose your name: every signature is kept", where="by")
    step = given.get("step", "")
    if step == "begin":
        begin_change(shelf.store, _cell(shelf), machine, given.get("to", ""), by=by, at=at)
    elif step.isdigit():
        sign_step(shelf.store, machine, int(step), by=by, at=at)
    elif step == "purge":
        purge(shelf.store, machine, given.get("can", ""), number(given, "kg"), by=by, at=at)
    else:
        sign_change(shelf.store, machine, as_checker=step == "check", by=by, at=at)


def _cell(shelf: Shelf) -> Cell:
    version = shelf.store.newest()
    if version is None:
        raise InputError("there is no plan yet", remedy="plan a week first: it brings the cell with its machines")
    return shelf.plan(version).cell


def _page(shelf: Shelf, request: Request, given: Said, wrong: str = "", status: int = 200) -> HTMLResponse:
    common = shown(shelf, "/change", given.get("by", ""))
    advice, running, cell = None, None, common["plan"].cell if common.get("plan") else None
    machine, to = given.get("machine", ""), given.get("to", "")
    if cell is not None and machine:
        running = running_change(shelf.store, cell.machine(machine).name)
    if cell is not None and machine and to and request.method == "GET":
        try:
            advice = advise_change(
                cell, machine, to, demand_h_per_week=number(given, "demand"), waiting_value=number(given, "waiting"),
                staffed_h=number(given, "staffed"), purge_kg=number(given, "purge_kg"),
            )  # fmt: skip
        except CakewrightError as refused:
            wrong = wrong or refused.text
    return page(request, "powder_change.html", status=status, **common, cell=cell, given=given, wrong=wrong,
                advice=advice, running=running, steps=STEPS)  # fmt: skip
