"""Two sites with one order book: each order goes to one of them, each site plans its week, one promise is given.

A site is a cell with its own machines, people and calendar, and the hours that finished work takes from there to where
the customer gets it. Orders are not split between sites: one order, one parcel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

from cakewright.app.plan_week import plan_week
from cakewright.documents.tables import csv_text
from cakewright.errors import InputError
from cakewright.formats.orders_csv import read_orders
from cakewright.model.cell import Cell
from cakewright.model.order import OrderLine, OrderList
from cakewright.model.plan import LinePromise, SetAside, WeekPlan


@dataclass(frozen=True, eq=False)
class Site:
    """A cell and the hours on the road from it to the customer's counter (0: handed over there)."""

    cell: Cell
    transport_h: float = 0.0

    @property
    def name(self) -> str:
        """The name of its cell."""
        return self.cell.name


@dataclass(frozen=True, eq=False)
class SitesPlan:
    """The plan of each site that got orders; for every line of the book its site and what is promised at the counter.

    Dates of `promises` include the road; `plans` say when the line is packed where it is made.
    """

    plans: Mapping[str, WeekPlan]
    site_of: Mapping[int, str]
    promises: tuple[LinePromise, ...]
    set_aside: tuple[SetAside, ...]


def read_book(path: str | Path, sites: Sequence[Site]) -> OrderList:
    """One order list for all sites: a material, finish or class must be known to one of them."""
    return read_orders(path, _together(sites))


def plan_sites(orders: OrderList, sites: Sequence[Site], parts: str | Path, **how: Any) -> SitesPlan:
    """Share the orders out, plan each site, promise each line at the counter. `how` goes to `plan_week`."""
    if len({site.name for site in sites}) < len(sites) or not sites:
        raise InputError("two sites have the same name", remedy="name the cells apart in their files", where="--cell")
    if any(not math.isfinite(site.transport_h) or site.transport_h < 0 for site in sites):
        raise InputError("a time on the road below zero", remedy="give hours, 0 for none", where="--road")
    site_of, nowhere = share_out(orders.lines, sites)
    plans, promises = {}, []
    for site in sites:
        mine = tuple(_before_the_road(line, site) for line in orders.lines if site_of.get(line.line) == site.name)
        if mine:
            plan = plans[site.name] = plan_week(OrderList(orders.source, mine, ()), site.cell, parts, **how)
            promises += [_at_the_counter(p, orders, site) for p in plan.promises]
    aside = [*nowhere, *(a for plan in plans.values() for a in plan.set_aside)]
    by_line = tuple(sorted(promises, key=lambda p: p.line))
    return SitesPlan(plans, site_of, by_line, tuple(sorted(aside, key=lambda a: a.line)))


def promises_csv(orders: OrderList, made: SitesPlan, counter: Cell) -> str:
    """A table of what is promised for each line, in the time of the counter's cell."""
    of = {line.line: line for line in orders.lines}
    columns = ("line", "order", "customer", "part", "pieces", "site", "due", "ready", "p90", "late")
    rows: list[Sequence[object]] = []
    for promise in made.promises:
        line = of[promise.line]
        ready, p90 = (
            "" if when is None else f"{when.astimezone(counter.zone):%Y-%m-%d %H:%M}"
            for when in (promise.ready, promise.p90)
        )
        rows.append((line.line, line.order, line.customer, line.title, line.quantity, made.site_of[line.line], line.due,
                     ready, p90, "late" if promise.is_late else ""))  # fmt: skip
    return csv_text(columns, rows)


def share_out(lines: Sequence[OrderLine], sites: Sequence[Site]) -> tuple[dict[int, str], tuple[SetAside, ...]]:
    """A site for each line, whole orders, the most urgent first; lines of orders that no site can make as a whole.

    An order goes where the pieces of a machine are fewest after it came. Of two sites alike the one nearer to the
    counter gets it; one from which it could not arrive by its day even if it were packed today gets it last.
    """
    orders: dict[str, list[OrderLine]] = {}
    for line in sorted(lines, key=lambda line: (line.due, line.line)):
        orders.setdefault(line.order, []).append(line)
    load = dict.fromkeys((site.name for site in sites), 0.0)
    site_of: dict[int, str] = {}
    nowhere: list[SetAside] = []
    for number, mine in orders.items():
        able = [site for site in sites if all(can_make(line, site.cell) for line in mine)]
        if not able:
            why = f"no single site has the material, finish and class of all lines of order {number}"
            nowhere += [SetAside(line.line, why, "split the order into one for each site") for line in mine]
            continue

        def burden(site: Site, mine: Sequence[OrderLine] = mine) -> tuple[bool, float, float]:
            too_far = any(_before_the_road(line, site).due < line.received for line in mine)
            return too_far, load[site.name] + _machine_share(mine, site.cell), site.transport_h

        best = min(able, key=burden)
        load[best.name] += _machine_share(mine, best.cell)
        site_of |= {line.line: best.name for line in mine}
    return site_of, tuple(nowhere)


def can_make(line: OrderLine, cell: Cell) -> bool:
    """True when the cell has a machine for the material, and knows finish and class."""
    return (
        any(m.takes(line.material) for m in cell.machines)
        and line.finish in {f.name for f in cell.finishes}
        and line.quality_class in {q.name for q in cell.classes}
    )


def _machine_share(lines: Sequence[OrderLine], cell: Cell) -> float:
    """Work of an order for each machine that can take it: cm³ where the list says so, pieces otherwise."""
    return sum(
        line.quantity * (line.nominal_volume_cm3 or 1.0) / sum(m.takes(line.material) for m in cell.machines)
        for line in lines
    )


def _before_the_road(line: OrderLine, site: Site) -> OrderLine:
    """The line as its site sees it: due so much earlier that it is at the counter on its day."""
    packed_by = datetime.combine(line.due, time(23, 59)) - timedelta(hours=site.transport_h)
    return replace(line, due=packed_by.date() if site.transport_h else line.due)


def _at_the_counter(promise: LinePromise, orders: OrderList, site: Site) -> LinePromise:
    """The promise with the road in it, against the day that the customer asked for."""
    line = next(line for line in orders.lines if line.line == promise.line)
    due_by = datetime.combine(line.due, time(23, 59), site.cell.zone).astimezone(promise.due_by.tzinfo)
    road = timedelta(hours=site.transport_h)
    said = f"made at {site.name}" + (f", {site.transport_h:g} h on the road" if road else "")
    return replace(
        promise,
        ready=_after(promise.ready, road),
        p50=_after(promise.p50, road),
        p90=_after(promise.p90, road),
        if_fails=_after(promise.if_fails, road),
        due_by=due_by,
        reason=f"{said}; {promise.reason}",
    )


def _after(when: datetime | None, road: timedelta) -> datetime | None:
    return None if when is None else when + road


def _together(sites: Sequence[Site]) -> Cell:
    """A cell that knows every material, finish and class of all: only to read the order book with."""
    first = sites[0].cell
    for site in sites[1:]:
        more: dict[str, Any] = {
            kind: (*getattr(first, kind), *(x for x in getattr(site.cell, kind)
                                            if x.name not in {y.name for y in getattr(first, kind)}))
            for kind in ("materials", "stations", "finishes", "classes")
        }  # fmt: skip
        first = replace(first, **more)
    return first
