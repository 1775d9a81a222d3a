"""A nest changed by hand, for the page and for scripts: judge moves, keep them as a new plan, nest around pins."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Form
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel, Field

from cakewright.app.move_part import MOST_MOVES, Move, Turn, Wrong, move_parts
from cakewright.model.build import PairGap
from cakewright.store import Job
from cakewright.web.inbox import Desk
from cakewright.web.shelf import Shelf, build_of, shelf_of
from cakewright.web.trouble import RESPONSES
from cakewright.web.typed import decider, number

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["builds"])
Plans = Annotated[Shelf, Depends(shelf_of)]
NEST = "/plans/{version}/builds/{key}/nest"
Length = Annotated[float, Field(ge=-1e4, le=1e4, allow_inf_nan=False)]
Named = Annotated[str, Field(min_length=1, max_length=80, examples=["L07-03"])]


class AskedTurn(BaseModel):
    """A turn about an axis of the chamber through the middle of the piece, against the clock seen from its tip."""

    axis: Literal["x", "y", "z"]
    degrees: Annotated[float, Field(ge=-360, le=360, allow_inf_nan=False)]


class AskedMove(BaseModel):
    """Where one piece shall stand: turned in order, then the lowest corner of its box at (x, y, z) mm.

    x from the left wall, y from the front wall, z above the first part layer; what is left out stays.
    """

    piece: Named
    x_mm: Length | None = None
    y_mm: Length | None = None
    z_mm: Length | None = None
    turns: Annotated[list[AskedTurn], Field(max_length=64)] = []

    def move(self) -> Move:
        """As the program knows it."""
        turns = tuple(Turn(t.axis, t.degrees) for t in self.turns)
        return Move(self.piece, self.x_mm, self.y_mm, self.z_mm, turns)


class AskedNest(BaseModel):
    """Moves against the nest as it is in this plan version."""

    moves: Annotated[list[AskedMove], Field(max_length=MOST_MOVES)] = []


class ChosenNest(AskedNest):
    """Moves to keep, all pieces that shall be pinned afterwards (left out: as before), and who decides."""

    pinned: Annotated[list[Named], Field(max_length=10 * MOST_MOVES)] | None = None
    by: Annotated[str, Field(min_length=1, max_length=80, examples=["Mira"])]


class AskedAgain(BaseModel):
    """How long to search (left out: as the cell file says), and who asks."""

    seconds: Annotated[float, Field(gt=0, le=3600, allow_inf_nan=False)] | None = None
    by: Annotated[str, Field(min_length=1, max_length=80, examples=["Mira"])]


class JudgedNest(BaseModel):
    """What the exact check says: `wrongs` must be empty before the nest can be kept. Seconds of print, mm of height."""

    is_good: bool
    moved: list[str]
    wrongs: list[Wrong]
    tightest: PairGap | None
    height_mm: float
    height_before_mm: float
    layers: int
    print_s: float
    print_before_s: float
    check_s: float


@interface.post(NEST + "/judged")
def judge_nest(shelf: Plans, version: int, key: str, asked: AskedNest) -> JudgedNest:
    """Distances, walls, allowed turns, way out, height and hours with some pieces moved. Asking changes nothing."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    found = move_parts(plan, build, [m.move() for m in asked.moves])
    return JudgedNest(
        is_good=found.is_good, moved=list(found.moved), wrongs=list(found.wrongs), tightest=found.tightest,
        height_mm=found.height_mm, height_before_mm=build.nest.height_mm, layers=found.layers, print_s=found.print_s,
        print_before_s=build.print_time.total_s, check_s=found.seconds,
    )  # fmt: skip


@interface.post(NEST, status_code=202)
def keep_changed_nest(shelf: Plans, desk: Desk, version: int, key: str, chosen: ChosenNest) -> Job:
    """Keep moves and pins as a new plan version, as a job: proof, hours, heat, powder and dates are computed.

    Refused at once while anything is wrong. When it is done `plan` is the new version and `folder` its page; the plan
    before stays as it was.
    """
    plan = shelf.plan(version)
    build_of(plan, key)
    moves = [m.move() for m in chosen.moves]
    return shelf.store.job(desk.keep(plan, key, moves, chosen.pinned, by=decider(chosen.by)))


@interface.post(NEST + "/again", status_code=202)
def nest_again(shelf: Plans, desk: Desk, version: int, key: str, asked: AskedAgain) -> Job:
    """Nest the build again around what is pinned, as a job; a lower nest becomes a new plan version."""
    build_of(shelf.plan(version), key)
    return shelf.store.job(desk.nest(version, key, by=decider(asked.by), seconds=asked.seconds))


@pages.post("/plans/{version}/builds/{key}/nest-again")
def ask_nest_again(
    shelf: Plans, desk: Desk, version: int, key: str, by: Annotated[str, Form(max_length=80)] = "",
    seconds: Annotated[str, Form(max_length=12)] = "",
) -> Response:  # fmt: skip
    """The same from the page, which then shows the job."""
    build_of(shelf.plan(version), key)
    wanted = number(seconds, "seconds") if seconds.strip() else None
    return RedirectResponse(f"/jobs/{desk.nest(version, key, by=decider(by), seconds=wanted)}", status_code=303)
