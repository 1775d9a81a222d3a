"""Every address of the pages and of the interface, in the order in which they are held against what is asked for."""

from __future__ import annotations

from functools import cache

from fastapi import APIRouter, Depends
from starlette.routing import BaseRoute

from cakewright.web import (
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
    packing,
    pages,
    part,
    powder,
    powder_api,
    powder_book,
    powder_build,
    powder_change,
    quotes,
    revise,
    run_extras,
    running,
    scale,
    service,
    specimens,
    stopped,
    training,
    upkeep,
    what_if,
    wishes,
)
from cakewright.web.speech import hear

ROUTERS = (
    api.router,
    bench.interface,
    heat.interface,
    heat.pages,
    nest.interface,
    nest.pages,
    wishes.interface,
    wishes.pages,
    inbox.interface,
    inbox.pages,
    offline.router,
    metrics.router,
    live.router,
    inspect.pages,
    finish.pages,
    upkeep.pages,
    service.pages,
    scale.pages,
    machine_file.pages,
    specimens.pages,
    packing.pages,
    training.pages,
    run_extras.pages,
    floor.interface,
    floor.pages,
    customers.pages,
    quotes.interface,
    quotes.pages,
    revise.interface,
    revise.pages,
    powder_api.interface,
    powder.router,
    powder_book.router,
    powder_change.router,
    powder_build.router,
    display.router,
    calendar.interface,
    calendar.pages,
    order_status.pages,
    pages.router,
    part.pages,
    part.interface,
    bench.pages,
    again.interface,
    again.pages,
    stopped.interface,
    stopped.pages,
    what_if.interface,
    what_if.pages,
    answered.interface,
    running.pages,
    numbers.interface,
    numbers.pages,
    guard.router,
)


@cache
def routes() -> tuple[BaseRoute, ...]:
    """The routes, built once for all applications of a process: a request brings the store that it is asked of."""
    house = APIRouter(dependencies=[Depends(hear)])
    for router in ROUTERS:
        house.include_router(router)
    return tuple(house.routes)
