"""The application: pages and interface over one store."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware

from cakewright import __version__
from cakewright.app.jobs import JobDesk
from cakewright.app.worker import keep_ready
from cakewright.store import Store
from cakewright.web import acting, guard, metrics, pace, requests, trouble
from cakewright.web.files import LastingFiles
from cakewright.web.made_ready import make_ready
from cakewright.web.routes import routes
from cakewright.web.security import LOCAL_HOSTS, OwnPagesOnly, SecureHeaders
from cakewright.web.shelf import Shelf
from cakewright.web.watch import Watch

HERE = Path(__file__).parent


def now_utc() -> datetime:
    """The time at the machine."""
    return datetime.now(UTC)


def create_app(
    store: Store, *, clock: Callable[[], datetime] = now_utc, asks: bool = False, hosts: Sequence[str] = ()
) -> FastAPI:
    """The web application over `store`; `clock` says what time it is (tests and demos give their own).

    With `asks` nobody passes without logging in; `hosts` are further names by which this machine is called.
    """
    desk = JobDesk(store, clock)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        """Mark what the last run left unfinished; at the end stop what runs."""
        desk.recover()
        keep_ready()
        make_ready(app)
        yield
        desk.close()

    app = FastAPI(
        lifespan=lifespan,
        title="cakewright",
        version=__version__,
        description="Plans of a laser-sintering cell: builds, dates, powder, costs. Times are UTC, lengths mm.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
    )
    app.state.shelf = Shelf(store, clock)
    app.state.desk = desk
    app.state.watch = Watch(store)
    trouble.install(app)
    app.router.routes.extend(routes())
    app.mount("/static", LastingFiles(directory=HERE / "static"), name="static")
    app.add_middleware(acting.ActingPerson, store=store, clock=clock)
    app.state.pace = pace.Pace()
    app.add_middleware(pace.Paced, pace=app.state.pace)
    app.add_middleware(guard.Guard, store=store, clock=clock, asks=asks)
    app.add_middleware(GZipMiddleware, minimum_size=1024, compresslevel=6)
    app.add_middleware(OwnPagesOnly)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=[*LOCAL_HOSTS, *hosts])
    app.add_middleware(SecureHeaders)
    app.state.meter = metrics.Meter()
    app.add_middleware(metrics.Metered, meter=app.state.meter)
    app.add_middleware(requests.Logged)
    return app
