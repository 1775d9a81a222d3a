"""Answers of questions for scripts: read at the job that made them, kept as a new plan version as another job."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import BaseModel, Field

from cakewright.app.answer_questions import word_in
from cakewright.app.failure_desk import FailureDesk
from cakewright.app.move_task import MoveProposal
from cakewright.app.questions import Answer, Capacity, Revised
from cakewright.app.replan import Replanned
from cakewright.app.running import figures_rows
from cakewright.app.what_if import WhatIf
from cakewright.errors import InputError
from cakewright.model.plan import WeekPlan
from cakewright.store import Job
from cakewright.web.asking import Seen, seen
from cakewright.web.inbox import Desk, job_seen
from cakewright.web.shelf import Shelf, shelf_of
from cakewright.web.trouble import RESPONSES
from cakewright.web.typed import decider

interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["running week"])
Plans = Annotated[Shelf, Depends(shelf_of)]


class WayOut(BaseModel):
    """One way out after a stop. Money beyond the plan in the cell's currency; weighted lateness of all lines."""

    way: str
    title: str
    text: str
    money: float
    value_not_made: float
    late_lines: list[int]
    weighted_late_h: float
    headline: str


class ShareOfLine(BaseModel):
    """Pieces of a line in one state, and what a new revision does to them; `lost` in the cell's currency."""

    pieces: int
    build: str
    state: str
    effect: str
    lost: Decimal


class AnswerNow(BaseModel):
    """An answer in words and numbers: what moves, figures, ways out after a stop, shares of a line.

    `figures` are [what, as planned, then], or [set-up, late lines, kg a week] of more capacity. `can_be_kept` is True
    when there is a plan in it that can be kept; after a stop that takes one of `ways`.
    """

    plan: int
    can_be_kept: bool
    headline: str = ""
    lines: list[str] = []
    tasks: list[str] = []
    figures: list[tuple[str, str, str]] = []
    ways: list[WayOut] = []
    shares: list[ShareOfLine] = []
    quote: int | None = None

    @classmethod
    def of(cls, plan: WeekPlan, answer: Answer | MoveProposal) -> AnswerNow:
        """From what the worker made."""
        if isinstance(answer, FailureDesk):
            ways = [WayOut(way=r.key, title=r.title, text=r.text, money=r.money, value_not_made=r.value_not_made,
                           late_lines=list(r.late), weighted_late_h=r.weighted_late_h,
                           headline=r.made.difference.headline) for r in answer.recoveries]  # fmt: skip
            return cls(plan=plan.version, can_be_kept=True, ways=ways)
        if isinstance(answer, Revised):
            shares = [ShareOfLine(pieces=s.pieces, build=s.build, state=s.stage.value, effect=s.effect, lost=s.lost)
                      for s in answer.change.shares]  # fmt: skip
            return cls(plan=plan.version, can_be_kept=False, headline=answer.change.offer.feasible, shares=shares,
                       quote=answer.quote)  # fmt: skip
        if isinstance(answer, Capacity):
            rows = [(o.name, str(o.late_lines), f"{o.kg_per_week:.2f} kg") for o in answer.outcomes]
            return cls(plan=plan.version, can_be_kept=False, figures=rows)
        made = answer if isinstance(answer, Replanned) else answer.made
        if made is None:
            return cls(plan=plan.version, can_be_kept=False)
        return cls(
            plan=plan.version, can_be_kept=not isinstance(answer, WhatIf), headline=made.difference.headline,
            lines=[m.text for m in made.difference.lines], tasks=[m.text for m in made.difference.tasks],
            figures=figures_rows(plan, answer) if isinstance(answer, WhatIf) else [],
        )  # fmt: skip


class Keep(BaseModel):
    """Who decides, after a stop also which way out, and a remark."""

    by: Annotated[str, Field(min_length=1, max_length=80, examples=["Mira"])]
    way: Annotated[str, Field(max_length=80, examples=["again-now"])] = ""
    note: Annotated[str, Field(max_length=500)] = ""


@interface.get("/jobs/{job}/answer")
def answer_now(shelf: Plans, job: int) -> AnswerNow:
    """The answer to a question that was asked as a job; refused while there is none."""
    plan, found = _found(shelf, job)
    if found.answer is None:
        raise InputError(f"job {job} has no answer", remedy="look at the job: it may not be done, or was no question")
    return AnswerNow.of(plan, found.answer)


@interface.post("/jobs/{job}/answer/kept", status_code=202)
def keep_answer(shelf: Plans, desk: Desk, job: int, chosen: Keep) -> Job:
    """Keep the plan of an answer as a new version, exactly as it was told; as a job."""
    plan, found = _found(shelf, job)
    return shelf.store.job(desk.accept(found.word, plan, way=chosen.way, by=decider(chosen.by), note=chosen.note))


def _found(shelf: Shelf, number: int) -> tuple[WeekPlan, Seen]:
    job = job_seen(shelf, number)
    word = word_in(job.folder)
    place = job.folder.split("/")
    if not word or place[0] != "plans":
        raise InputError(f"job {number} was no question", remedy="name a job that answers one", where="job")
    plan = shelf.plan(int(place[1]))
    return plan, seen(shelf, plan, word)
