"""Who does what is asked for: with accounts, the login. A name of somebody else in a form is not taken at its word."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import datetime
from typing import Any
from urllib.parse import parse_qsl, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from cakewright.app.accounts import is_signed_by
from cakewright.app.authority import ENTERED
from cakewright.store import Store
from cakewright.store.accounts import Account

FIELD, SIGN = "by", "by_password"
FORM, JSON_KIND, FILES = "application/x-www-form-urlencoded", "application/json", "multipart/form-data"
LARGEST_BYTES = 16_000_000
SECOND_PERSON = ("/release",)  # steps that need two people: the other one signs with a password of their own
LONGEST = 38


class NeedsSignatureError(Exception):
    """Somebody else was named for a step that needs that person."""


def entered(said: str, login: str) -> str:
    """How a word of somebody is recorded that another person typed in."""
    return f"{said.strip()[:LONGEST]}{ENTERED}{login[:LONGEST]}"


class ActingPerson:
    """Puts the login in the place of the name in forms, addresses and JSON; without accounts it changes nothing.

    A different name is recorded as 'X, entered by Y', unless X signs with their own password (`by_password`). For
    steps of two people the signature is needed.
    """

    def __init__(self, app: ASGIApp, store: Store, clock: Callable[[], datetime]) -> None:
        self.app = app
        self.store = store
        self.clock = clock

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, with the name put right."""
        who = scope.get("state", {}).get("account") if scope["type"] == "http" else None
        if who is None:
            await self.app(scope, receive, send)
            return
        if scope["method"] in ("GET", "HEAD"):
            await self.app(_named_in_address(scope, who), receive, send)
            return
        headers = Headers(scope=scope)
        told = headers.get("content-type", "")
        kind = told.partition(";")[0].strip().lower()
        size = headers.get("content-length", "")
        is_large = not size.isdecimal() or int(size) > LARGEST_BYTES
        if kind not in (FORM, JSON_KIND, FILES) or (kind == FILES and is_large):  # large files: `acting_name`
            await self.app(scope, receive, send)
            return
        body = await _body(receive)
        try:
            body = await run_in_threadpool(self._put_right, body, told, scope["path"], who)
        except NeedsSignatureError as wrong:
            said = {"code": "signature", "found": str(wrong), "where": FIELD,
                    "remedy": "log in as that person, or give that person's password beside the name"}  # fmt: skip
            await JSONResponse({"error": said}, status_code=403)(scope, receive, send)
            return
        except (ValueError, RecursionError):  # not what it says it is: the page behind answers that
            pass
        kept = [(k, v) for k, v in scope["headers"] if k != b"content-length"]
        kept.append((b"content-length", str(len(body)).encode()))
        await self.app({**scope, "headers": kept}, _again(body, receive), send)

    def _put_right(self, body: bytes, told: str, path: str, who: Account) -> bytes:
        kind = told.partition(";")[0].strip().lower()
        if kind == FILES:
            boundary = re.escape(told.partition("boundary=")[2].strip('" ').encode())
            field = re.compile(rb"(--" + boundary + rb'\r\n[^\r\n]*name="by"\r\n\r\n)([^\r\n]*)(?=\r\n)')
            return field.sub(lambda m: m[1] + self._name(m[2].decode(), "", path, who).encode(), body)
        if kind == FORM:
            pairs = parse_qsl(body.decode(), keep_blank_values=True, max_num_fields=5000)
            given = dict(pairs)
            if FIELD not in given:
                return body
            name = self._name(given[FIELD], given.get(SIGN, ""), path, who)
            return urlencode([(k, name if k == FIELD else v) for k, v in pairs if k != SIGN]).encode()
        content = json.loads(body)
        for entry in content if isinstance(content, list) else [content]:
            if isinstance(entry, dict) and isinstance(entry.get(FIELD), str):
                entry[FIELD] = self._name(entry[FIELD], str(entry.pop(SIGN, "")), path, who)
        return json.dumps(content).encode()

    def _name(self, said: str, password: str, path: str, who: Account) -> str:
        said = said.strip()
        if not said or said == who.name or said == entered(said.partition(ENTERED)[0], who.name):
            return said or who.name
        if password:
            if is_signed_by(self.store, said, password, now=self.clock()):
                return said
            raise NeedsSignatureError(f"that is not the password of {said[:80]}")
        if path.endswith(SECOND_PERSON):
            raise NeedsSignatureError(f"{said[:80]} has to sign for this; {who.name} is logged in")
        return entered(said, who.name)


def acting_name(account: Account | None, said: str) -> str:
    """The same for a form that carries a file."""
    if account is None:
        return said
    if said.strip() in ("", account.name):
        return account.name
    is_said = said.endswith(f"{ENTERED}{account.name[:LONGEST]}")  # a small form was put right before
    return said if is_said else entered(said, account.name)


def _named_in_address(scope: Scope, who: Account) -> Scope:
    pairs = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
    if any(key == FIELD and value for key, value in pairs):
        return scope
    pairs = [(k, v) for k, v in pairs if k != FIELD] + [(FIELD, who.name)]
    return {**scope, "query_string": urlencode(pairs).encode()}


async def _body(receive: Receive) -> bytes:
    found = bytearray()
    while len(found) <= LARGEST_BYTES:
        message = await receive()
        found += message.get("body", b"")
        if message["type"] == "http.disconnect" or not message.get("more_body", False):
            break
    return bytes(found)


def _again(body: bytes, receive: Receive) -> Receive:
    given = False

    async def told() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        message: dict[str, Any] = {"type": "http.request", "body": body, "more_body": False}
        return message

    return told
