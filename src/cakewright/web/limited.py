"""What an account sees that is limited to some customers: their lines, papers and quotes; all else is closed."""

from __future__ import annotations

import re
from collections.abc import Collection

from cakewright.app.asked_quotes import asked_of
from cakewright.app.jobs import QUOTE
from cakewright.app.veil import veiled
from cakewright.errors import InputError, StoreError
from cakewright.model.plan import WeekPlan
from cakewright.store import Job, KeptOffer
from cakewright.web.shelf import Shelf

_LINE = r"/plans/\d+/lines/\d+"
OPEN_TO_READ = re.compile(
    rf"/|/plans|/plans/\d+|/plans/\d+/lines|{_LINE}(/(part(/.*)?|part\.png|inspection-report\.pdf))?"
    r"|/plans/\d+/orders/[\w-]+\.pdf|/quotes|/quotes/\d+(/sheet\.pdf)?|/jobs/\d+(/events)?|/api/docs|/api/v1/health"
    r"|/api/v1/plans|/api/v1/plans/\d+/lines(/\d+(/part/mesh)?)?|/api/v1/quotes(/\d+)?"
)
OPEN_TO_WRITE = re.compile(r"/quotes|/quotes/\d+/answer|/jobs/\d+/(cancel|again)|/logout")
HOME = re.compile(r"/plans/(\d+)")


def is_open_to(path: str, *, reads: bool) -> bool:
    """Whether a limited account may go there; what is not listed here is closed."""
    return bool((OPEN_TO_READ if reads else OPEN_TO_WRITE).fullmatch(path))


class LimitedShelf(Shelf):
    """A shelf whose plans and quotes are those of some customers; all else of it is the shelf behind."""

    def __init__(self, behind: Shelf, customers: Collection[str]) -> None:
        super().__init__(behind.store, behind.clock)
        self._behind = behind
        self._customers = frozenset(name.casefold() for name in customers)

    def plan(self, version: int) -> WeekPlan:
        """The plan with nothing of anybody else in it."""
        return veiled(self._behind.plan(version), self._customers)

    def whole_plan(self, version: int) -> WeekPlan:
        """The plan as it is: to compute with, never to show."""
        return self._behind.whole_plan(version)

    def shows(self, customer: str) -> bool:
        """Whether this customer's quotes may be seen."""
        return customer.casefold() in self._customers

    def offers(self) -> tuple[KeptOffer, ...]:
        """Quotes of these customers."""
        return tuple(kept for kept in self._behind.offers() if self.shows(kept.offer.customer))

    def shows_job(self, job: Job) -> bool:
        """Only quotes, and of these customers."""
        place, _, name = job.folder.rpartition("/")
        if job.kind != QUOTE:
            return False
        if place == "quotes":
            return name in {str(kept.number) for kept in self.offers()}
        try:
            return self.shows(asked_of(self.store, name).customer)
        except StoreError:  # it has just become a quote, or is not kept any more
            return False

    def check_customer(self, customer: str) -> None:
        """InputError for a quote to somebody else."""
        if not self.shows(customer):
            raise InputError(
                f"this account does not see {customer[:60] or 'quotes without a customer'}",
                remedy="name one of your customers, or ask a planner", where="customer",
            )  # fmt: skip
