"""The shapes of the JSON answers that are not simply a model dataclass."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

import numpy as np
from pydantic import BaseModel, Field

from cakewright.documents.timeline import BuildHours, hours_of
from cakewright.model.build import Build, PowderNeed
from cakewright.model.plan import LineCost, LinePromise, WeekPlan
from cakewright.web.lines import LineView

POINTS = 600  # most points sent for a curve: more than a screen has columns to show it


class Health(BaseModel):
    """Whether the program answers and the database can be read."""

    status: str
    version: str
    newest_plan: int | None


class LineAnswer(BaseModel):
    """One order line with its date and cost. Money in the cell's currency."""

    line: int
    order: str
    customer: str
    title: str
    quantity: int
    material: str
    finish: str
    quality_class: str
    due: str
    state: str
    reason: str
    builds: list[str]
    promise: LinePromise | None
    cost: LineCost | None
    cost_total: float | None

    @classmethod
    def of(cls, view: LineView) -> LineAnswer:
        """From the row of the page."""
        line = view.line
        return cls(
            line=line.line, order=line.order, customer=line.customer, title=line.title, quantity=line.quantity,
            material=line.material, finish=line.finish, quality_class=line.quality_class, due=line.due.isoformat(),
            state=view.state, reason=view.reason, builds=[b.key for b in view.builds], promise=view.promise,
            cost=view.cost, cost_total=view.cost.total if view.cost else None,
        )  # fmt: skip


class PieceAnswer(BaseModel):
    """One piece in a build. Heights in mm above the first part layer."""

    piece: str
    line: int
    part: str
    z_min_mm: float
    z_max_mm: float


class BuildAnswer(BaseModel):
    """One build. Density is solid volume over cake volume; times are UTC."""

    build: str
    material: str
    machine: str
    chamber_type: str
    lines: list[int]
    height_mm: float
    layers: int
    density: float
    print_hours: float
    is_clear: bool
    can_be_taken_out: bool
    reason: str
    load: datetime | None
    print_start: datetime | None
    print_end: datetime | None
    opening: tuple[datetime, datetime, datetime] | None
    unpack: datetime | None
    powder: PowderNeed
    pieces: list[PieceAnswer]

    @classmethod
    def of(cls, plan: WeekPlan, build: Build) -> BuildAnswer:
        """From the model."""
        hours: BuildHours = hours_of(plan, build)
        return cls(
            build=build.key, material=build.material, machine=build.machine, chamber_type=build.chamber_type,
            lines=list(build.lines), height_mm=build.nest.height_mm, layers=build.profile.layers,
            density=build.nest.density, print_hours=build.print_time.hours, is_clear=build.verification.is_clear,
            can_be_taken_out=build.removal.is_free, reason=build.reason, load=hours.load,
            print_start=hours.print_start, print_end=hours.print_end, opening=hours.opening, unpack=hours.unpack,
            powder=build.powder,
            pieces=[PieceAnswer(piece=p.piece, line=p.line, part=p.part_key, z_min_mm=p.z_min_mm,
                                z_max_mm=p.z_max_mm) for p in build.nest.placements],
        )  # fmt: skip


class CurvesAnswer(BaseModel):
    """Curves of a build: area and outline length at heights, temperatures at hours after the print end."""

    z_mm: list[float]
    area_cm2: list[float]
    contour_mm: list[float]
    hours: list[float]
    core_c: list[float]
    skin_c: list[float]
    mean_c: list[float]
    target_c: float
    opening_h: Annotated[list[float], Field(min_length=3, max_length=3)]

    @classmethod
    def of(cls, build: Build) -> CurvesAnswer:
        """From the model, thinned evenly to at most POINTS points."""
        profile, cooling = build.profile, build.cooling
        layers, times = _thin(profile.layers), _thin(len(cooling.curve_s))
        early, likely, late = (s / 3600 for s in cooling.opening_s)
        return cls(
            z_mm=((layers + 0.5) * profile.layer_mm).tolist(),
            area_cm2=(profile.area_mm2[layers] / 100).tolist(),
            contour_mm=profile.contour_mm[layers].tolist(),
            hours=(cooling.curve_s[times] / 3600).tolist(),
            core_c=cooling.core_c[times].tolist(),
            skin_c=cooling.skin_c[times].tolist(),
            mean_c=cooling.mean_c[times].tolist(),
            target_c=cooling.target_c,
            opening_h=[early, likely, late],
        )


def _thin(count: int) -> np.ndarray:
    return np.unique(np.linspace(0, count - 1, min(count, POINTS)).round().astype(int)) if count else np.array([], int)


class CutAnswer(BaseModel):
    """Outlines at one height: for each piece, segments as [x1, y1, x2, y2] in mm, in the chamber's coordinates."""

    z_mm: float
    chamber_mm: tuple[float, float]
    wall_margin_mm: float
    pieces: list[CutPiece]


class CutPiece(BaseModel):
    """The outline of one piece at one height."""

    piece: str
    line: int
    segments: list[list[float]]


CutAnswer.model_rebuild()
