"""Headers that keep a page to itself: nothing from elsewhere, nothing inline, nobody's frame."""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # no-referrer would make browsers send "Origin: null" with our own forms
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
LOCAL_HOSTS = ["127.0.0.1", "localhost", "[::1]"]  # another Host header means a stranger's page talks to us


READING = ("GET", "HEAD", "OPTIONS")


class OwnPagesOnly:
    """Refuses writing that another site's page asks for: the browser names where a request comes from."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what only reads and what our own pages or a script on this machine send."""
        if scope["type"] == "http" and scope["method"] not in READING and _is_foreign(Headers(scope=scope)):
            said = {"code": "foreign", "found": "another site asked for this", "remedy": "use the pages", "where": ""}
            await JSONResponse({"error": said}, status_code=403)(scope, receive, send)
            return
        await self.app(scope, receive, send)


def _is_foreign(headers: Headers) -> bool:
    origin = headers.get("origin")
    if origin is not None:
        return urlsplit(origin).netloc != headers.get("host", "")
    return headers.get("sec-fetch-site", "none") not in ("none", "same-origin")


class SecureHeaders:
    """Adds the headers to every answer, also to errors."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, adding headers when the answer starts."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                if "cache-control" not in headers:
                    headers["cache-control"] = "no-store"
            await send(message)

        await self.app(scope, receive, sending)
