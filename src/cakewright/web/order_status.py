"""The page for a customer who asks where the parts are: own lines, stage and date, nothing of anybody else."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse

from cakewright.app.order_stage import order_stages
from cakewright.app.plans import shown_moment
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, moment_of, shelf_of, shown_of

pages = APIRouter(include_in_schema=False)


@pages.get("/plans/{version}/orders/status")
def order_status(
    shelf: Annotated[Shelf, Depends(shelf_of)],
    request: Request,
    version: int,
    order: Annotated[str, Query(max_length=120)] = "",
    at: Annotated[str, Query(max_length=40)] = "",
) -> HTMLResponse:
    """Stage and date of every line of one order; the first order when none is named."""
    plan = shelf.plan(version)
    orders = list(dict.fromkeys(line.order for line in plan.orders.lines))
    when = moment_of(plan, at) if at else shown_moment(plan, shelf.clock())
    chosen = order or (orders[0] if orders else "")
    customer, stages = order_stages(plan, chosen, when, shelf.store.schedule.progress_of(version))
    return page(
        request, "order_status.html", **shown_of(shelf, plan, "/papers"), order=chosen, customer=customer,
        stages=stages, at=when, orders=orders,
    )  # fmt: skip
