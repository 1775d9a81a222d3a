"""How many requests one person may make in a minute: a script that runs wild must not keep the others waiting."""

from __future__ import annotations

import math
import time

from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from cakewright.web.trouble import Trouble, answer

FREE = ("/static/", "/words/", "/manifest.webmanifest", "/worker.js", "/api/v1/health")


class Pace:
    """The requests of the last minute by account, by address for those who have not logged in; 0 sets no limit.

    Counted by this program alone: several servers on one database each allow so many.
    """

    def __init__(self, per_minute: int = 0) -> None:
        self.per_minute = per_minute
        self._limiter = MovingWindowRateLimiter(MemoryStorage())

    def wait_s(self, who: str) -> int:
        """Count a request; whole seconds to wait when there were too many, 0 when it may go on."""
        if self.per_minute <= 0:
            return 0
        item = RateLimitItemPerMinute(self.per_minute)
        if self._limiter.hit(item, who):
            return 0
        return max(1, math.ceil(self._limiter.get_window_stats(item, who).reset_time - time.time()))


class Paced:
    """Answers 429 to who asks too often. Stands behind the door, which says who it is."""

    def __init__(self, app: ASGIApp, pace: Pace) -> None:
        self.app, self.pace = app, pace

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or say how long to wait."""
        if scope["type"] != "http" or scope["path"].startswith(FREE):
            await self.app(scope, receive, send)
            return
        account = scope.get("state", {}).get("account")
        client = scope.get("client")
        who = f"account {account.name}" if account else f"address {client[0] if client else '?'}"
        wait = self.pace.wait_s(who)
        if not wait:
            await self.app(scope, receive, send)
            return
        trouble = Trouble(
            code="pace",
            found=f"more than {self.pace.per_minute} requests in a minute by {who}",
            remedy=f"wait {wait} s; a script asks for lists instead of single things, or waits between two requests",
            where=scope["path"],
        )
        said = await run_in_threadpool(answer, Request(scope, receive), 429, trouble)
        said.headers["Retry-After"] = str(wait)
        await said(scope, receive, send)
