"""The application: pages and interface over one store."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path

from fastapi import Depends, FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware

from cakewright import __version__
from cakewright.app.jobs import JobDesk
from cakewright.app.worker import keep_ready
from cakewright.store import Store
from cakewright.web import (
    acting,
    again,
    answered,
    api,
    bench,
    calendar,
    customers,
    display,
    finish,
    floor,
    guard,
    heat,
    inbox,
    inspect,
    live,
    machine_file,
    metrics,
    nest,
    numbers,
    offline,
    order_status,
    pace,
    packing,
    pages,
    part,
    powder,
    powder_api,
    powder_book,
    powder_build,
    powder_change,
    quotes,
    requests,
    revise,
    run_extras,
    running,
    scale,
    service,
    specimens,
    stopped,
    training,
    trouble,
    upkeep,
    what_if,
    wishes,
)
from cakewright.web.files import LastingFiles
from cakewright.web.made_ready import make_ready
from cakewright.web.security import LOCAL_HOSTS, OwnPagesOnly, SecureHeaders
from cakewright.web.shelf import Shelf
from cakewright.web.speech import hear
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
        dependencies=[Depends(hear)],
    )
    app.state.shelf = Shelf(store, clock)
    app.state.desk = desk
    app.state.watch = Watch(store)
    trouble.install(app)
    app.include_router(api.router)
    app.include_router(bench.interface)
    app.include_router(heat.interface)
    app.include_router(heat.pages)
    app.include_router(nest.interface)
    app.include_router(nest.pages)
    app.include_router(wishes.interface)
    app.include_router(wishes.pages)
    app.include_router(inbox.interface)
    app.include_router(inbox.pages)
    app.include_router(offline.router)
    app.include_router(metrics.router)
    app.include_router(live.router)
    app.include_router(inspect.pages)
    app.include_router(finish.pages)
    app.include_router(upkeep.pages)
    app.include_router(service.pages)
    app.include_router(scale.pages)
    app.include_router(machine_file.pages)
    app.include_router(specimens.pages)
    app.include_router(packing.pages)
    app.include_router(training.pages)
    app.include_router(run_extras.pages)
    app.include_router(floor.interface)
    app.include_router(floor.pages)
    app.include_router(customers.pages)
    app.include_router(quotes.interface)
    app.include_router(quotes.pages)
    app.include_router(revise.interface)
    app.include_router(revise.pages)
    app.include_router(powder_api.interface)
    app.include_router(powder.router)
    app.include_router(powder_book.router)
    app.include_router(powder_change.router)
    app.include_router(powder_build.router)
    app.include_router(display.router)
    app.include_router(calendar.interface)
    app.include_router(calendar.pages)
    app.include_router(order_status.pages)
    app.include_router(pages.router)
    app.include_router(part.pages)
    app.include_router(part.interface)
    app.include_router(bench.pages)
    app.include_router(again.interface)
    app.include_router(again.pages)
    app.include_router(stopped.interface)
    app.include_router(stopped.pages)
    app.include_router(what_if.interface)
    app.include_router(what_if.pages)
    app.include_router(answered.interface)
    app.include_router(running.pages)
    app.include_router(numbers.interface)
    app.include_router(numbers.pages)
    app.mount("/static", LastingFiles(directory=HERE / "static"), name="static")
    app.include_router(guard.router)
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
