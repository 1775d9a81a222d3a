"""The calendar: the week as bars, what was told to people, and one task moved by hand."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from cakewright.app.against_told import against_told
from cakewright.app.answer_questions import keep_proposal
from cakewright.app.move_task import MoveProposal, check_move, move_in_plan
from cakewright.app.plans import shown_moment
from cakewright.app.running import quick_rule
from cakewright.app.take_back import take_back
from cakewright.app.task_chain import task_names
from cakewright.documents.gantt_rows import waiting_lines
from cakewright.model.plan import Task, WeekPlan
from cakewright.sources.promise import COMMIT_HOURS
from cakewright.store import Job
from cakewright.web.gantt import draw_gantt
from cakewright.web.inbox import Desk
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, moment_of, shelf_of, shown_of
from cakewright.web.trouble import RESPONSES
from cakewright.web.typed import decider

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["calendar"])
Plans = Annotated[Shelf, Depends(shelf_of)]
Text = Annotated[str, Query(max_length=120)]
Words = Annotated[str, Field(max_length=120)]
PAST = "/plans/{version}/calendar"


class AskedTask(BaseModel):
    """One task and where it shall be; times are the cell's unless they name a zone."""

    task: Annotated[str, Field(max_length=120, examples=["B2/print"])]
    start: Annotated[str, Field(max_length=40, examples=["2027-03-02T09:00"])] = ""
    machine: Words = ""
    chamber: Words = ""
    station: Words = ""


class ChosenTask(AskedTask):
    """A move to keep, and who decides."""

    by: Annotated[str, Field(min_length=1, max_length=80, examples=["Mira"])]


class MoveAnswer(BaseModel):
    """What a move makes of the week, in words; or why it cannot be done, and from when on it would go."""

    is_possible: bool
    refused: str
    remedy: str
    soonest: datetime | None
    moved: Task
    headline: str
    lines: list[str]
    tasks: list[str]
    late_before_min: float
    late_after_min: float

    @classmethod
    def of(cls, answer: MoveProposal) -> MoveAnswer:
        """From the deed."""
        change = answer.made.difference if answer.made else None
        return cls(
            is_possible=answer.is_possible, refused=answer.refused, remedy=answer.remedy, soonest=answer.soonest,
            moved=answer.moved, headline=change.headline if change else "",
            lines=[m.text for m in change.lines] if change else [],
            tasks=[m.text for m in change.tasks] if change else [],
            late_before_min=answer.late_min[0], late_after_min=answer.late_min[1],
        )  # fmt: skip


@pages.get(PAST)
def calendar(
    shelf: Plans, request: Request, version: int, at: Annotated[str, Query(max_length=40)] = "",
    moved: Annotated[int | None, Query(ge=1)] = None,
) -> HTMLResponse:  # fmt: skip
    """Machines, chambers, stations and people over the week; what differs from the plan people were told."""
    plan = shelf.plan(version)
    when = moment_of(plan, at) if at else shown_moment(plan, shelf.clock())
    told, change = against_told(shelf.store, plan, shelf.plan)
    return page(
        request, "calendar.html", **shown_of(shelf, plan, "/calendar"), gantt=draw_gantt(plan, when, told),
        waiting=waiting_lines(plan), tasks=sorted(plan.schedule.tasks, key=lambda t: (t.start, t.end)), at=when,
        names=_names(plan), told=told, change=change, moved_from=moved,
    )  # fmt: skip


@pages.get(PAST + "/move")
def propose(
    shelf: Plans, request: Request, version: int, task: Text, start: Text = "", machine: Text = "", chamber: Text = "",
    station: Text = "",
) -> HTMLResponse:  # fmt: skip
    """What one move makes of the week; only the answer when the page's script asks. Nothing is kept by looking."""
    plan = shelf.plan(version)
    answer = _moved(shelf, plan, AskedTask(task=task, start=start, machine=machine, chamber=chamber, station=station))
    inner = request.headers.get("hx-request") == "true"
    return page(
        request, "move_answer.html" if inner else "move.html", **shown_of(shelf, plan, "/calendar"), answer=answer,
        draft=keep_proposal(shelf.store, plan, f"plans/{version}/calendar", answer) if answer.is_possible else "",
        task=task,
    )  # fmt: skip


@pages.post(PAST + "/move")
def keep(shelf: Plans, desk: Desk, version: int, draft: Annotated[str, Form(max_length=80)],
         by: Annotated[str, Form(max_length=80)] = "") -> Response:  # fmt: skip
    """Keep what was shown as a new plan version, as a job; the calendar of the new plan opens when it is there."""
    number = desk.accept(draft, shelf.plan(version), by=decider(by))
    return RedirectResponse(f"/jobs/{number}?then=open", status_code=303)


@pages.post(PAST + "/take-back")
def undo(shelf: Plans, desk: Desk, version: int, by: Annotated[str, Form(max_length=80)] = "") -> Response:
    """This plan becomes the newest again."""
    shelf.plan(version)
    new = take_back(shelf.store, version, by=decider(by), at=shelf.clock())
    desk.papers(new, by=decider(by))
    return RedirectResponse(f"/plans/{new}/calendar", status_code=303)


@interface.post("/plans/{version}/tasks/judged")
def judge_move(shelf: Plans, version: int, asked: AskedTask) -> MoveAnswer:
    """What moving one task makes of the week, or why it cannot be done. Asking changes nothing."""
    return MoveAnswer.of(_moved(shelf, shelf.plan(version), asked))


@interface.post("/plans/{version}/tasks", status_code=202)
def keep_move(shelf: Plans, desk: Desk, version: int, chosen: ChosenTask) -> Job:
    """Keep one move as a new plan version, as a job; refused when it cannot be done or a newer plan has been kept."""
    by, plan = decider(chosen.by), shelf.plan(version)
    answer = _moved(shelf, plan, chosen)
    check_move(shelf.store, answer)
    word = keep_proposal(shelf.store, plan, f"plans/{version}/calendar", answer)
    return shelf.store.job(desk.accept(word, plan, by=by))


def _moved(shelf: Shelf, plan: WeekPlan, asked: AskedTask) -> MoveProposal:
    now = shown_moment(plan, shelf.clock())
    told = any(c.plan == plan.version for c in shelf.store.schedule.commitments())
    return move_in_plan(
        plan,
        asked.task,
        start=moment_of(plan, asked.start) if asked.start else None,
        machine=asked.machine or None,
        chamber=asked.chamber or None,
        station=asked.station or None,
        now=now,
        stop=quick_rule,
        progress=shelf.store.schedule.progress_of(plan.version),
        committed_until=now + timedelta(hours=COMMIT_HOURS.value) if told else None,
    )


def _names(plan: WeekPlan) -> list[tuple[str, Task]]:
    return [(name, task) for name, task in task_names(plan).items() if task.people or task.machine]
