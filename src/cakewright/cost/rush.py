"""What a rush must cost: the on-time chance that others lose, priced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from cakewright.cost.money import round_up
from cakewright.errors import InputError


@dataclass(frozen=True, slots=True)
class RushEffect:
    """One other line: its on-time probability without and with the rush, and what being late costs it."""

    line: int
    before: float
    after: float
    late_price: Decimal

    def __post_init__(self) -> None:
        """Refuse what is no probability."""
        if not 0.0 <= self.before <= 1.0 or not 0.0 <= self.after <= 1.0 or self.late_price < 0:
            raise InputError(
                f"on-time chance {self.before:g} -> {self.after:g}, late price {self.late_price}",
                remedy="give probabilities in 0..1 and a price of zero or more",
                where=f"line {self.line}",
            )

    @property
    def loss(self) -> Decimal:
        """Expected price of the chance that is lost; a gain counts as zero, nobody pays for it."""
        return max(Decimal(0), Decimal(repr(self.before)) - Decimal(repr(self.after))) * self.late_price


@dataclass(frozen=True, slots=True)
class RushPrice:
    """The surcharge, who loses what, and the extra work."""

    surcharge: Decimal
    losses: tuple[tuple[int, Decimal], ...]
    extra_work: Decimal


def rush_surcharge(
    effects: Sequence[RushEffect], *, extra_work: Decimal = Decimal(0), step: Decimal = Decimal(1)
) -> RushPrice:
    """Least surcharge that makes up for what others lose, rounded up to `step`.

    `extra_work` is what the rush costs by itself: a build less full, hands outside the shift, a carrier.
    """
    if extra_work < 0:
        raise InputError(f"extra work of {extra_work}", remedy="give zero or more")
    losses = tuple((e.line, e.loss) for e in sorted(effects, key=lambda e: -e.loss) if e.loss > 0)
    total = sum((loss for _, loss in losses), extra_work)
    return RushPrice(round_up(total, step), losses, extra_work)
