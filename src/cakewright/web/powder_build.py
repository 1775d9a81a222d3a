"""The powder of one build at the bench: slip and weighing, charge, what came back."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app.powder_blend import Proposal, Weighing, judge_weighing, propose_blend, weigh_blend
from cakewright.app.powder_books import look
from cakewright.app.powder_build import Fraction, book_back, build_powder, charge_build
from cakewright.app.powder_rules import BlendMode
from cakewright.documents.powder_slip import powder_slip_pdf
from cakewright.errors import CakewrightError, InputError
from cakewright.model.plan import WeekPlan
from cakewright.web.look import page
from cakewright.web.powder import By, Plans
from cakewright.web.powder_book import Said, number, posted
from cakewright.web.shelf import Shelf, build_of

router = APIRouter(include_in_schema=False)
HERE = "/plans/{version}/builds/{key}/powder"
Mode = Annotated[BlendMode, Query()]
Only = Annotated[list[str] | None, Query(max_length=40)]
Lots = Annotated[str, Query(max_length=3, pattern=r"^\d*$")]


@router.get(HERE)
def steps(
    shelf: Plans,
    request: Request,
    version: int,
    key: str,
    by: By = "",
    mode: Mode = BlendMode.FIXED,
    only: Only = None,
    lots: Lots = "",
    said: Annotated[str, Query(max_length=400)] = "",
) -> HTMLResponse:
    """Slip, charge, break-out: what is done, what is next."""
    plan = shelf.plan(version)
    return _page(shelf, request, plan, key, by=by, mode=mode, only=only, lots=lots, said=said)


@router.get(HERE + ".pdf")
def slip(
    shelf: Plans, version: int, key: str, mode: Mode = BlendMode.FIXED, only: Only = None, lots: Lots = ""
) -> Response:
    """The slip with the cans of the shelf, to print."""
    plan = shelf.plan(version)
    build_of(plan, key)
    proposal = propose_blend(
        shelf.store, plan, key, today=shelf.clock().date(), mode=mode, only=only, most_lots=int(lots) if lots else None
    )
    return Response(powder_slip_pdf(plan, key, proposal.blend), media_type="application/pdf",
                    headers={"content-disposition": f'inline; filename="{version:03d}-powder-slip.pdf"'})  # fmt: skip


@router.get(HERE + "/check")
def check(request: Request, asked: float, limit: float, can: str = "") -> HTMLResponse:
    """A word about one weighing while the can is still on the scale."""
    told, is_good = judge_weighing(can, asked, limit, request.query_params.get(f"kg:{can}", ""))
    return page(request, "powder_weighed.html", told=told, is_good=is_good)


@router.post(HERE)
def do(shelf: Plans, request: Request, version: int, key: str, given: Annotated[Said, Depends(posted)]) -> Response:
    """Book one step; after a refusal the page comes back with what was typed and with what is wrong."""
    plan = shelf.plan(version)
    build_of(plan, key)
    mode = BlendMode(given["mode"]) if given.get("mode") in list(BlendMode) else BlendMode.FIXED
    only = given["only"].split() if given.get("only") else None
    try:
        told = _book(shelf, plan, key, given)
    except CakewrightError as wrong:
        return _page(shelf, request, plan, key, by=given.get("by", ""), mode=mode, only=only,
                     lots=given.get("lots", ""), wrong=wrong.text, given=given, status=422)  # fmt: skip
    back = urlencode({"by": given.get("by", ""), "said": told})
    return RedirectResponse(f"{request.url.path}?{back}", status_code=303)


def _book(shelf: Shelf, plan: WeekPlan, key: str, given: Said) -> str:
    by, at = given.get("by", "").strip(), shelf.clock()
    if not by:
        raise InputError("nobody's name is given", remedy="choose your name: every entry is kept with it", where="by")
    if given.get("step") == "weigh":
        cans = [name.removeprefix("asked:") for name in given if name.startswith("asked:")]
        weighings = [
            Weighing(c, float(given[f"asked:{c}"]), number(given, f"kg:{c}"), bool(given.get(f"whole:{c}")))
            for c in cans
        ]
        _scanned(given, cans)
        mixed = weigh_blend(shelf.store, plan, key, weighings, by=by, at=at, reason=given.get("reason", ""))
        return f"Blend {mixed.blend}: {mixed.kg:.2f} kg. Mix it, and put the label {mixed.blend} on."
    if given.get("step") == "charge":
        charge, findings = charge_build(shelf.store, plan, key, given.get("blend", ""), by=by, at=at)
        return " ".join([f"{given.get('blend')} is in: {charge}.", *(f.text for f in findings)])
    if given.get("step") == "back":
        came = {f: [n] if (n := number(given, f.name, may_lack=True)) else [] for f in Fraction}
        done = book_back(shelf.store, plan, key, came, by=by, at=at, parts_kg=number(given, "parts", may_lack=True),
                         rest_reason=given.get("rest", ""))  # fmt: skip
        told = [f"{name}: {kg:.2f} kg in {can}." for name, can, kg in done.cans]
        return " ".join([*told, *(f"{f.text}." for f in done.findings)])
    raise InputError("no step is named", remedy="use the buttons of the page")


def _scanned(given: Said, cans: list[str]) -> None:
    """Where codes were scanned, each must be the can of its line: the wrong can on the scale is caught here."""
    for can in cans:
        code = given.get(f"scan:{can}", "").strip().removeprefix("cakewright:can/")
        if code and code.casefold() != can.casefold():
            raise InputError(f"{code} was scanned where {can} belongs", remedy=f"put {can} on the scale", where=can)


def _page(
    shelf: Shelf, request: Request, plan: WeekPlan, key: str, *, by: str, mode: BlendMode, only: list[str] | None,
    lots: str = "", said: str = "", wrong: str = "", given: Said | None = None, status: int = 200,
) -> HTMLResponse:  # fmt: skip
    build = build_of(plan, key)
    done = build_powder(shelf.store, plan.version, key)
    proposal: Proposal | None = None
    why = ""
    if not done.blends and not done.parts_kg:
        try:
            proposal = propose_blend(shelf.store, plan, key, today=shelf.clock().date(), mode=mode, only=only,
                                     most_lots=int(lots) if lots.isdigit() else None)  # fmt: skip
        except InputError as refused:
            why = "" if done.charge_kg else refused.text
    view = look(shelf.store)
    cans = [] if view.is_empty else view.for_blending(build.material, shelf.clock().date())
    common: dict[str, Any] = {
        "plan": plan, "base": f"/plans/{plan.version}", "here": "/powder", "summaries": shelf.store.plans(),
        "zone": plan.cell.zone, "people": [p.name for p in plan.cell.people], "by": by,
    }  # fmt: skip
    return page(
        request, "powder_build.html", status=status, **common, build=build, done=done, proposal=proposal, why=why,
        modes=list(BlendMode), mode=mode, cans=cans, only=only or [], lots=lots, fractions=list(Fraction), said=said,
        wrong=wrong, given=given or {},
    )  # fmt: skip
