"""Count the pieces of a line by weight: how many, how sure, how many may lie on the scale at once."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import keep
from cakewright.app.identify_part import mirror_twins
from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.quality.identify import count_by_weight, count_sigma, most_on_scale
from cakewright.sources.floor import MASSES_FOR_SPREAD
from cakewright.store import Store


@dataclass(frozen=True, slots=True)
class Counted:
    """`pieces` on the scale with standard error `sigma` (pieces) and the probability that the number is right."""

    pieces: int
    sigma: float
    probability: float
    most: int

    @property
    def is_sure(self) -> bool:
        """True when no more lie on the scale than the error allows at three sigmas."""
        return self.pieces <= self.most


def count(total_g: float, reference_g: float, reference: int, spread: float, scale_g: float = 0.0) -> Counted:
    """Pieces from their mass, the mass of `reference` pieces counted by hand, and the spread from piece to piece.

    sigma = n cv sqrt(1/n + 1/n_ref), joined by the error of the scale in pieces.
    """
    one = reference_g / reference
    if not one > 0:
        raise InputError(f"{reference_g:g} g for {reference} pieces", remedy="weigh the counted pieces again")
    pieces, probability = count_by_weight(total_g, reference_g, reference, spread)
    by_scale = scale_g / one
    sigma = (count_sigma(pieces, reference, spread) ** 2 + by_scale**2) ** 0.5
    return Counted(pieces, sigma, probability, most_on_scale(reference, spread, scale_pieces=by_scale))


def spread_of(masses_g: list[float]) -> float:
    """Spread from piece to piece as a share of the mean, from pieces weighed one by one. InputError for too few."""
    needed = int(MASSES_FOR_SPREAD.value)
    if len(masses_g) < needed or min(masses_g, default=0.0) <= 0:
        raise InputError(f"{len(masses_g)} masses", remedy=f"weigh {needed} pieces or more one by one, above zero")
    return statistics.stdev(masses_g) / statistics.fmean(masses_g)


def twins_of(plan: WeekPlan, line: int) -> tuple[int, ...]:
    """Lines that are mirrored twins of this one: a mixed pile cannot be told apart by mass."""
    found = {mirror_twins(plan, b).get(line) for b in plan.builds_of(line)}
    return tuple(sorted(n for n in found if n is not None))


def keep_count(
    store: Store, plan: WeekPlan, line: int, seen: Counted, *, by: str, at: datetime, uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Keep a count. InputError while more lie on the scale than the error allows: split the pile."""
    require(store, by, Step.PACK, at.date())
    if not seen.is_sure:
        raise InputError(f"{seen.pieces} at once cannot be told from {seen.pieces - 1} or {seen.pieces + 1}",
                         remedy=f"lay on {seen.most} or fewer and add up", where="total")  # fmt: skip
    data: dict[str, Value] = {"pieces": seen.pieces, "sigma": round(seen.sigma, 4)}
    return keep(store, plan, FloorKind.COUNTED, data, by=by, at=at, line=line, uid=uid, kept_at=kept_at)


def counted_so_far(store: Store, plan: WeekPlan, line: int) -> tuple[FloorRecord, ...]:
    """The counts of a line, oldest first; piles are added up by whoever counts."""
    return tuple(r for r in store.floor.records(plan=plan.version, kind=FloorKind.COUNTED) if r.line == line)
