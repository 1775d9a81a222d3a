"""Numbers for a watcher: OpenMetrics text of requests, jobs, plans and the size of the database."""

from __future__ import annotations

import threading
import time
from collections import Counter

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from cakewright import __version__
from cakewright.web.shelf import Shelf, shelf_of

router = APIRouter(include_in_schema=False)
KIND = "application/openmetrics-text; version=1.0.0; charset=utf-8"
BOUNDS_S = (0.05, 0.15, 0.5, 1.0, 5.0)


class Meter:
    """Counts answers by status, and how many came within each bound."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self.statuses: Counter[int] = Counter()
        self.within: Counter[float] = Counter()
        self.seconds = 0.0

    def add(self, status: int, seconds: float) -> None:
        """One answer."""
        with self._lock:
            self.statuses[status] += 1
            self.seconds += seconds
            for bound in BOUNDS_S:
                self.within[bound] += seconds <= bound

    def lines(self) -> list[str]:
        """OpenMetrics lines."""
        with self._lock:
            total = sum(self.statuses.values())
            rows = ["# TYPE cakewright_answers counter"]
            rows += [f'cakewright_answers_total{{status="{s}"}} {n}' for s, n in sorted(self.statuses.items())]
            rows.append("# TYPE cakewright_answer_seconds histogram")
            rows += [f'cakewright_answer_seconds_bucket{{le="{b:g}"}} {self.within[b]}' for b in BOUNDS_S]
            rows += [f'cakewright_answer_seconds_bucket{{le="+Inf"}} {total}',
                     f"cakewright_answer_seconds_sum {self.seconds:.6f}",
                     f"cakewright_answer_seconds_count {total}"]  # fmt: skip
        return rows


class Metered:
    """Measures every answer; streams that stay open count until they begin."""

    def __init__(self, app: ASGIApp, meter: Meter) -> None:
        self.app = app
        self.meter = meter

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, noting when the answer starts."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began = time.perf_counter()

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                self.meter.add(int(message["status"]), time.perf_counter() - began)
            await send(message)

        await self.app(scope, receive, sending)


@router.get("/metrics")
def metrics(request: Request, shelf: Shelf = Depends(shelf_of)) -> Response:  # noqa: B008
    """The numbers, for a watcher on this machine."""
    jobs = Counter(job.state.value for job in shelf.store.jobs())
    rows = ["# TYPE cakewright info", f'cakewright_info{{version="{__version__}"}} 1', "# TYPE cakewright_plans gauge",
            f"cakewright_plans {len(shelf.store.plans())}", "# TYPE cakewright_database_bytes gauge",
            f"cakewright_database_bytes {shelf.store.size_bytes}", "# TYPE cakewright_jobs gauge",
            *(f'cakewright_jobs{{state="{state}"}} {n}' for state, n in sorted(jobs.items())),
            *request.app.state.meter.lines(), "# EOF", ""]  # fmt: skip
    return Response("\n".join(rows), media_type=KIND)
