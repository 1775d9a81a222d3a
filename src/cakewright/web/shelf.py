"""The plans being looked at: read once from the store, then kept at hand, since a plan never changes."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from datetime import datetime
from threading import Lock
from typing import Any, TypeVar, cast
from zoneinfo import ZoneInfo

from fastapi import Request

from cakewright.app.noted_plan import as_noted
from cakewright.app.plans import shown_moment
from cakewright.app.show_part import PartPages
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan
from cakewright.store import Job, KeptOffer, Store
from cakewright.web.trouble import NotThereError

T = TypeVar("T")
AT_HAND = 4  # plans kept in memory: the newest and what it is compared with; a demo week takes about 50 MB


class Shelf:
    """Plans by version, and the clock that says what time it is at the machine."""

    def __init__(self, store: Store, clock: Callable[[], datetime]) -> None:
        self.store = store
        self.clock = clock
        self.part_pages = PartPages()
        self._plans: OrderedDict[int, WeekPlan] = OrderedDict()
        self._worked_out: dict[str, tuple[object, object]] = {}
        self._lock = Lock()

    def plan(self, version: int) -> WeekPlan:
        """The plan of a version; NotThereError when there is none."""
        with self._lock:
            if version in self._plans:
                self._plans.move_to_end(version)
                return self._plans[version]
            if version not in {summary.version for summary in self.store.plans()}:
                raise NotThereError(f"there is no plan version {version}", remedy="choose one from the list of plans")
            plan = self._plans[version] = self.store.load_plan(version)
            while len(self._plans) > AT_HAND:
                self._plans.popitem(last=False)
            return plan

    def once(self, name: str, mark: object, make: Callable[[], T]) -> T:
        """What is worked out once and kept until its `mark` changes."""
        with self._lock:
            kept = self._worked_out.get(name)
        if kept is None or kept[0] != mark:
            kept = self._worked_out[name] = mark, make()
        return cast(T, kept[1])

    def forget(self) -> None:
        """Read plans anew: what belongs to one of them was deleted from the store."""
        with self._lock:
            self._plans.clear()
            self.part_pages = PartPages()

    def whole_plan(self, version: int) -> WeekPlan:
        """The plan as it is: to compute with, whoever asks."""
        return self.plan(version)

    def shows(self, customer: str) -> bool:
        """Whether quotes of this customer may be seen: here, those of everybody."""
        return True

    def offers(self) -> tuple[KeptOffer, ...]:
        """The newest issue of every quote that may be seen, newest first."""
        return self.store.offers()

    def shows_job(self, job: Job) -> bool:
        """Whether this long work may be seen."""
        return True

    def check_customer(self, customer: str) -> None:
        """InputError when a quote for this customer may not be made; here it may."""


def shelf_of(request: Request) -> Shelf:
    """The shelf of this application as the account that asks sees it (a FastAPI dependency)."""
    shelf = request.app.state.shelf
    assert isinstance(shelf, Shelf)
    customers: frozenset[str] = getattr(request.state, "customers", frozenset())
    if customers:
        from cakewright.web.limited import LimitedShelf

        return LimitedShelf(shelf, customers)
    return shelf


def build_of(plan: WeekPlan, key: str) -> Build:
    """A build by its key; NotThereError when there is none."""
    for build in plan.builds:
        if build.key == key:
            return build
    known = ", ".join(b.key for b in plan.builds) or "none"
    raise NotThereError(f"plan {plan.version} has no build {key}", remedy=f"it has: {known}")


def line_of(plan: WeekPlan, number: int) -> OrderLine:
    """An order line by its number; NotThereError when there is none."""
    for line in plan.orders.lines:
        if line.line == number:
            return line
    raise NotThereError(f"plan {plan.version} has no line {number}", remedy="choose one from the list of lines")


def moment_of(plan: WeekPlan, text: str) -> datetime:
    """An instant from a form field in the cell's time ('2027-03-01T06:40'), or with its own zone."""
    return local_moment(text, plan.cell.zone)


def local_moment(text: str, zone: ZoneInfo) -> datetime:
    """An instant from a form field in the time of `zone`, or with its own zone."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError as wrong:
        raise InputError(f"{text[:40]!r} is no time", remedy="write 2027-03-01T06:40", where="at") from wrong
    return when if when.tzinfo else when.replace(tzinfo=zone)


def shown_of(shelf: Shelf, plan: WeekPlan, here: str) -> dict[str, Any]:
    """What every page of a plan shows; `here` is the place of the menu that it belongs to."""
    return {
        "plan": plan,
        "here": here,
        "summaries": shelf.store.plans(),
        "zone": plan.cell.zone,
        "base": f"/plans/{plan.version}",
        "people": [p.name for p in plan.cell.people],
    }


def moment_or_now(shelf: Shelf, plan: WeekPlan, text: str) -> datetime:
    """The instant of a form field; of an empty one the moment at which the plan is shown now."""
    return moment_of(plan, text) if text else shown_moment(plan, shelf.clock())


def as_it_went(shelf: Shelf, plan: WeekPlan) -> WeekPlan:
    """The plan with what was noted of its tasks until now: a cake cools from the end that somebody noted."""
    return as_noted(plan, shelf.store.schedule.progress_of(plan.version), shelf.clock())


def names_in(plan: WeekPlan) -> list[str]:
    """Everything and everybody that may be out of use."""
    cell = plan.cell
    return [x.name for group in (cell.machines, cell.chambers, cell.stations, cell.people) for x in group]
