"""The JSON interface: the same plans as the pages, for scripts. Reading only; one error shape."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query
from fastapi.responses import Response
from pydantic import TypeAdapter

from cakewright import __version__
from cakewright.app.noted_plan import as_noted
from cakewright.app.plans import Morning, PowderStep, morning, powder_steps, shown_moment
from cakewright.app.section import cut_build
from cakewright.app.stop_build import AfterStop, after_stop
from cakewright.findings import Finding
from cakewright.model.plan import Task
from cakewright.store import PlanSummary
from cakewright.web.answers import BuildAnswer, CurvesAnswer, CutAnswer, CutPiece, Health, LineAnswer
from cakewright.web.lines import find_lines, line_views
from cakewright.web.scene import MEDIA_TYPE, scene_bytes
from cakewright.web.shelf import Shelf, build_of, line_of, moment_of, shelf_of
from cakewright.web.trouble import RESPONSES

router = APIRouter(prefix="/api/v1", responses=RESPONSES)
Plans = Annotated[Shelf, Depends(shelf_of)]
PLAN = "/plans/{version}"
BUILD = PLAN + "/builds/{key}"


@router.get("/health", tags=["operation"])
def health(shelf: Plans) -> Health:
    """Whether the program answers and the database can be read."""
    return Health(status="ok", version=__version__, newest_plan=shelf.store.newest())


@router.get("/plans", tags=["plans"])
def plans(shelf: Plans) -> list[PlanSummary]:
    """Every stored plan, newest first."""
    return list(shelf.store.plans())


@router.get(PLAN, tags=["plans"])
def plan_summary(shelf: Plans, version: int) -> PlanSummary:
    """One stored plan in numbers."""
    shelf.plan(version)
    return next(summary for summary in shelf.store.plans() if summary.version == version)


@router.get(PLAN + "/morning", tags=["plans"])
def plan_morning(
    shelf: Plans, version: int, at: Annotated[str, Query(max_length=40, examples=["2027-03-01T06:40"])] = ""
) -> Morning:
    """What one moment asks for. `at` is in the cell's time unless it names a zone; now when left out."""
    plan = shelf.plan(version)
    when = moment_of(plan, at) if at else shown_moment(plan, shelf.clock())
    return morning(as_noted(plan, shelf.store.schedule.progress_of(version), when), when)


@router.get(PLAN + "/lines", tags=["lines"])
def plan_lines(shelf: Plans, version: int, q: Annotated[str, Query(max_length=80)] = "") -> list[LineAnswer]:
    """Order lines with state, date and cost; `q` keeps those that hold all its words."""
    return [LineAnswer.of(view) for view in find_lines(line_views(shelf.plan(version)), q)]


@router.get(PLAN + "/lines/{number}", tags=["lines"])
def plan_line(shelf: Plans, version: int, number: int) -> LineAnswer:
    """One order line."""
    plan = shelf.plan(version)
    line_of(plan, number)
    return next(LineAnswer.of(view) for view in line_views(plan) if view.line.line == number)


@router.get(PLAN + "/builds", tags=["builds"])
def plan_builds(shelf: Plans, version: int) -> list[BuildAnswer]:
    """Every build with its pieces."""
    plan = shelf.plan(version)
    return [BuildAnswer.of(plan, build) for build in plan.builds]


@router.get(BUILD, tags=["builds"])
def plan_build(shelf: Plans, version: int, key: str) -> BuildAnswer:
    """One build with its pieces."""
    plan = shelf.plan(version)
    return BuildAnswer.of(plan, build_of(plan, key))


@router.get(BUILD + "/curves", tags=["builds"])
def build_curves(shelf: Plans, version: int, key: str) -> CurvesAnswer:
    """Area by height and temperature by time."""
    return CurvesAnswer.of(build_of(shelf.plan(version), key))


@router.get(BUILD + "/cut", tags=["builds"])
def build_cut(shelf: Plans, version: int, key: str, z_mm: Annotated[float, Query(ge=-1e4, le=1e4)]) -> CutAnswer:
    """The outlines of all pieces at one height."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    pieces = [
        CutPiece(piece=cut.piece, line=cut.line, segments=cut.segments.reshape(-1, 4).round(2).tolist())
        for cut in cut_build(plan, build, z_mm)
    ]
    room = plan.cell.chamber_type(build.chamber_type)
    return CutAnswer(z_mm=z_mm, chamber_mm=(room.x_mm, room.y_mm), wall_margin_mm=room.wall_margin_mm, pieces=pieces)


@router.get(BUILD + "/stop", tags=["builds"])
def build_stop(
    shelf: Plans,
    version: int,
    key: str,
    layer: Annotated[int, Query(ge=0, le=1_000_000)],
    margin_mm: Annotated[float | None, Query(ge=0, le=1e4)] = None,
) -> AfterStop:
    """What is left if the build stops after that many finished layers. Asking changes nothing."""
    plan = shelf.plan(version)
    return after_stop(plan, build_of(plan, key), layer, margin_mm)


@router.get(
    BUILD + "/scene",
    tags=["builds"],
    response_class=Response,
    responses={200: {"content": {MEDIA_TYPE: {}}, "description": "The nest as binary; see the reference."}},
)
def build_scene(shelf: Plans, version: int, key: str) -> Response:
    """The nest for a 3D view, compact and binary."""
    plan = shelf.plan(version)
    return Response(scene_bytes(plan, build_of(plan, key)), media_type=MEDIA_TYPE)


@router.get(PLAN + "/tasks", tags=["calendar"])
def plan_tasks(shelf: Plans, version: int) -> list[Task]:
    """Everything on the calendar."""
    return list(shelf.plan(version).schedule.tasks)


@router.get(PLAN + "/powder", tags=["powder"])
def plan_powder(shelf: Plans, version: int) -> dict[str, list[PowderStep]]:
    """Stock of each material through the plan."""
    return {name: list(steps) for name, steps in powder_steps(shelf.plan(version)).items()}


@router.get(PLAN + "/findings", tags=["lines"])
def plan_findings(shelf: Plans, version: int) -> list[Finding]:
    """Every doubt the checks have, those about parts included."""
    plan = shelf.plan(version)
    return [*plan.findings, *plan.orders.findings, *(f for part in plan.parts.values() for f in part.findings)]


TypeAdapter(Morning)  # fails at import, not at the first question, when a shape cannot be answered as JSON
