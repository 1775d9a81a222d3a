"""Does 90 % mean 90 %? Promises of committed plans against the instants at which lines were really packed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from cakewright.cost.failure import failure_interval
from cakewright.store.schedule import Kept


@dataclass(frozen=True, slots=True)
class Rate:
    """How many promises of one kind were kept: `kept` of `known`, with the exact 95 % interval of the true share."""

    name: str
    claimed: float
    kept: int
    known: int
    low: float
    high: float

    @property
    def verdict(self) -> str:
        """What the record says about the claim, in words."""
        if self.known == 0:
            return "no promise of this kind has come due yet"
        if self.claimed < self.low:
            return "too careful: more are kept than promised; dates could be earlier"
        if self.claimed > self.high:
            return "too hopeful: fewer are kept than promised; tell later dates until the doubts are larger"
        return f"nothing speaks against it: with {self.known} known, {self.low:.0%} to {self.high:.0%} is possible"


@dataclass(frozen=True, slots=True)
class KeptPromises:
    """The record, newest promise last, and the rates."""

    rows: tuple[Kept, ...]
    rates: tuple[Rate, ...]
    open: int


def kept_promises(rows: Sequence[Kept], now: datetime) -> KeptPromises:
    """Count promises that have come due by `now`.

    A promise is known once its line is packed, or once its instant has passed without that: leaving out what is
    still missing would make every record look good. The interval is Clopper and Pearson's (1934).
    """
    rates = (
        _rate("half of the lines by P50", 0.5, [(r.p50, r.ready) for r in rows], now),
        _rate("nine in ten by P90", 0.9, [(r.p90, r.ready) for r in rows], now),
        _expected(rows, now),
    )
    return KeptPromises(tuple(rows), rates, sum(r.ready is None for r in rows))


def _rate(name: str, claimed: float, pairs: Sequence[tuple[datetime | None, datetime | None]], now: datetime) -> Rate:
    known = [(by, ready) for by, ready in pairs if by is not None and (ready is not None or by < now)]
    kept = sum(ready is not None and ready <= by for by, ready in known)
    return Rate(name, claimed, kept, len(known), *_interval(kept, len(known)))


def _expected(rows: Sequence[Kept], now: datetime) -> Rate:
    """Lines on their due day, against the mean of the chances that were told."""
    known = [r for r in rows if r.on_time_probability is not None and (r.ready is not None or r.due_by < now)]
    claimed = sum(r.on_time_probability or 0.0 for r in known) / len(known) if known else 0.0
    kept = sum(r.ready is not None and r.ready <= r.due_by for r in known)
    return Rate("on the due day, as the chances said", claimed, kept, len(known), *_interval(kept, len(known)))


def _interval(kept: int, known: int) -> tuple[float, float]:
    return failure_interval(kept, known) if known else (0.0, 1.0)
