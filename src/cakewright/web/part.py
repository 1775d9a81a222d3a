"""The page of one part: its doubts in 3D and in pictures, the best ways up, the rule for its revision."""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app.customer_answers import answers_of, keep_answer
from cakewright.app.mark_faces import faces_png, mark_faces, marked_faces, numbers_marked, places_of
from cakewright.app.report_part import SIDES
from cakewright.app.show_part import PartPage, point_png, rule_from, rules_for, sheet_for, way_png
from cakewright.documents.part_faces import looks_where
from cakewright.documents.part_report import PartSheet, part_report_html
from cakewright.documents.part_report_pdf import part_report_pdf
from cakewright.model.plan import WeekPlan
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, line_of, shelf_of
from cakewright.web.trouble import RESPONSES, NotThereError
from cakewright.web.typed import happened

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["parts"])
Plans = Annotated[Shelf, Depends(shelf_of)]
Side = Annotated[str, Query(max_length=2)]
PART = "/plans/{version}/lines/{number}/part"
_FREEDOMS = (
    ("free", "turn it any way"),
    ("about z", "this way up, turn it about the vertical"),
    ("cone", "this way up, tilt it a little"),
    ("fixed", "exactly like this"),
)


def _shown(shelf: Shelf, version: int, number: int, visible: str = "", load: str = "") -> tuple[WeekPlan, PartPage]:
    plan = shelf.plan(version)
    line = line_of(plan, number)
    part = plan.parts.get(plan.part_of_line.get(line.line, ""))
    faces = () if part is None else places_of(marked_faces(shelf.store, part))
    return plan, shelf.part_pages.of(plan, line, visible, load, faces)


@pages.get(PART)
def part_page(
    shelf: Plans, request: Request, version: int, number: int, visible: Side = "", load: Side = ""
) -> HTMLResponse:
    """Doubts, ways up (for a visible side and a load direction), rule."""
    plan, shown = _shown(shelf, version, number, visible, load)
    return page(
        request,
        "part.html",
        plan=plan,
        here="/lines",
        summaries=shelf.store.plans(),
        zone=plan.cell.zone,
        base=f"/plans/{version}",
        line=line_of(plan, number),
        shown=shown,
        rules=rules_for(shelf.store, shown.part),
        marked=marked_faces(shelf.store, shown.part),
        marked_numbers=numbers_marked(shown.part, marked_faces(shelf.store, shown.part)),
        looks_where=looks_where,
        freedoms=_FREEDOMS,
        sides=tuple(SIDES),
        visible=visible,
        load=load,
        people=[p.name for p in plan.cell.people],
        answers=answers_of(shelf.store, line_of(plan, number)),
    )


@pages.post(PART + "/points/{point}/answer")
def keep_customers_answer(
    shelf: Plans,
    version: int,
    number: int,
    point: int,
    answer: Annotated[str, Form(max_length=500)],
    by: Annotated[str, Form(max_length=80)],
    said_by: Annotated[str, Form(max_length=120)] = "",
    when: Annotated[str, Form(max_length=40)] = "",
    uid: Annotated[str, Form(max_length=80)] = "",
) -> Response:
    """Keep with the order what the customer answered to a doubt."""
    plan, shown = _shown(shelf, version, number)
    doubt = next((p.finding for p in shown.points if p.number == point), None)
    if doubt is None:
        raise NotThereError(f"there is no doubt {point}", remedy="choose one on the page of the part")
    keep_answer(shelf.store, plan, line_of(plan, number), doubt, answer, said_by=said_by, by=by,
                at=happened(when, shelf.clock()), uid=uid, kept_at=shelf.clock())  # fmt: skip
    return RedirectResponse(f"/plans/{version}/lines/{number}/part#points", status_code=303)


@pages.post(PART + "/rule")
def keep_rule(
    shelf: Plans,
    version: int,
    number: int,
    freedom: Annotated[str, Form(max_length=20)],
    reason: Annotated[str, Form(max_length=500)],
    by: Annotated[str, Form(max_length=80)],
    way: Annotated[int, Form(ge=0, le=3)] = 0,
    cone_deg: Annotated[float, Form()] = 0.0,
    visible: Annotated[str, Form(max_length=2)] = "",
    load: Annotated[str, Form(max_length=2)] = "",
) -> Response:
    """Write a rule for the part revision; the next plan uses it."""
    _, shown = _shown(shelf, version, number, visible, load)
    rule = rule_from(shown, way=way, freedom=freedom, cone_deg=cone_deg, reason=reason)
    shelf.store.parts.add_rule(name=shown.part.name, revision=shown.part.revision, rule=rule, by=by, at=shelf.clock())
    return RedirectResponse(f"/plans/{version}/lines/{number}/part#rule", status_code=303)


@pages.post(PART + "/faces")
def keep_faces(
    shelf: Plans,
    version: int,
    number: int,
    by: Annotated[str, Form(max_length=80)],
    face: Annotated[list[int] | None, Form()] = None,
) -> Response:
    """Mark the faces that must look good; kept for the part revision."""
    _, shown = _shown(shelf, version, number)
    mark_faces(shelf.store, shown.part, face or [], by=by, at=shelf.clock())
    return RedirectResponse(f"/plans/{version}/lines/{number}/part#faces", status_code=303)


@pages.get(PART + "/faces.png")
def faces_picture(shelf: Plans, version: int, number: int) -> Response:
    """The part from two sides with its faces numbered."""
    _, shown = _shown(shelf, version, number)
    marked = places_of(marked_faces(shelf.store, shown.part))
    return Response(faces_png(shown.part, marked), media_type="image/png")


@pages.get(PART + "/points/{point}.png")
def point_picture(shelf: Plans, version: int, number: int, point: int) -> Response:
    """A doubt, ringed and coloured."""
    return Response(point_png(_shown(shelf, version, number)[1], point), media_type="image/png")


@pages.get(PART + "/ways/{way}.png")
def way_picture(shelf: Plans, version: int, number: int, way: int, visible: Side = "", load: Side = "") -> Response:
    """A proposal for the way up."""
    return Response(way_png(_shown(shelf, version, number, visible, load)[1], way), media_type="image/png")


def _sheet(shelf: Shelf, plan: WeekPlan, number: int, shown: PartPage) -> PartSheet:
    return sheet_for(plan, line_of(plan, number), shown.part, places_of(marked_faces(shelf.store, shown.part)))


@pages.get(PART + "/report.pdf")
def report_pdf(shelf: Plans, version: int, number: int) -> Response:
    """The report for the customer."""
    plan, shown = _shown(shelf, version, number)
    content = part_report_pdf(_sheet(shelf, plan, number, shown))
    return _file(content, "application/pdf", f"line-{number}-check.pdf")


@pages.get(PART + "/report.html")
def report_html(shelf: Plans, version: int, number: int) -> Response:
    """The same as one page to send."""
    plan, shown = _shown(shelf, version, number)
    content = part_report_html(_sheet(shelf, plan, number, shown)).encode()
    return _file(content, "text/html; charset=utf-8", f"line-{number}-check.html")


@interface.get(PART + "/mesh", response_class=Response)
def mesh(shelf: Plans, version: int, number: int) -> Response:
    """The mesh: 4 bytes length, a JSON header padded to 4, then vertices (float32) and faces (uint32)."""
    _, shown = _shown(shelf, version, number)
    vertices, faces = shown.part.mesh.vertices.astype("<f4"), shown.part.mesh.faces.astype("<u4")
    text = json.dumps({"vertices": len(vertices), "faces": len(faces)}).encode()
    text += b" " * (-len(text) % 4)
    data = len(text).to_bytes(4, "little") + text + vertices.tobytes() + faces.tobytes()
    return Response(data, media_type="application/octet-stream")


def _file(content: bytes, kind: str, name: str) -> Response:
    return Response(content, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'})
