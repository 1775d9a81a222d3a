"""Pages of a running week: what happened, promises kept, calendars for other programs."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app.kept_promises import kept_promises
from cakewright.app.note_task import labels_open, note_task
from cakewright.app.running import KINDS
from cakewright.documents.calendar_files import machine_calendar, names_of, person_calendar
from cakewright.errors import InputError
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, moment_of, moment_or_now, shelf_of, shown_of
from cakewright.web.trouble import NotThereError
from cakewright.web.typed import decider

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Text = Annotated[str, Query(max_length=120)]
Field = Annotated[str, Form(max_length=500)]
PAST = "/plans/{version}"
BEHIND, AHEAD = timedelta(hours=30), timedelta(hours=12)
WORDS = {kind: word for word, kind in KINDS.items()}


# --- what happened --------------------------------------------------------------------------------------------------


@pages.get(PAST + "/happened")
def happened(shelf: Plans, request: Request, version: int, at: Text = "", by: Text = "") -> HTMLResponse:
    """Tasks around the present moment, each with what somebody can say about it."""
    plan = shelf.plan(version)
    now = moment_or_now(shelf, plan, at)
    said = {(p.kind, p.build, p.line): p for p in shelf.store.schedule.progress_of(version)}
    rows = [(t, *_about(t), said.get(_key(t)), _open(shelf, plan, t)) for t in _around(plan, now)]
    return page(request, "happened.html", **shown_of(shelf, plan, ""), rows=rows, at=now, by=by, words=WORDS)


@pages.post(PAST + "/happened")
def say(
    shelf: Plans,
    version: int,
    kind: Field,
    word: Field,
    build: Field = "",
    line: Annotated[int | None, Form()] = None,
    when: Field = "",
    by: Field = "",
    without: Field = "",
) -> Response:
    """Keep one `word` (began, ended or not begun) about one task; `without`: why a print began without labels."""
    plan = shelf.plan(version)
    now = shelf.clock()
    instant = moment_of(plan, when) if when else now
    if word not in {"began", "ended", "not begun"}:
        raise InputError(f"{word!r} is not known", remedy="say began, ended or not begun", where="word")
    task: dict[str, Any] = {
        "kind": TaskKind(kind),
        "build": build if line is None else "",
        "line": line,
    }
    note_task(
        shelf.store, plan, **task,
        started=instant if word == "began" else _began(shelf, version, task) if word == "ended" else None,
        ended=instant if word == "ended" else None, at=max(now, instant) if not when else now, by=decider(by),
        without=without,
    )  # fmt: skip
    return RedirectResponse(f"/plans/{version}/happened?{urlencode({'by': by})}", status_code=303)


def _began(shelf: Shelf, version: int, task: dict[str, Any]) -> datetime | None:
    """The start that was noted before its end is."""
    notes = shelf.store.schedule.progress_of(version)
    mine = [n for n in notes if (n.kind, n.build, n.line) == (task["kind"], task["build"], task["line"])]
    return mine[-1].started if mine else None


def _open(shelf: Shelf, plan: WeekPlan, task: Task) -> tuple[str, ...]:
    return labels_open(shelf.store, plan, task.build) if task.kind is TaskKind.PRINT else ()


def _around(plan: WeekPlan, now: datetime) -> list[Task]:
    tasks = [t for t in plan.schedule.tasks if t.people or t.kind is TaskKind.PRINT]
    near = [t for t in tasks if t.end > now - BEHIND and t.start < now + AHEAD and t.kind is not TaskKind.FINISH]
    return sorted(near, key=lambda t: (t.start, t.end))


def _key(task: Task) -> tuple[TaskKind, str, int | None]:
    build, line = _about(task)
    return task.kind, build, line


def _about(task: Task) -> tuple[str, int | None]:
    """The build or the line that a note about this task names."""
    of_line = task.kind in {TaskKind.INSPECT, TaskKind.PACK}
    return ("", task.lines[0]) if of_line and task.lines else (task.build, None)


# --- promises kept, calendars ---------------------------------------------------------------------------------------


@pages.get("/promises")
def promises(shelf: Plans, request: Request) -> HTMLResponse:
    """Does 90 % mean 90 %?"""
    newest = shelf.store.newest()
    common = shown_of(shelf, shelf.plan(newest), "") if newest else {}
    record = kept_promises(shelf.store.schedule.kept_promises(), shelf.clock())
    return page(request, "promises.html", **common, record=record, now=shelf.clock())


@pages.get(PAST + "/calendars/{kind}/{name:path}.ics")
def calendar_file(shelf: Plans, version: int, kind: str, name: str) -> Response:
    """What one person does or one machine prints, for a calendar program."""
    plan = shelf.plan(version)
    if (kind, name) not in names_of(plan):
        raise NotThereError(f"there is no calendar of {kind} {name[:60]!r}", remedy="choose one on the calendar page")
    make = person_calendar if kind == "person" else machine_calendar
    headers = {"content-disposition": f'attachment; filename="plan-{version:03d}-{kind}.ics"'}
    content = make(plan, name, stamp=shelf.clock())
    return Response(content, media_type="text/calendar; charset=utf-8", headers=headers)
