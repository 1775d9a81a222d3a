"""Orders come in: drop an order list and mesh files, see what is wrong with each, ask for a plan, watch it grow."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from dataclasses import asdict
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse, Response, StreamingResponse
from starlette.concurrency import run_in_threadpool

from cakewright.app.answer_questions import word_in
from cakewright.app.asked_quotes import FOLDER as ASKED
from cakewright.app.inbox import Incoming, Looked
from cakewright.app.jobs import NEST, PAPERS, QUESTIONS, QUOTE, SHORT, JobDesk
from cakewright.errors import CakewrightError, InputError
from cakewright.model.cell import Cell
from cakewright.store import Job, JobState
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, local_moment, shelf_of
from cakewright.web.speech import Speech, listen
from cakewright.web.trouble import RESPONSES, NotThereError

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["inbox and jobs"])
Plans = Annotated[Shelf, Depends(shelf_of)]
POLL_S = 0.4
CHUNK = 1024 * 1024


def desk_of(request: Request) -> JobDesk:
    """Where long work is asked for (a FastAPI dependency)."""
    desk = request.app.state.desk
    assert isinstance(desk, JobDesk)
    return desk


Desk = Annotated[JobDesk, Depends(desk_of)]


@pages.get("/inbox")
def inbox(shelf: Plans, desk: Desk, request: Request) -> HTMLResponse:
    """What was asked for so far, and where new files go."""
    jobs = shelf.store.jobs()
    return page(
        request, "inbox.html", place=_place, short=SHORT, jobs=jobs, newest=desk.inbox.newest(), zone=_zone(desk)
    )


@pages.post("/inbox")
def open_tray(desk: Desk, like: Annotated[str, Form(max_length=12)] = "") -> Response:
    """A new tray; with `like` it begins with the mesh files of another."""
    return RedirectResponse(f"/inbox/{desk.inbox.open_tray(like or None)}", status_code=303)


@pages.get("/inbox/{tray}")
def one_tray(desk: Desk, request: Request, tray: str) -> HTMLResponse:
    """The files of a tray and what is wrong with them."""
    return page(request, "tray.html", **_tray(desk, tray))


@pages.put("/inbox/{tray}/files/{name}")
async def put_file(desk: Desk, request: Request, tray: str, name: str) -> HTMLResponse:
    """One file, sent by the page; the answer is the list drawn again, or what is wrong with the file."""
    try:
        await _receive(desk, request, tray, name)
    except CakewrightError as wrong:
        return page(request, "tray_refused.html", status=422, wrong=wrong, name=name)
    return page(request, "tray_files.html", **await run_in_threadpool(_tray, desk, tray))


@pages.post("/inbox/{tray}/files")
async def post_files(desk: Desk, tray: str, files: list[UploadFile]) -> Response:
    """Files from a browser without scripts."""
    for file in files:
        incoming = desk.inbox.begin(tray, file.filename or "")
        while chunk := await file.read(CHUNK):
            await run_in_threadpool(incoming.write, chunk)
        await run_in_threadpool(_arrived, desk, tray, incoming)
    return RedirectResponse(f"/inbox/{tray}", status_code=303)


@pages.post("/inbox/{tray}/remove")
def remove_file(desk: Desk, request: Request, tray: str, name: Annotated[str, Form(max_length=160)]) -> Response:
    """Take a file out again."""
    desk.inbox.remove(tray, name)
    if request.headers.get("hx-request") == "true":
        return page(request, "tray_files.html", **_tray(desk, tray))
    return RedirectResponse(f"/inbox/{tray}", status_code=303)


@pages.post("/inbox/{tray}/plan")
def ask_for_plan(
    desk: Desk,
    tray: str,
    by: Annotated[str, Form(max_length=80)] = "",
    start: Annotated[str, Form(max_length=40)] = "",
    seconds: Annotated[float | None, Form(ge=0, le=3600)] = None,
) -> Response:
    """Ask for a plan of the tray."""
    cell = desk.inbox.cell(tray, desk.cell())
    begin = local_moment(start, cell.zone) if start else None
    number = desk.plan(tray, by=by, start=begin, seconds=seconds, cell=cell)
    return RedirectResponse(f"/jobs/{number}", status_code=303)


@pages.get("/jobs/{job}", response_model=None)
def one_job(shelf: Plans, desk: Desk, request: Request, job: int, then: str = "") -> Response:
    """How far a job is; asked to open its result `then`, on to that as soon as it is there."""
    seen = job_seen(shelf, job)
    if then == "open" and seen.state is JobState.DONE:
        return RedirectResponse(f"/{seen.folder}" if seen.kind in SHORT else f"/plans/{seen.plan}", status_code=303)
    return page(request, "job.html", job=seen, zone=_zone(desk), back=_place(seen), short=SHORT,
                asks_again=_asks_again(seen))  # fmt: skip


@pages.get("/jobs/{job}/events")
async def job_events(shelf: Plans, desk: Desk, request: Request, job: int) -> StreamingResponse:
    """The job as it goes on, as server-sent events, until it has ended."""
    job_seen(shelf, job)
    return StreamingResponse(_events(shelf, request, job, listen(request)), media_type="text/event-stream",
                             headers={"x-accel-buffering": "no", "cache-control": "no-store"})  # fmt: skip


@pages.post("/jobs/{job}/cancel")
def cancel(desk: Desk, shelf: Plans, job: int) -> Response:
    """Stop a job."""
    job_seen(shelf, job)
    desk.cancel(job)
    return RedirectResponse(f"/jobs/{job}", status_code=303)


@pages.post("/jobs/{job}/again")
def again(desk: Desk, shelf: Plans, job: int) -> Response:
    """Back to where a job that failed, was cancelled or interrupted was asked.

    A quote is made again at once, and a question that was not answered yet is asked again.
    """
    seen = job_seen(shelf, job)
    if not _asks_again(seen):
        return RedirectResponse(_place(seen), status_code=303)
    if seen.kind == QUOTE:
        number = begin_quote(shelf, desk, seen.folder.removeprefix(f"{ASKED}/"))
    else:
        number = desk.answer(word_in(seen.folder))
    return RedirectResponse(f"/jobs/{number}?then=open", status_code=303)


@interface.get("/jobs")
def jobs(shelf: Plans) -> list[Job]:
    """Every job, newest first."""
    return list(shelf.store.jobs())


@interface.get("/jobs/{job}")
def job_now(shelf: Plans, job: int) -> Job:
    """One job."""
    return job_seen(shelf, job)


@interface.post("/jobs/{job}/cancel")
def cancel_job(desk: Desk, shelf: Plans, job: int) -> Job:
    """Stop a job; one that has ended stays as it ended."""
    job_seen(shelf, job)
    return desk.cancel(job)


@interface.post("/trays", status_code=201)
def new_tray(desk: Desk) -> dict[str, str]:
    """A new tray for files."""
    return {"tray": desk.inbox.open_tray()}


@interface.put("/trays/{tray}/files/{name}")
async def put_file_for_scripts(desk: Desk, request: Request, tray: str, name: str) -> Looked | None:
    """Send one file as the body; for a mesh the answer is what was found in it, for a list or cell file null."""
    return await _receive(desk, request, tray, name)


@interface.post("/trays/{tray}/plan", status_code=202)
def plan_tray(desk: Desk, tray: str, by: str = "", seconds: float | None = None, start: str = "") -> Job:
    """Ask for a plan of a tray; look at the job until it has ended."""
    cell = desk.inbox.cell(tray, desk.cell())
    begin = local_moment(start, cell.zone) if start else None
    return desk.store.job(desk.plan(tray, by=by, start=begin, seconds=seconds, cell=cell))


async def _receive(desk: JobDesk, request: Request, tray: str, name: str) -> Looked | None:
    incoming = desk.inbox.begin(tray, name)
    try:
        async for chunk in request.stream():
            if chunk:
                await run_in_threadpool(incoming.write, chunk)
    except BaseException:  # the line broke or the limit was reached: nothing half stays
        incoming.drop()
        raise
    return await run_in_threadpool(_arrived, desk, tray, incoming)


def _arrived(desk: JobDesk, tray: str, incoming: Incoming) -> Looked | None:
    """Keep a file that has come whole, and look at it when it is a mesh."""
    place = incoming.keep()
    if place.parent == desk.inbox.tray(tray):
        return None
    return desk.inbox.look(tray, place.name, desk.inbox.cell(tray, desk.cell()))


def job_seen(shelf: Shelf, number: int) -> Job:
    """A job that may be seen; NotThereError otherwise."""
    seen = next((j for j in shelf.store.jobs() if j.number == number), None)
    if seen is None or not shelf.shows_job(seen):
        raise NotThereError(f"there is no job {number}", remedy="choose one from the inbox")
    return seen


def _asks_again(job: Job) -> bool:
    """Whether a press asks it once more: a quote that was not made, a question that was cut off before its answer."""
    if job.kind == QUOTE:
        return job.folder.startswith(f"{ASKED}/")
    return job.kind in QUESTIONS.values() and job.state in (JobState.CANCELLED, JobState.INTERRUPTED)


def _place(job: Job) -> str:
    """Where a job was asked for: the page of a build, a plan or the quotes, or a tray."""
    if job.kind == QUOTE:
        return "/quotes" if job.folder.startswith(f"{ASKED}/") else f"/{job.folder}"
    return f"/{job.folder}" if job.kind in {NEST, PAPERS, *SHORT} else f"/inbox/{job.folder}"


def _tray(desk: JobDesk, tray: str) -> dict[str, Any]:
    """What the page of a tray shows; problems of the list and the cell file are text, not errors."""
    cell: Cell | None = None
    troubles: list[CakewrightError] = []
    lines = 0
    absent: tuple[str, ...] = ()
    try:
        cell = desk.inbox.cell(tray, desk.cell())
        if desk.inbox.orders(tray) is not None:
            lines, absent = desk.inbox.list_problems(tray, cell)
    except CakewrightError as wrong:
        troubles.append(wrong)
    return {
        "tray": tray,
        "cell": cell,
        "files": desk.inbox.seen(tray),
        "has_list": desk.inbox.orders(tray) is not None,
        "order_lines": lines,
        "absent": absent,
        "troubles": troubles,
        "people": [p.name for p in cell.people] if cell else [],
        "zone": cell.zone if cell else ZoneInfo("UTC"),
    }


def begin_quote(shelf: Shelf, desk: JobDesk, word: str) -> int:
    """Make the quote of what is kept under a word, in the newest plan; the number of the job."""
    newest = shelf.store.newest()
    plan = shelf.whole_plan(newest) if newest is not None else None
    return desk.quote(word, cell=cell_of(desk), plan=plan)


def cell_of(desk: JobDesk) -> Cell:
    """The cell that quotes are made for; InputError while there is none."""
    cell = desk.cell()
    if cell is None:
        raise InputError("no cell is described yet", remedy="plan a week first; its cell is used for quotes")
    return cell


def _zone(desk: JobDesk) -> ZoneInfo:
    cell = desk.cell()
    return cell.zone if cell else ZoneInfo("UTC")


async def _events(shelf: Shelf, request: Request, number: int, speech: Speech) -> AsyncIterator[str]:
    last = ""
    while not await request.is_disconnected():
        seen = await run_in_threadpool(shelf.store.job, number)
        words = {"said": seen.state.value, "stage": seen.stage, "note": seen.note}
        told = asdict(seen) | {k: speech.word(v) for k, v in words.items()}
        text = json.dumps({k: str(v) if k.endswith("_at") else v for k, v in told.items()})
        if text != last:
            last = text
            yield f"event: job\ndata: {text}\n\n"
        if seen.state.is_final:
            return
        await asyncio.sleep(POLL_S)
