"""The door: with accounts nobody passes without a session or token, and every change is put on record."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import cookie_parser
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from cakewright.app.accounts import log_in, may
from cakewright.errors import InputError
from cakewright.store import Store
from cakewright.store.accounts import Account
from cakewright.web.limited import HOME, is_open_to
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, shelf_of

router = APIRouter(include_in_schema=False)
COOKIE = "cakewright"
OPEN = ("/login", "/static/", "/display", "/words/", "/manifest.webmanifest", "/worker.js", "/api/v1/health")
READING = ("GET", "HEAD", "OPTIONS")
ASKING = (
    "/nest/judged",
    "/tasks/judged",
    "/display",
)  # posts that change nothing of the cell: everybody may ask, nothing is recorded
LOCAL = "this machine"


class Guard:
    """Lets pass who is known and may; puts what is changed on record. Without accounts everybody is 'this machine'."""

    def __init__(self, app: ASGIApp, store: Store, clock: Callable[[], datetime], *, asks: bool) -> None:
        self.app = app
        self.store = store
        self.clock = clock
        self.asks = asks

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or answer with the way to the login."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        path = scope["path"]
        method = "GET" if path.endswith(ASKING) else scope["method"]
        who = await run_in_threadpool(self._who, scope) if self.asks else None
        if self.asks and not path.startswith(OPEN):
            if who is None:
                await _to_login(scope)(scope, receive, send)
                return
            if not may(who, method, path):
                said = {
                    "code": "role",
                    "found": f"{who.role} may not do this",
                    "remedy": "ask a planner",
                    "where": path,
                }
                await run_in_threadpool(self._note, who.name, f"{method} {path}"[:300], 403)
                await JSONResponse({"error": said}, status_code=403)(scope, receive, send)
                return
        scope.setdefault("state", {})["account"] = who
        customers = await run_in_threadpool(self._limits, who)
        scope["state"]["customers"] = customers
        if customers and not path.startswith(OPEN):
            if (home := HOME.fullmatch(path)) is not None:
                await RedirectResponse(f"/plans/{home[1]}/lines", status_code=303)(scope, receive, send)
                return
            if not is_open_to(path, reads=method in READING):
                said = {
                    "code": "customers",
                    "found": "this account sees the lines and quotes of its own customers only",
                    "remedy": "ask a planner",
                    "where": path,
                }
                await run_in_threadpool(self._note, who.name if who else LOCAL, f"{method} {path}"[:300], 403)
                await JSONResponse({"error": said}, status_code=403)(scope, receive, send)
                return
        if method in READING:
            await self.app(scope, receive, send)
            return
        await self._recorded(scope, receive, send, who)

    async def _recorded(self, scope: Scope, receive: Receive, send: Send, who: Account | None) -> None:
        status = 500

        async def sending(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = int(message["status"])
            await send(message)

        try:
            await self.app(scope, receive, sending)
        finally:
            deed = f"{scope['method']} {scope['path']}"[:300]
            name = who.name if who else LOCAL
            await run_in_threadpool(self._note, name, deed, status)

    def _limits(self, who: Account | None) -> frozenset[str]:
        return self.store.customers.limits().get(who.name, frozenset()) if who else frozenset()

    def _note(self, name: str, deed: str, status: int) -> None:
        self.store.accounts.note_change(account_name=name, deed=deed, outcome=status, at=self.clock())

    def _who(self, scope: Scope) -> Account | None:
        headers = Headers(scope=scope)
        bearer = headers.get("authorization", "")
        token = bearer.removeprefix("Bearer ") if bearer.startswith("Bearer ") else ""
        token = token or cookie_parser(headers.get("cookie", "")).get(COOKIE, "")
        return self.store.accounts.of_token(token, now=self.clock()) if token else None


def _to_login(scope: Scope) -> Response:
    if scope["path"].startswith("/api/") or scope["method"] not in READING:
        said = {"code": "login", "found": "nobody is logged in", "remedy": "log in, or send a token", "where": ""}
        return JSONResponse({"error": said}, status_code=401)
    return RedirectResponse(f"/login?to={quote(scope['path'])}", status_code=303)


@router.get("/login")
def login_page(request: Request, to: str = "/") -> HTMLResponse:
    """Name and password."""
    return page(request, "login.html", to=inside(to), wrong=None)


@router.post("/login")
def login(
    request: Request,
    name: Annotated[str, Form(max_length=80)],
    password: Annotated[str, Form(max_length=300)],
    shelf: Annotated[Shelf, Depends(shelf_of)],
    to: Annotated[str, Form(max_length=300)] = "/",
) -> Response:
    """Open a session."""
    try:
        token = log_in(shelf.store, name, password, now=shelf.clock())
    except InputError as wrong:
        return page(request, "login.html", status=401, to=inside(to), wrong=wrong)
    answer = RedirectResponse(inside(to), status_code=303)
    answer.set_cookie(COOKIE, token, httponly=True, samesite="strict", secure=request.url.scheme == "https")
    return answer


@router.post("/logout")
def logout(request: Request, shelf: Annotated[Shelf, Depends(shelf_of)]) -> Response:
    """End the session."""
    token = request.cookies.get(COOKIE, "")
    if token:
        shelf.store.accounts.close_session(token)
    answer = RedirectResponse("/login", status_code=303)
    answer.delete_cookie(COOKIE)
    return answer


def inside(to: str) -> str:
    """Only our own pages: never lead a person elsewhere after the login."""
    return to if to.startswith("/") and not to.startswith(("//", "/\\")) else "/"
