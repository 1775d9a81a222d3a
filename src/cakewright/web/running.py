"""Pages of a running week: what happened, plan again, a build has stopped, what if, promises kept."""

from __future__ import annotations

import secrets
import time
from collections import OrderedDict
from datetime import datetime, timedelta
from threading import Lock
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app.effort import effort_in_seconds
from cakewright.app.failure_desk import RULES, Cause, FailureDesk, failure_desk
from cakewright.app.kept_promises import kept_promises
from cakewright.app.note_task import note_task
from cakewright.app.plans import shown_moment
from cakewright.app.recover import accept_recovery
from cakewright.app.replan import Replanned, accept, replan_stored
from cakewright.app.running import KINDS, cause_of, changes_of, figures_rows, quick_rule
from cakewright.app.what_if import what_if
from cakewright.documents.calendar_files import machine_calendar, names_of, person_calendar
from cakewright.errors import CakewrightError, InputError
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.store.schedule import Progress
from cakewright.web.inbox import Desk
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, build_of, moment_of, shelf_of
from cakewright.web.trouble import NotThereError

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Text = Annotated[str, Query(max_length=120)]
Field = Annotated[str, Form(max_length=500)]
PAST = "/plans/{version}"
BEHIND, AHEAD = timedelta(hours=30), timedelta(hours=12)
WORDS = {kind: word for word, kind in KINDS.items()}


class Drafts:
    """Answers that somebody is looking at and may accept: what is kept is what was shown, not a second search."""

    def __init__(self, most: int = 24) -> None:
        self._kept: OrderedDict[str, object] = OrderedDict()
        self._most, self._lock = most, Lock()

    def keep(self, answer: object) -> str:
        """A word under which the answer can be accepted for a while."""
        with self._lock:
            word = secrets.token_urlsafe(12)
            self._kept[word] = answer
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
            return word

    def get(self, word: str) -> object:
        """The answer; InputError when it is no longer at hand."""
        with self._lock:
            if word not in self._kept:
                raise InputError("this answer is no longer at hand", remedy="ask again, then accept", where="draft")
            return self._kept[word]


DRAFTS = Drafts()


# --- plan again -----------------------------------------------------------------------------------------------------


@pages.get(PAST + "/again")
def again(
    shelf: Plans, request: Request, version: int, at: Text = "", name: Text = "", start: Text = "", end: Text = "",
    free: bool = False,
) -> HTMLResponse:  # fmt: skip
    """The rest of the week made again, and what that moves; nothing is kept by looking."""
    plan = shelf.plan(version)
    now = _now(shelf, plan, at)
    out = {name: [(moment_of(plan, start), moment_of(plan, end))]} if name and start and end else {}
    made, wrong = None, None
    try:
        made = replan_stored(shelf.store, now, version=version, unavailable=out, stop=quick_rule, free=free)
    except CakewrightError as found:  # the page can still say why, and what is out of use may be what is in the way
        wrong = found
    told = next((c for c in shelf.store.schedule.commitments() if c.plan == version), None)
    return page(
        request, "again.html", **_common(shelf, version), made=made, wrong=wrong, at=now,
        draft=DRAFTS.keep((version, made)) if made else "",
        names=_names(plan), told=told, name=name, start=start, end=end, free=free,
    )  # fmt: skip


@pages.post(PAST + "/again")
def keep_again(shelf: Plans, desk: Desk, version: int, draft: Field, by: Field = "") -> Response:
    """Keep what was shown as a new plan version; its papers are written as a job."""
    kept = DRAFTS.get(draft)
    assert isinstance(kept, tuple) and isinstance(kept[1], Replanned)
    new = accept(shelf.store, kept[1], by=_named(by), at=shelf.clock())
    desk.papers(new, by=_named(by))
    return RedirectResponse(f"/plans/{new}", status_code=303)


@pages.post(PAST + "/commit")
def commit(shelf: Plans, version: int, by: Field = "", hours: Annotated[float, Form(ge=0, le=72)] = 24) -> Response:
    """Note that this plan was told to people."""
    now = shelf.clock()
    shelf.plan(version)
    shelf.store.schedule.commit(plan=version, until=now + timedelta(hours=hours), at=now, by=_named(by))
    return RedirectResponse(f"/plans/{version}/again", status_code=303)


# --- what happened --------------------------------------------------------------------------------------------------


@pages.get(PAST + "/happened")
def happened(shelf: Plans, request: Request, version: int, at: Text = "", by: Text = "") -> HTMLResponse:
    """Tasks around the present moment, each with what somebody can say about it."""
    plan = shelf.plan(version)
    now = _now(shelf, plan, at)
    said = {(p.kind, p.build, p.line): p for p in shelf.store.schedule.progress_of(version)}
    rows = [(t, *_about(t), said.get(_key(t))) for t in _around(plan, now)]
    return page(request, "happened.html", **_common(shelf, version), rows=rows, at=now, by=by, words=WORDS)


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
) -> Response:
    """Keep one word about one task: `word` is began, ended or not begun."""
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
        ended=instant if word == "ended" else None, at=max(now, instant) if not when else now, by=_named(by),
    )  # fmt: skip
    return RedirectResponse(f"/plans/{version}/happened?by={by}", status_code=303)


def _began(shelf: Shelf, version: int, task: dict[str, Any]) -> datetime | None:
    """The start that was noted before its end is."""
    notes = shelf.store.schedule.progress_of(version)
    mine = [n for n in notes if (n.kind, n.build, n.line) == (task["kind"], task["build"], task["line"])]
    return mine[-1].started if mine else None


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


# --- a build has stopped --------------------------------------------------------------------------------------------


@pages.get(PAST + "/builds/{key}/stopped")
def stopped(
    shelf: Plans,
    request: Request,
    version: int,
    key: str,
    layer: Annotated[int | None, Query(ge=0, le=1_000_000)] = None,
    cause: Text = "",
    margin_mm: Annotated[str, Query(max_length=12)] = "",
    at: Text = "",
) -> HTMLResponse:
    """The failure desk: fates, money, powder and ways out. Looking changes nothing."""
    plan = shelf.plan(version)
    build = build_of(plan, key)
    now = _now(shelf, plan, at)
    desk, draft = None, ""
    if layer is not None and cause:
        margin = _number(margin_mm)
        notes: tuple[Progress, ...] = shelf.store.schedule.progress_of(version)
        desk = failure_desk(plan, key, layer, cause_of(cause), now=now, margin_mm=margin, progress=notes)
        draft = DRAFTS.keep((version, desk))
    return page(
        request, "stopped.html", **_common(shelf, version, "/builds"), build=build, at=now, desk=desk, draft=draft,
        layer=layer, cause=cause, causes=[(c.name.lower(), c.value, RULES[c]) for c in Cause], margin_mm=margin_mm,
    )  # fmt: skip


@pages.post(PAST + "/builds/{key}/stopped")
def take_way_out(
    shelf: Plans, desk: Desk, version: int, key: str, draft: Field, way: Field, by: Field = "", note: Field = ""
) -> Response:
    """Carry out a way out and go to the plan it leads to."""
    kept = DRAFTS.get(draft)
    assert isinstance(kept, tuple) and isinstance(kept[1], FailureDesk)
    plan = shelf.plan(version)
    effort = effort_in_seconds(plan.cell.nesting.seconds_per_build, time.monotonic)
    done = accept_recovery(shelf.store, plan, kept[1], way, effort=effort, by=_named(by), at=shelf.clock(), note=note)
    desk.papers(done.plan, by=_named(by))
    return RedirectResponse(f"/plans/{done.plan}", status_code=303)


# --- what if, promises kept -----------------------------------------------------------------------------------------


@pages.get(PAST + "/what-if")
def ask(
    shelf: Plans,
    request: Request,
    version: int,
    question: Text = "",
    hours: Annotated[float, Query(gt=0, le=200)] = 8,
    pieces: Annotated[int, Query(ge=1, le=10000)] = 10,
    line: Annotated[str, Query(max_length=8)] = "",
    name: Text = "",
    start: Text = "",
    end: Text = "",
    at: Text = "",
) -> HTMLResponse:
    """One change, its effect in a table, nothing kept."""
    plan = shelf.plan(version)
    now = _now(shelf, plan, at)
    answer = None
    if question:
        change = {
            "rush": {"rush_hours": hours, "rush_pieces": pieces},
            "line": {"rush_line": int(_number(line) or 0)},
            "chamber": {"chambers": 1},
            "night": {"night": 1},
            "down": {"down": [f"{name},{start},{end}"]},
        }.get(question)
        if change is None:
            raise InputError(f"{question!r} is no question", remedy="choose one on the page", where="question")
        (one,) = changes_of(plan, **change)  # type: ignore[arg-type]
        answer = what_if(plan, one, now=now, progress=shelf.store.schedule.progress_of(version), stop=quick_rule)
    rows = figures_rows(plan, answer) if answer else []
    return page(
        request, "what_if.html", **_common(shelf, version), answer=answer, rows=rows, at=now, question=question,
        hours=hours, pieces=pieces, line=line, name=name, start=start, end=end, names=_names(plan),
        planned=[p.line for p in plan.promises if p.ready],
    )  # fmt: skip


@pages.get("/promises")
def promises(shelf: Plans, request: Request) -> HTMLResponse:
    """Does 90 % mean 90 %?"""
    newest = shelf.store.newest()
    common = _common(shelf, newest) if newest else {}
    record = kept_promises(shelf.store.schedule.kept_promises(), shelf.clock())
    return page(request, "promises.html", **common, record=record, now=shelf.clock())


# --- calendars ---------------------------------------------------------------------------------------------------


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


# --- help -----------------------------------------------------------------------------------------------------------


def _common(shelf: Shelf, version: int, here: str = "") -> dict[str, Any]:
    plan = shelf.plan(version)
    return {
        "plan": plan,
        "here": here,
        "summaries": shelf.store.plans(),
        "zone": plan.cell.zone,
        "base": f"/plans/{version}",
        "people": [p.name for p in plan.cell.people],
    }


def _now(shelf: Shelf, plan: WeekPlan, at: str) -> datetime:
    return moment_of(plan, at) if at else shown_moment(plan, shelf.clock())


def _names(plan: WeekPlan) -> list[str]:
    cell = plan.cell
    return [x.name for group in (cell.machines, cell.chambers, cell.stations, cell.people) for x in group]


def _named(by: str) -> str:
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who decides", where="by")
    return by.strip()


def _number(text: str) -> float | None:
    if not text.strip():
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError as wrong:
        raise InputError(f"{text[:20]!r} is no number", remedy="write 2.5", where="number") from wrong
