"""Virgin and used powder over the coming weeks, with ranges, and the day by which to order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from cakewright.errors import InputError
from cakewright.powder.checks import need_fraction, need_positive, need_zero_or_more

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WeekDemand:
    """What one week is expected to charge: kg with its spread, refresh ratio, break-even ratio."""

    charge_kg: float
    charge_sigma_kg: float
    refresh_ratio: float
    break_even_ratio: float


@dataclass(frozen=True, slots=True)
class Delivery:
    """Virgin powder on its way: kg, in the week counted from 0."""

    week: int
    kg: float


@dataclass(frozen=True, eq=False)
class Projection:
    """Stock at the end of each week; rows are 10 %, 50 % and 90 % quantiles of the simulated weeks.

    `virgin_kg`, `used_kg`: (3, weeks). `short_chance` (weeks,): probability that virgin powder has run
    out by then. `extra_virgin_kg`: mean virgin powder taken because used powder was short.
    """

    virgin_kg: FloatArray
    used_kg: FloatArray
    short_chance: FloatArray
    extra_virgin_kg: float
    order_by_week: int | None
    used_full_week: int | None

    def text(self) -> str:
        """The two dates in words."""
        order = (
            "no order needed in this time"
            if self.order_by_week is None
            else "order virgin powder now"
            if self.order_by_week <= 0
            else f"order virgin powder before week {self.order_by_week + 1}"
        )
        full = (
            ""
            if self.used_full_week is None
            else f"; used stock likely beyond its place in week {self.used_full_week + 1}"
        )
        return order + full


def project_stock(
    *,
    virgin_kg: float,
    used_kg: float,
    weeks: Sequence[WeekDemand],
    rng: np.random.Generator,
    deliveries: Sequence[Delivery] = (),
    lead_weeks: int,
    used_capacity_kg: float = math.inf,
    safety: float = 0.95,
    runs: int = 2000,
) -> Projection:
    """Simulate the weeks `runs` times: virgin falls by ratio x charge, used grows by (ratio - break-even) x charge.

    A week cannot take more used powder than is there: the rest of the charge is virgin then. The order-by
    week is the last in which an order arrives (`lead_weeks` later) before the chance of having run out
    passes 1 - `safety`; below zero or zero means today.
    """
    n = _check(virgin_kg, used_kg, weeks, lead_weeks, runs)
    virgin, used = np.full(runs, float(virgin_kg)), np.full(runs, float(used_kg))
    arriving = [math.fsum(d.kg for d in deliveries if d.week == w) for w in range(n)]
    virgin_at, used_at = np.zeros((n, runs)), np.zeros((n, runs))
    extra = 0.0
    for w, week in enumerate(weeks):
        charge = np.maximum(0.0, rng.normal(week.charge_kg, week.charge_sigma_kg, runs))
        wanted = (1.0 - week.refresh_ratio) * charge
        taken = np.minimum(wanted, used)
        extra += float((wanted - taken).mean())
        virgin = virgin + arriving[w] - (charge - taken)
        used = used - taken + (1.0 - week.break_even_ratio) * charge
        virgin_at[w], used_at[w] = virgin, used
    short = (np.minimum.accumulate(virgin_at, axis=0) < 0.0).mean(axis=1)
    out = np.flatnonzero(short > 1.0 - need_fraction("the safety", safety))
    full = np.flatnonzero(np.median(used_at, axis=1) > used_capacity_kg)
    levels = (0.1, 0.5, 0.9)
    return Projection(
        np.quantile(virgin_at, levels, axis=1),
        np.quantile(used_at, levels, axis=1),
        short,
        extra,
        int(out[0]) - lead_weeks if len(out) else None,
        int(full[0]) if len(full) else None,
    )


def reorder_point(*, weekly_kg: float, weekly_sigma_kg: float, lead_weeks: float, lead_sigma_weeks: float = 0.0,
                  safety: float = 0.95) -> float:  # fmt: skip
    """Virgin stock at which to order: mean over the lead time plus z sigmas.

    sigma² = L s² + d² sL²: demand spread over the lead time and spread of the lead time itself.
    """
    d = need_zero_or_more("the weekly demand", weekly_kg, "kg")
    lead = need_positive("the lead time", lead_weeks, "weeks")
    s, sl = (
        need_zero_or_more("its spread", weekly_sigma_kg, "kg"),
        need_zero_or_more("lead spread", lead_sigma_weeks, "w"),
    )
    p = need_fraction("the safety", safety)
    if not 0.0 < p < 1.0:
        raise InputError(f"a safety of {p:g}", remedy="give a share inside 0..1: certainty would need endless stock")
    return d * lead + NormalDist().inv_cdf(p) * math.sqrt(lead * s * s + d * d * sl * sl)


def _check(virgin_kg: float, used_kg: float, weeks: Sequence[WeekDemand], lead_weeks: int, runs: int) -> int:
    need_zero_or_more("virgin stock", virgin_kg, "kg")
    need_zero_or_more("used stock", used_kg, "kg")
    if not weeks or lead_weeks < 0 or runs < 1:
        raise InputError(
            f"{len(weeks)} weeks, lead time {lead_weeks}, {runs} runs", remedy="give at least one week and one run"
        )
    for week in weeks:
        need_zero_or_more("a week's charge", week.charge_kg, "kg")
        need_zero_or_more("its spread", week.charge_sigma_kg, "kg")
        need_fraction("the refresh ratio", week.refresh_ratio)
        need_fraction("the break-even ratio", week.break_even_ratio)
    return len(weeks)
