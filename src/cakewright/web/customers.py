"""Customers: how much is kept of each and until when, an export of everything, deletion with its report."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.app.customer_export import export_customer
from cakewright.app.customers import delete_customer, due, keep_until
from cakewright.app.floor_note import day_of
from cakewright.errors import InputError
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, shelf_of

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
Name = Annotated[str, Form(max_length=120)]
HERE = "this machine"


@pages.get("/customers")
def customers(shelf: Plans, request: Request) -> HTMLResponse:
    """Every customer with what is kept, the day, and who sees it."""
    return _shown(shelf, request)


@pages.post("/customers/day")
def set_day(
    shelf: Plans, request: Request, customer: Name, day: Annotated[str, Form(max_length=10)] = "", note: Name = ""
) -> Response:
    """From which day the files are to be deleted; an empty day takes it back."""
    when = day_of(day, "day") if day else None
    keep_until(shelf.store, customer, when, by=_acting(request), at=shelf.clock(), note=note)
    return RedirectResponse("/customers", status_code=303)


@pages.post("/customers/export")
def export(shelf: Plans, customer: Name) -> Response:
    """Everything about a customer as one zip file. Asked for by a form, so that it is on record."""
    with tempfile.TemporaryDirectory(prefix="export-") as folder:
        path = Path(folder) / "export.zip"
        export_customer(shelf.store, customer, path, at=shelf.clock())
        content = path.read_bytes()
    name = "".join(c if c.isascii() and c.isalnum() else "-" for c in customer)[:60]
    kept = {"content-disposition": f'attachment; filename="{name}.zip"'}
    return Response(content, media_type="application/zip", headers=kept)


@pages.post("/customers/delete")
def delete(
    shelf: Plans, request: Request, customer: Name, name_again: Name, although_open: Annotated[str, Form()] = ""
) -> HTMLResponse:
    """Delete files and shapes; the name has to be written once more."""
    if name_again.strip() != customer:
        raise InputError(
            f"{name_again[:60]!r} is not the name", remedy=f"write {customer} once more to delete its files"
        )
    report = delete_customer(shelf.store, customer, by=_acting(request), at=shelf.clock(),
                             although_open=bool(although_open))  # fmt: skip
    shelf.forget()
    return _shown(shelf, request, report=report)


def _shown(shelf: Shelf, request: Request, report: str = "") -> HTMLResponse:
    limits = shelf.store.customers.limits()
    facts = shelf.store.customers.facts()
    waiting = {f.name for f in due(shelf.store, shelf.clock().date())}
    seen_by = {f.name: sorted(name for name, only in limits.items() if f.name in only) for f in facts}
    return page(request, "customers.html", facts=facts, waiting=waiting, seen_by=seen_by, report=report,
                deletions=shelf.store.customers.deletions())  # fmt: skip


def _acting(request: Request) -> str:
    account = getattr(request.state, "account", None)
    return account.name if account is not None else HERE
