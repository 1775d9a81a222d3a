"""The floor: release, checks before the print, labels held against the build, start and end; which part is this."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from cakewright.app import count_line, run_build, run_notes
from cakewright.app.identify_part import Likely, likely_lines, most_on_scale, trapped_powder_g
from cakewright.app.plain_records import append_records
from cakewright.app.start_labels import do_without
from cakewright.app.warp_list import warp_list
from cakewright.documents.render import Shape, draw
from cakewright.documents.timeline import hours_of
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.model.plan import WeekPlan
from cakewright.safety import CLOSING, Work, cautions_of
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, as_it_went, build_of, line_of, moment_of, shelf_of, shown_of
from cakewright.web.trouble import RESPONSES, NotThereError
from cakewright.web.typed import above_zero, happened

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["floor"])
Plans = Annotated[Shelf, Depends(shelf_of)]
BUILD = "/plans/{version}/builds/{key}"
Name = Annotated[str, Form(max_length=80)]
When = Annotated[str, Form(max_length=40)]
WORTH_SHOWING = 0.005
_GREY = (0.72, 0.72, 0.72)


class Said(BaseModel):
    """One record as a page or a script sends it; `uid` is made where it is written, so that it is kept once."""

    uid: str = Field(min_length=8, max_length=64)
    kind: FloorKind
    by: str = Field(min_length=1, max_length=80)
    at: datetime
    build: str = Field(default="", max_length=20)
    line: int | None = None
    piece: str = Field(default="", max_length=80)
    data: dict[str, str | int | float] = Field(default_factory=dict)


@pages.get(BUILD + "/run")
def run(shelf: Plans, request: Request, version: int, key: str,
        by: Annotated[str, Query(max_length=80)] = "") -> HTMLResponse:  # fmt: skip
    """Release, checks, labels, start: one after the other, big enough for gloves."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    state = run_build.run_state(shelf.store, plan, build, shelf.clock())
    records = shelf.store.floor.records(plan=version, build=key)
    now = shelf.clock()
    return page(
        request, "run.html", **_common(shelf, plan, build), state=state, by=by, at=now,
        hours=hours_of(as_it_went(shelf, plan), build), stands=run_notes.standing(records),
        notes=[r for r in reversed(records) if r.kind is FloorKind.NOTE],
        spots=run_notes.places(plan), photos=shelf.store.photos.of_build(version, key),
        warp=warp_list(shelf.store, plan, build),
        cautions=cautions_of(Work.BLEND, Work.MACHINE), hot=cautions_of(Work.HOT_CAKE), closing=CLOSING,
    )  # fmt: skip


@pages.post(BUILD + "/run/release")
def release(shelf: Plans, version: int, key: str, by: Name, note: Name = "", when: When = "") -> Response:
    """A second person lets the build start."""
    plan = shelf.plan(version)
    run_build.release(shelf.store, plan, build_of(plan, key), by=by, at=happened(when, shelf.clock()), note=note)
    return _back(version, key, "run", by)


@pages.post(BUILD + "/run/check")
def check(
    shelf: Plans,
    version: int,
    key: str,
    check: Annotated[str, Form(max_length=10)],
    by: Name,
    found: Name = "",
    when: When = "",
    uid: Name = "",
) -> Response:
    """One check is done."""
    plan = shelf.plan(version)
    now = shelf.clock()
    at = happened(when, now)
    build = build_of(plan, key)
    run_build.say_check(shelf.store, plan, build, check, by=by, at=at, found=found, uid=uid, kept_at=now)
    return _back(version, key, "run", by)


@pages.post(BUILD + "/run/scan")
def scan(shelf: Plans, version: int, key: str, code: Annotated[str, Form(max_length=200)], by: Name,
         when: When = "", uid: Name = "") -> Response:  # fmt: skip
    """A label is held against the build."""
    plan = shelf.plan(version)
    now = shelf.clock()
    at = happened(when, now)
    run_build.scan(shelf.store, plan, build_of(plan, key), code, by=by, at=at, uid=uid, kept_at=now)
    return _back(version, key, "run", by)


@pages.post(BUILD + "/run/without")
def without(
    shelf: Plans, version: int, key: str, what: Name, by: Name, reason: Annotated[str, Form(max_length=300)] = "",
    when: When = "", uid: Name = "",
) -> Response:  # fmt: skip
    """A named person lets it start without the label of the chamber or the powder."""
    plan, now = shelf.plan(version), shelf.clock()
    do_without(shelf.store, plan, build_of(plan, key), what, reason=reason, by=by, at=happened(when, now), uid=uid,
               kept_at=now)  # fmt: skip
    return _back(version, key, "run", by)


@pages.post(BUILD + "/run/{deed}")
def begin_or_end(
    shelf: Plans,
    version: int,
    key: str,
    deed: str,
    by: Name,
    reason: Annotated[str, Form(max_length=300)] = "",
    machine_end: When = "",
    when: When = "",
) -> Response:
    """The print has begun or ended, or the cake is opened early."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    at = happened(when, shelf.clock())
    if deed == "start":
        run_build.start(shelf.store, plan, build, by=by, at=at)
    elif deed == "end":
        told = moment_of(plan, machine_end).astimezone(UTC) if machine_end else None
        run_build.end(shelf.store, plan, build, by=by, at=at, machine_end=told)
    elif deed == "open-early":
        run_build.open_early(shelf.store, plan, build, by=by, at=at, reason=reason)
    else:
        raise NotThereError(f"nothing is called {deed[:20]!r} here")
    return _back(version, key, "run", by)


@pages.get(BUILD + "/identify")
def which_part(
    shelf: Plans,
    request: Request,
    version: int,
    key: str,
    mass_g: Annotated[str, Query(max_length=12)] = "",
    size: Annotated[list[str] | None, Query()] = None,
    depth_mm: Annotated[str, Query(max_length=12)] = "",
    scale_g: Annotated[str, Query(max_length=12)] = "0.05",
) -> HTMLResponse:
    """Which line a grey part belongs to, from scale, callipers and depth."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    found: tuple[Likely, ...] = ()
    wrong: InputError | None = None
    sizes = [s for s in (size or []) if s.strip()][:3]
    if mass_g or sizes or depth_mm:
        try:
            found = _asked(shelf, plan, build, mass_g, sizes, depth_mm, scale_g)
        except InputError as caught:
            wrong = caught
    heavy = None
    if found and mass_g:
        extra, is_more = trapped_powder_g(found[0].mass_g, above_zero(mass_g, "mass"),
                                          scale_g=above_zero(scale_g, "scale"))  # fmt: skip
        heavy = (extra, is_more, extra / plan.cell.material(build.material).bed_density_g_cm3)
    shown = [f for f in found[:6] if f is found[0] or f.probability >= WORTH_SHOWING]
    asked = {"mass_g": mass_g, "sizes": [*sizes, "", "", ""][:3], "depth_mm": depth_mm, "scale_g": scale_g}
    return page(request, "identify.html", **_common(shelf, plan, build), found=shown, wrong=wrong, asked=asked,
                heavy=heavy)  # fmt: skip


@pages.get("/plans/{version}/lines/{number}/count")
def count_pieces(
    shelf: Plans,
    request: Request,
    version: int,
    number: int,
    reference: Annotated[int, Query(ge=1, le=10_000)] = 10,
    reference_g: Annotated[str, Query(max_length=12)] = "",
    total_g: Annotated[str, Query(max_length=12)] = "",
    spread: Annotated[str, Query(max_length=12)] = "2",
    scale_g: Annotated[str, Query(max_length=12)] = "0.05",
    masses: Annotated[str, Query(max_length=400)] = "",
    by: Annotated[str, Query(max_length=80)] = "",
) -> HTMLResponse:
    """Count pieces by weight, and say how many may lie on the scale at once."""
    plan = shelf.plan(version)
    line = line_of(plan, number)
    if masses:
        spread = f"{100 * count_line.spread_of([above_zero(m, 'mass') for m in masses.split()]):.2f}"
    share = above_zero(spread, "spread") / 100.0
    counted = _counted(total_g, reference_g, reference, share, scale_g) if total_g and reference_g else None
    most = counted.most if counted else most_on_scale(reference, share)
    asked = {"reference": reference, "reference_g": reference_g, "total_g": total_g, "spread": spread,
             "scale_g": scale_g, "masses": masses}  # fmt: skip
    return page(
        request, "count.html", **shown_of(shelf, plan, "/lines"), line=line, most=most, counted=counted, asked=asked,
        by=by, twins=count_line.twins_of(plan, number), kept=count_line.counted_so_far(shelf.store, plan, number),
    )  # fmt: skip


@pages.post("/plans/{version}/lines/{number}/count")
def keep_count(
    shelf: Plans, version: int, number: int, reference: Annotated[int, Form(ge=1, le=10_000)], reference_g: Name,
    total_g: Name, spread: Name, by: Name, scale_g: Name = "0.05", when: When = "", uid: Name = "",
) -> Response:  # fmt: skip
    """A count is kept; refused while too many lie on the scale at once."""
    plan, now = shelf.plan(version), shelf.clock()
    line_of(plan, number)
    seen = _counted(total_g, reference_g, reference, above_zero(spread, "spread") / 100.0, scale_g)
    count_line.keep_count(shelf.store, plan, number, seen, by=by, at=happened(when, now), uid=uid, kept_at=now)
    asked = urlencode({"reference": reference, "reference_g": reference_g, "spread": spread, "scale_g": scale_g,
                       "by": by})  # fmt: skip
    return RedirectResponse(f"/plans/{version}/lines/{number}/count?{asked}", status_code=303)


def _counted(total_g: str, reference_g: str, reference: int, share: float, scale_g: str) -> count_line.Counted:
    return count_line.count(above_zero(total_g, "total"), above_zero(reference_g, "reference"), reference, share,
                            above_zero(scale_g, "scale"))  # fmt: skip


@pages.get("/plans/{version}/lines/{number}/part.png")
def part_picture(shelf: Plans, version: int, number: int) -> Response:
    """The part of a line as it lies in its file, from the same side as every other."""
    plan = shelf.plan(version)
    line_of(plan, number)
    key = plan.part_of_line.get(number)
    if key is None or key not in plan.parts:
        raise NotThereError(f"line {number} has no part in plan {version}")
    picture = draw([Shape("part", plan.parts[key].mesh, _GREY)], "corner", 320)
    return Response(picture.png, media_type="image/png", headers={"cache-control": "max-age=86400"})


@interface.get("/plans/{version}/floor")
def floor_records(shelf: Plans, version: int) -> list[FloorRecord]:
    """Everything said and measured on the floor for a plan, in the order in which it happened."""
    shelf.plan(version)
    return list(shelf.store.floor.records(plan=version))


@interface.post("/plans/{version}/floor", status_code=201)
def add_floor_records(shelf: Plans, version: int, said: list[Said]) -> list[FloorRecord]:
    """Append notes, moves, counts and values, all or none; one sent before (same `uid`) is not kept twice."""
    shelf.plan(version)
    records = [
        FloorRecord(s.uid, version, s.kind, s.by, s.at, s.build, s.line, s.piece, s.data) for s in said
    ]  # fmt: skip
    return list(append_records(shelf.store, records, kept_at=shelf.clock()))


@interface.get(BUILD + "/identify")
def identify_numbers(
    shelf: Plans,
    version: int,
    key: str,
    mass_g: Annotated[float | None, Query(gt=0)] = None,
    size_mm: Annotated[list[float] | None, Query()] = None,
    depth_mm: float | None = None,
    scale_g: Annotated[float, Query(gt=0)] = 0.05,
) -> list[Likely]:
    """Lines of a build by probability, from a mass, up to three sizes and a depth below the surface of the cake."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    records = shelf.store.piece_records(version, key)
    return list(likely_lines(plan, build, records, mass_g=mass_g, sizes_mm=(size_mm or [])[:3], depth_mm=depth_mm,
                             scale_g=scale_g))  # fmt: skip


def _asked(
    shelf: Shelf, plan: WeekPlan, build: Build, mass_g: str, sizes: list[str], depth_mm: str, scale_g: str
) -> tuple[Likely, ...]:
    return likely_lines(
        plan,
        build,
        shelf.store.piece_records(plan.version, build.key),
        mass_g=above_zero(mass_g, "mass") if mass_g else None,
        sizes_mm=[above_zero(s, "size") for s in sizes],
        depth_mm=above_zero(depth_mm, "depth") if depth_mm else None,
        scale_g=above_zero(scale_g, "scale"),
    )


def _back(version: int, key: str, place: str, by: str) -> Response:
    return RedirectResponse(f"/plans/{version}/builds/{key}/{place}?{urlencode({'by': by})}", status_code=303)


def _common(shelf: Shelf, plan: WeekPlan, build: Build) -> dict[str, Any]:
    return {**shown_of(shelf, plan, "/builds"), "build": build}
