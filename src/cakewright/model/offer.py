"""A quote as it was told to a customer: prices, dates, what they rest on. Written once; a change is a new revision."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum


class OfferState(StrEnum):
    """Where a quote is. Every step is kept with name and time."""

    OFFERED = "offered"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    REVISED = "revised"  # a newer revision replaces this one
    ORDERED = "ordered"  # its line went into an order list

    @property
    def is_open(self) -> bool:
        """True while the customer may still say yes."""
        return self is OfferState.OFFERED


@dataclass(frozen=True, slots=True)
class CostRow:
    """One row of the breakdown: what, and the amount in a full mixed build, in the plan (None: no room), alone."""

    what: str
    shared: Decimal
    in_plan: Decimal | None
    alone: Decimal


@dataclass(frozen=True, slots=True)
class BreakRow:
    """A quantity in builds of its own: price of one piece and of all; `is_break` marks those worth quoting."""

    quantity: int
    unit: Decimal
    total: Decimal
    builds: int
    is_break: bool


@dataclass(frozen=True, slots=True)
class Offer:
    """One revision of a quote.

    Prices are for the whole line in `currency`, margin included: `low` as one of many in full mixed
    builds, `likely` in the plan as it stands (or alone when no build has room), `high` in builds of its
    own. Dates are days: `ready` as computed, `p50` and `p90` when the plan was simulated.
    """

    customer: str
    part: str
    revision: str
    file: str
    file_sha256: str
    quantity: int
    material: str
    finish: str
    quality_class: str
    currency: str
    margin: float
    low: Decimal
    likely: Decimal
    high: Decimal
    rows: tuple[CostRow, ...]
    breaks: tuple[BreakRow, ...]
    feasible: str
    ready: date | None
    ready_reason: str
    p50: date | None
    p90: date | None
    on_time_probability: float | None
    rush_surcharge: Decimal | None
    rush_reason: str
    completeness: float
    questions: tuple[str, ...]
    doubts: tuple[str, ...]
    assumptions: tuple[str, ...]
    valid_until: date
    plan: int
    program: str
    size_mm: tuple[float, float, float]
    volume_cm3: float
