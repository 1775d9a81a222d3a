"""Heat of one build: when it may be opened, the cake cut at any moment, what early opening means, energy, risk."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse
from pydantic import BaseModel

from cakewright.app.learnt_cell import learnt_words
from cakewright.documents import heat_charts, heat_words
from cakewright.documents.heat_pictures import moment_near, moment_words, section_svg
from cakewright.documents.timeline import hours_of
from cakewright.findings import Finding
from cakewright.model.build import Build
from cakewright.model.heat import PieceHeat
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.store.schedule import Progress
from cakewright.units import S_PER_H
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, as_it_went, build_of, shelf_of
from cakewright.web.trouble import RESPONSES, NotThereError

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["builds"])
Plans = Annotated[Shelf, Depends(shelf_of)]
BUILD = "/plans/{version}/builds/{key}"
_LONGEST_H = 24 * 60


class HeatAnswer(BaseModel):
    """Heat of a build in numbers. Seconds and hours count from the print end."""

    opening_s: tuple[float, float, float]
    may_leave_s: float | None
    pieces: list[PieceHeat]
    opened_c: dict[str, float]
    dose_mean_h: float | None
    dose_by_height: list[tuple[float, float, float, float]]
    kwh: float
    gas_m3: float
    findings: list[Finding]


@interface.get(BUILD + "/heat")
def heat_numbers(
    shelf: Plans, version: int, key: str, after_h: Annotated[float, Query(ge=0, le=_LONGEST_H)] = 0.0
) -> HeatAnswer:
    """When each piece is cold, how warm it would be if opened `after_h` hours after the print end, dose, energy."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    heat, use = build.heat, heat_words.energy_of(plan, build)
    return HeatAnswer(
        opening_s=build.cooling.opening_s,
        may_leave_s=heat.may_leave_s if heat and np.isfinite(heat.may_leave_s) else None,
        pieces=list(heat.pieces) if heat else [],
        opened_c={piece: round(c, 1) for piece, c in heat.opened_at(after_h * S_PER_H)} if heat else {},
        dose_mean_h=heat.dose.mean_h if heat else None,
        dose_by_height=list(heat.dose.by_height()) if heat else [],
        kwh=use.kwh,
        gas_m3=use.gas_m3,
        findings=list(heat_words.heat_doubts(plan, build)),
    )


@pages.get(BUILD + "/heat")
def heat_page(
    shelf: Plans, request: Request, version: int, key: str, at: Annotated[int | None, Query(ge=0)] = None,
    after_h: Annotated[float | None, Query(ge=0, le=_LONGEST_H)] = None,
) -> HTMLResponse:  # fmt: skip
    """The whole page; `at` is the moment of the cut, `after_h` the early opening asked about."""
    plan, ended = _as_it_went(shelf, version, key)
    build = build_of(plan, key)
    shown: dict[str, Any] = {"cut": None, "opened": None, "density": "", "doses": (), "dose": ""}
    if build.heat is not None:
        shown |= {
            "cut": _cut(build, _now_s(plan, build, shelf.clock()) if at is None else None, at),
            "opened": _opened(plan, build, after_h),
            "density": heat_charts.density_svg(plan, build),
            "doses": build.heat.dose.by_height()[::-1],
            "dose": heat_words.dose_words(build.heat),
        }
    return page(
        request,
        "heat.html",
        plan=plan,
        base=f"/plans/{version}",
        here="/builds",
        zone=plan.cell.zone,
        summaries=shelf.store.plans(),
        build=build,
        hours=hours_of(plan, build),
        ended=ended,
        clock_svg=heat_charts.opening_clock_svg(plan, build),
        leave=heat_words.may_leave_words(plan, build),
        doubts=heat_words.heat_doubts(plan, build),
        energy=heat_words.energy_words(plan, build),
        energies=heat_words.energy_by_line(plan, build),
        risk=heat_words.risk_words(plan, build),
        risk_svg=heat_charts.value_at_risk_svg(plan, build),
        learnt=learnt_words(plan.cell),
        **shown,
    )


@pages.get(BUILD + "/heat/cut")
def heat_cut(
    shelf: Plans, request: Request, version: int, key: str, at: Annotated[int, Query(ge=0)] = 0
) -> HTMLResponse:
    """Only the cut at one moment, for the slider."""
    build = build_of(shelf.plan(version), key)
    return page(request, "heat_cut.html", cut=_cut(_with_heat(build), None, at))


@pages.get(BUILD + "/heat/opened")
def heat_opened(
    shelf: Plans, request: Request, version: int, key: str, after_h: Annotated[float, Query(ge=0, le=_LONGEST_H)] = 0.0
) -> HTMLResponse:
    """Only the table of what opening then would mean, for the slider."""
    plan = shelf.plan(version)
    build = _with_heat(build_of(plan, key))
    return page(
        request, "heat_opened.html", opened=_opened(plan, build, after_h), base=f"/plans/{version}", build=build
    )


def _as_it_went(shelf: Shelf, version: int, key: str) -> tuple[WeekPlan, Progress | None]:
    """The plan with what was noted of its tasks until now, and the note of the print end when there is one."""
    notes = shelf.store.schedule.progress_of(version)
    prints = [n for n in notes if n.build == key and n.kind is TaskKind.PRINT and n.ended]
    return as_it_went(shelf, shelf.plan(version)), prints[-1] if prints else None


def _with_heat(build: Build) -> Build:
    if build.heat is None:
        raise NotThereError("this plan was made before heat was kept", remedy="plan again")
    return build


def _now_s(plan: WeekPlan, build: Build, now: datetime) -> float | None:
    """Seconds from the print end, noted or planned, to now while the cake is printed or cools, else None."""
    end, heat = hours_of(plan, build).print_end, build.heat
    if end is None or heat is None:
        return None
    seconds = (now - end).total_seconds()
    return seconds if heat.time_s[0] <= seconds <= heat.time_s[-1] else None


def _cut(build: Build, now_s: float | None, at: int | None) -> dict[str, Any]:
    """The cut at a kept moment (without: now, or the print end) with its words and neighbours."""
    heat = build.heat
    assert heat is not None
    last = len(heat.time_s) - 1
    index = moment_near(heat, now_s or 0.0) if at is None else min(at, last)
    field = heat.section_c[index]
    return {
        "at": index,
        "last": last,
        "is_now": at is None and now_s is not None,
        "svg": section_svg(build, index),
        "words": moment_words(heat, index),
        "warmest": float(np.nanmax(field)),
        "coldest": float(np.nanmin(field)),
    }


def _opened(plan: WeekPlan, build: Build, after_h: float | None) -> dict[str, Any]:
    """Pieces as if opened then (default: half of the likely time), hottest first."""
    likely_h = build.cooling.opening_s[1] / S_PER_H
    most = max(round(build.cooling.opening_s[2] / S_PER_H * 2) / 2 + 0.5, 1.0)
    asked = round(likely_h) / 2 if after_h is None else min(after_h, most)
    return {
        "after_h": asked,
        "most_h": most,
        "words": heat_words.early_words(build, asked * S_PER_H),
        "rows": heat_words.piece_rows(plan, build, asked * S_PER_H),
    }
