"""Every request has an id: in the log, in the answer, and taken over from the proxy in front when it gave one."""

from __future__ import annotations

import logging
import re
import secrets
import time

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from cakewright.app.logs import LOG, tell

HEADER = "x-request-id"
_ID = re.compile(r"[A-Za-z0-9._-]{8,64}")


class Logged:
    """Names each request, logs its answer, and what went wrong with its trace."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on; one line when the answer begins."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        asked = Headers(scope=scope).get(HEADER, "")
        name = asked if _ID.fullmatch(asked) else secrets.token_hex(8)
        state = scope.setdefault("state", {})
        state["request_id"] = name
        began = time.perf_counter()

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message)[HEADER] = name
                who = state.get("account")
                status = int(message["status"])
                tell(
                    "request", level=logging.ERROR if status >= 500 else logging.INFO, id=name,
                    method=scope["method"], path=scope["path"], status=status,
                    seconds=round(time.perf_counter() - began, 4), account=who.name if who is not None else "",
                )  # fmt: skip
            await send(message)

        try:
            await self.app(scope, receive, sending)
        except Exception:
            LOG.exception("fault", extra={"told": {"id": name, "path": scope["path"]}})
            raise
