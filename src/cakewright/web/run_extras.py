"""Beside the start of a build: notes, pictures, moves of its chamber, the warp list."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from cakewright.app import run_build, run_notes, warp_list
from cakewright.app.read_label import read_label
from cakewright.errors import InputError, StoreError
from cakewright.store.photos import LARGEST_BYTES
from cakewright.web.acting import acting_name
from cakewright.web.shelf import Shelf, build_of, shelf_of
from cakewright.web.trouble import NotThereError
from cakewright.web.typed import happened, number

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Short = Annotated[str, Form(max_length=120)]
RUN = "/plans/{version}/builds/{key}/run"


@pages.post(RUN + "/note")
def note(
    shelf: Plans, version: int, key: str, text: Annotated[str, Form(max_length=500)], by: Short, layer: Short = "",
    when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """What somebody saw."""
    plan, now = shelf.plan(version), shelf.clock()
    at_layer = int(number(layer, "layer")) if layer else None
    run_notes.note(shelf.store, plan, build_of(plan, key), text, by=by, at=happened(when, now), layer=at_layer,
                   uid=uid, kept_at=now)  # fmt: skip
    return _back(version, key, by)


@pages.post(RUN + "/move")
def move(
    shelf: Plans, version: int, key: str, chamber: Short, to: Short, by: Short, when: Short = "", uid: Short = ""
) -> Response:
    """The chamber was moved."""
    plan, now = shelf.plan(version), shelf.clock()
    run_notes.move_chamber(shelf.store, plan, build_of(plan, key), chamber, to, by=by, at=happened(when, now), uid=uid,
                           kept_at=now)  # fmt: skip
    return _back(version, key, by)


@pages.post(RUN + "/photo")
def photo(
    shelf: Plans, version: int, key: str, by: Short, note: Annotated[str, Form(max_length=300)] = "",
    picture: Annotated[str, Form()] = "", file: Annotated[UploadFile | None, File()] = None, when: Short = "",
    uid: Short = "",
) -> Response:  # fmt: skip
    """A picture: made small by the tablet as text, or a file from a browser without scripts."""
    plan, now = shelf.plan(version), shelf.clock()
    content: bytes | str = picture
    if not picture and file is not None:
        content = file.file.read(LARGEST_BYTES + 1)
    if not content:
        raise InputError("there is no picture", remedy="take one, or choose a file", where="photo")
    run_notes.keep_photo(shelf.store, plan, build_of(plan, key), content, by=by, at=happened(when, now), kept_at=now,
                         note=note, uid=uid)  # fmt: skip
    return _back(version, key, by)


@pages.post(RUN + "/scan-picture")
def scan_picture(
    shelf: Plans, request: Request, version: int, key: str, by: Short, picture: Annotated[str, Form()] = "",
    file: Annotated[UploadFile | None, File()] = None, when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """A label is held against the build by a picture of it: the code is read here, then judged like a typed one."""
    plan, now = shelf.plan(version), shelf.clock()
    build = build_of(plan, key)
    code = read_label(picture or (file.file.read(LARGEST_BYTES + 1) if file is not None else b""))
    by = acting_name(getattr(request.state, "account", None), by)
    run_build.scan(shelf.store, plan, build, code, by=by, at=happened(when, now), uid=uid, kept_at=now)
    return _back(version, key, by)


@pages.get("/photos/{number}")
def picture(shelf: Plans, number: int) -> Response:
    """One picture as it was kept."""
    try:
        kind, content = shelf.store.photos.content(number)
    except StoreError as wrong:
        raise NotThereError(wrong.found, remedy=wrong.remedy) from wrong
    headers = {"cache-control": "max-age=31536000, immutable", "x-content-type-options": "nosniff"}
    return Response(content, media_type=kind, headers=headers)


@pages.post(RUN + "/warp")
def warp(
    shelf: Plans, version: int, key: str, verdict: Short, by: Short, piece: Annotated[list[str] | None, Form()] = None,
    when: Short = "", uid: Short = "",
) -> Response:  # fmt: skip
    """Somebody looked at pieces of the warp list."""
    plan, now = shelf.plan(version), shelf.clock()
    warp_list.look_at_piece(shelf.store, plan, build_of(plan, key), tuple(piece or ()), verdict, by=by,
                            at=happened(when, now), uid=uid, kept_at=now)  # fmt: skip
    return _back(version, key, by)


def _back(version: int, key: str, by: str) -> Response:
    return RedirectResponse(f"/plans/{version}/builds/{key}/run?{urlencode({'by': by})}", status_code=303)
