"""Errors as answers: one shape in JSON, one page for people, never a stack trace."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel
from starlette.exceptions import HTTPException

from cakewright.errors import BusyError, CakewrightError, StoreError, disk_trouble
from cakewright.web.look import page
from cakewright.web.security import HEADERS

API = "/api/"


class Trouble(BaseModel):
    """What went wrong: a stable code, what was found, what to do, where."""

    code: str
    found: str
    remedy: str = ""
    where: str = ""


class TroubleAnswer(BaseModel):
    """The one shape of every error of the interface."""

    error: Trouble


class NotThereError(CakewrightError):
    """The address names something that does not exist."""

    code = "not-found"


RESPONSES: dict[int | str, dict[str, Any]] = {
    404: {"model": TroubleAnswer, "description": "There is no such thing."},
    422: {"model": TroubleAnswer, "description": "The question cannot be answered as it was put."},
    503: {"model": TroubleAnswer, "description": "The database cannot be used right now."},
}


def install(app: FastAPI) -> None:
    """Answer every kind of error in our shape."""
    app.add_exception_handler(CakewrightError, _ours)
    app.add_exception_handler(RequestValidationError, _unreadable)
    app.add_exception_handler(HTTPException, _plain)
    app.add_exception_handler(OSError, _disk)
    app.add_exception_handler(Exception, _fault)


def answer(request: Request, status: int, trouble: Trouble) -> Response:
    """The error as JSON below /api/, as a page elsewhere."""
    if request.url.path.startswith(API):
        return JSONResponse({"error": trouble.model_dump()}, status_code=status)
    return page(request, "trouble.html", status=status, trouble=trouble, http_status=status)


def _ours(request: Request, wrong: Exception) -> Response:
    assert isinstance(wrong, CakewrightError)
    status = 404 if isinstance(wrong, NotThereError) else 503 if isinstance(wrong, StoreError) else 422
    said = answer(request, status, Trouble(code=wrong.code, found=wrong.found, remedy=wrong.remedy, where=wrong.where))
    if isinstance(wrong, BusyError):
        said.headers["Retry-After"] = "2"
    return said


def _unreadable(request: Request, wrong: Exception) -> Response:
    assert isinstance(wrong, RequestValidationError)
    first = wrong.errors()[0]
    where = ".".join(str(step) for step in first.get("loc", ()))
    found = f"{first.get('msg', 'cannot be read')} (given: {str(first.get('input', ''))[:60]!r})"
    remedy = "correct the address; /api/docs describes it"
    return answer(request, 422, Trouble(code="request", found=found, remedy=remedy, where=where))


def _plain(request: Request, wrong: Exception) -> Response:
    assert isinstance(wrong, HTTPException)
    if wrong.status_code == 404:
        trouble = Trouble(code="not-found", found="there is no such page", remedy="start again at the first page",
                          where=request.url.path)  # fmt: skip
    else:
        trouble = Trouble(code="request", found=str(wrong.detail), where=request.url.path)
    return answer(request, wrong.status_code, trouble)


def _disk(request: Request, wrong: Exception) -> Response:
    assert isinstance(wrong, OSError)
    told = disk_trouble(wrong)
    return _fault(request, wrong) if told is None else _ours(request, told)


def _fault(request: Request, wrong: Exception) -> Response:
    trouble = Trouble(
        code="fault",
        found=f"a fault in the program ({type(wrong).__name__})",
        remedy="nothing was lost; do it again, and report it if it stays",
        where=request.url.path,
    )
    said = answer(request, 500, trouble)
    said.headers.update(HEADERS)  # a fault is answered outside the layer that adds them
    return said
