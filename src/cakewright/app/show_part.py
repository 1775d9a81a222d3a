"""What the page of one part shows: its doubts with the way to look at them, the best ways up, rules, relatives."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock

from cakewright.app.finish_effect import evened_mm
from cakewright.app.part_records import title_of
from cakewright.app.report_part import Looks, best_turns, sheet_of, side_of
from cakewright.documents.part_questions import question_of
from cakewright.documents.part_report import PartSheet
from cakewright.documents.part_views import PartViews, Spot
from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.order import OrderLine
from cakewright.model.part import Freedom, OrientationRule, Part
from cakewright.model.plan import WeekPlan
from cakewright.parts.faces import Face, Place, faces_of
from cakewright.store import Store
from cakewright.store.parts import PartRule

AT_HAND = 6  # parts whose pictures and turns are kept
_ORDER = (Severity.BLOCKING, Severity.WARNING, Severity.NOTE)
STEEPEST_CONE = 90.0


@dataclass(frozen=True, eq=False)
class PartPoint:
    """One doubt: `look` (3,) is the direction from which the place is seen, None for a doubt without a place."""

    number: int
    finding: Finding
    question: str
    look: tuple[float, float, float] | None
    is_hidden: bool


@dataclass(frozen=True, eq=False)
class WayUp:
    """A proposal: the part's direction that points up, and why."""

    number: int
    up: tuple[float, float, float]
    rotation: tuple[tuple[float, float, float], ...]
    reason: str


@dataclass(frozen=True, eq=False)
class PartPage:
    """Everything but the rules, which change."""

    part: Part
    views: PartViews
    points: tuple[PartPoint, ...]
    faces: tuple[Face, ...]
    ways: tuple[WayUp, ...]


class PartPages:
    """Pages made once and kept at hand: a plan never changes."""

    def __init__(self) -> None:
        self._made: OrderedDict[tuple[object, ...], PartPage] = OrderedDict()
        self._lock = Lock()

    def of(
        self, plan: WeekPlan, line: OrderLine, visible: str = "", load: str = "", faces: Sequence[Place] = ()
    ) -> PartPage:
        """The page of a line's part, its ways up for a visible side and a load direction ('+X' ... '-Z', or '').

        `faces` are places on faces that must look good.

        InputError when the line has no part in the plan.
        """
        part = plan.parts.get(plan.part_of_line.get(line.line, ""))
        if part is None:
            raise InputError(f"line {line.line} has no part in this plan", remedy="see why it was set aside")
        key = (plan.version, line.line, visible, load, tuple(faces))
        with self._lock:
            if key not in self._made:
                self._made[key] = _page(plan, line, part, visible, load, faces)
            self._made.move_to_end(key)
            while len(self._made) > AT_HAND:
                self._made.popitem(last=False)
            return self._made[key]


def _page(plan: WeekPlan, line: OrderLine, part: Part, visible: str, load: str, faces: Sequence[Place]) -> PartPage:
    views = PartViews(part.mesh, is_closed=part.measures.is_watertight and part.measures.is_oriented)
    ranked = sorted(part.findings, key=lambda f: _ORDER.index(f.severity))
    points = tuple(_point(n, f, views) for n, f in enumerate(ranked, start=1))
    ways = tuple(
        WayUp(n, _three(s.rotation[2]), tuple(_three(row) for row in s.rotation), s.reason)
        for n, s in enumerate(
            best_turns(
                part,
                plan.cell,
                line.material,
                Looks(
                    visible=side_of(visible, "visible"),
                    load=side_of(load, "load"),
                    faces=tuple(faces),
                    evened_mm=evened_mm(plan.cell, line.finish),
                ),
            ),
            start=1,
        )
    )
    return PartPage(part, views, points, faces_of(part.mesh), ways)


def _three(row: Sequence[float]) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 6) + 0.0 for v in row)
    return (x, y, z)


def _point(number: int, finding: Finding, views: PartViews) -> PartPoint:
    question = question_of(finding.code) or ""
    if finding.at_mm is None:
        return PartPoint(number, finding, question, None, False)
    axes, is_seen = views.look_at(finding.at_mm)
    return PartPoint(number, finding, question, _three(axes[2]), not is_seen)


def point_png(shown: PartPage, number: int) -> bytes:
    """The picture of one doubt; InputError when it has no place."""
    point = next((p for p in shown.points if p.number == number), None)
    if point is None or point.finding.at_mm is None:
        raise InputError(f"there is no picture {number}", remedy="choose a point with a place")
    return shown.views.place(Spot(number, point.finding.at_mm)).png


def way_png(shown: PartPage, number: int) -> bytes:
    """The part as it would stand."""
    way = next((w for w in shown.ways if w.number == number), None)
    if way is None:
        raise InputError(f"there is no proposal {number}", remedy="choose one of those shown")
    import numpy as np

    return shown.views.turned(np.array(way.rotation)).png


def sheet_for(plan: WeekPlan, line: OrderLine, part: Part, faces: Sequence[Place] = ()) -> PartSheet:
    """The report on a line's part; `faces` are places on faces that must look good."""
    looks = Looks(faces=tuple(faces), evened_mm=evened_mm(plan.cell, line.finish))
    return sheet_of(part, plan.cell, line.material, looks)


def rules_for(store: Store, part: Part) -> tuple[PartRule, ...]:
    """Every rule written for this part revision, newest first."""
    wanted = title_of(part.name, part.revision)
    return tuple(r for r in reversed(store.parts.rules()) if title_of(r.name, r.revision) == wanted)


def rule_from(shown: PartPage, *, way: int, freedom: str, cone_deg: float, reason: str) -> OrientationRule:
    """The rule a form asks for: `way` 0 is up as in the file, 1 to 3 a proposal."""
    up = (0.0, 0.0, 1.0)
    if way:
        chosen = next((w for w in shown.ways if w.number == way), None)
        if chosen is None:
            raise InputError(f"there is no proposal {way}", remedy="choose one of those shown", where="way")
        up = chosen.up
    try:
        free = Freedom(freedom)
    except ValueError as wrong:
        known = ", ".join(f.value for f in Freedom)
        raise InputError(f"unknown freedom {freedom!r}", remedy=f"use one of: {known}", where="freedom") from wrong
    if free is Freedom.UPRIGHT_CONE and not 0 < cone_deg <= STEEPEST_CONE:
        raise InputError(f"a cone of {cone_deg:g}°", remedy="give degrees above 0, at most 90", where="cone_deg")
    return OrientationRule(free, reason, cone_deg if free is Freedom.UPRIGHT_CONE else 0.0, up)
