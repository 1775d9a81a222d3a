"""What happened against what was planned: by line, by reason, by promise."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from cakewright.errors import InputError


@dataclass(frozen=True, slots=True)
class LineActual:
    """Planned and actual of one finished line: machine hours, virgin kg, minutes of hands, scrap pieces, price paid."""

    line: int
    family: str
    pieces: int
    planned_machine_h: float
    machine_h: float
    planned_virgin_kg: float
    virgin_kg: float
    planned_hands_min: float
    hands_min: float
    scrap: int
    cost: float
    price: float


@dataclass(frozen=True, slots=True)
class FamilyResult:
    """A family of parts over its lines: margin in money and share of price, and how often it lost money."""

    family: str
    lines: int
    price: float
    cost: float
    losing_lines: int

    @property
    def margin(self) -> float:
        """Price minus cost."""
        return self.price - self.cost

    @property
    def always_loses(self) -> bool:
        """At least three lines and every one of them below cost."""
        return self.lines >= 3 and self.losing_lines == self.lines


def by_family(actuals: Sequence[LineActual]) -> tuple[FamilyResult, ...]:
    """Families by margin, worst first."""
    groups: dict[str, list[LineActual]] = defaultdict(list)
    for a in actuals:
        groups[a.family].append(a)
    rows = [
        FamilyResult(
            family,
            len(own),
            math.fsum(a.price for a in own),
            math.fsum(a.cost for a in own),
            sum(a.price < a.cost for a in own),
        )
        for family, own in groups.items()
    ]
    return tuple(sorted(rows, key=lambda r: (r.margin, r.family)))


@dataclass(frozen=True, slots=True)
class LostHours:
    """Hours of the machines by reason. They add up to the calendar."""

    reasons: tuple[tuple[str, float], ...]
    calendar_h: float

    @property
    def printing_share(self) -> float:
        """Printing hours over calendar hours."""
        return dict(self.reasons).get("printing", 0.0) / self.calendar_h


def lost_hours(spans: Sequence[tuple[str, float]], *, machines: int, days: float, tolerance: float = 0.01) -> LostHours:
    """Add hours by reason and check them against machines x days x 24 h.

    What is missing is listed as 'not recorded'; more hours than the calendar has (beyond `tolerance`) is
    refused, since then some are counted twice.
    """
    calendar = machines * days * 24.0
    if not calendar > 0:
        raise InputError(f"{machines} machines over {days:g} days", remedy="give at least one machine and some days")
    sums: dict[str, float] = defaultdict(float)
    for reason, hours in spans:
        if not hours >= 0:
            raise InputError(f"{reason}: {hours:g} h", remedy="give hours of zero or more")
        sums[reason] += hours
    told = math.fsum(sums.values())
    if told > calendar * (1.0 + tolerance):
        raise InputError(
            f"{told:.1f} h by reason in a calendar of {calendar:.1f} h", remedy="some hours are counted twice"
        )
    if told < calendar:
        sums["not recorded"] += calendar - told
    return LostHours(tuple(sorted(sums.items(), key=lambda item: -item[1])), calendar)


def promise_hit_rate(promises: Sequence[tuple[float, bool]], bins: int = 5) -> tuple[tuple[float, float, int], ...]:
    """Were promises kept as often as they said: (mean promised chance, share kept, number) in bins of chance."""
    if bins < 1 or any(not 0.0 <= p <= 1.0 for p, _ in promises):
        raise InputError("promised chances must lie in 0..1, in at least one bin", remedy="check the promise records")
    groups: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for chance, kept in promises:
        groups[min(int(chance * bins), bins - 1)].append((chance, kept))
    return tuple(
        (math.fsum(p for p, _ in own) / len(own), sum(k for _, k in own) / len(own), len(own))
        for _, own in sorted(groups.items())
    )
