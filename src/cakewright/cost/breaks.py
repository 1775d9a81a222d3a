"""What one piece costs when many equal ones are asked for: the saw-tooth and the quantities worth quoting."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cakewright.errors import InputError


@dataclass(frozen=True, slots=True)
class QuantityLaw:
    """Cost of n equal pieces in builds of their own.

    `per_tier` pieces stand side by side in one tier, a build holds `tiers` of them. A build costs
    `per_build` however little is in it, each begun tier `tier_price` (layers, recoating, powder), each
    piece `piece_price` (scanning, its powder, hands), the order `per_order` once. Money in one currency.
    """

    per_tier: int
    tiers: int
    per_build: float
    tier_price: float
    piece_price: float
    per_order: float = 0.0

    def __post_init__(self) -> None:
        """Refuse empty tiers and negative prices."""
        if self.per_tier < 1 or self.tiers < 1:
            raise InputError(f"{self.tiers} tiers of {self.per_tier} pieces", remedy="a build holds at least one piece")
        for name in ("per_build", "tier_price", "piece_price", "per_order"):
            if not getattr(self, name) >= 0:
                raise InputError(f"{name} is {getattr(self, name):g}", remedy="give zero or more")

    @property
    def capacity(self) -> int:
        """Pieces in a full build."""
        return self.per_tier * self.tiers

    def total(self, quantity: int) -> float:
        """Cost of the whole order; last build only as high as its pieces need."""
        if quantity < 1:
            raise InputError(f"a quantity of {quantity}", remedy="ask for at least one piece")
        full, rest = divmod(quantity, self.capacity)
        tiers = full * self.tiers + math.ceil(rest / self.per_tier)
        builds = full + (rest > 0)
        return self.per_order + builds * self.per_build + tiers * self.tier_price + quantity * self.piece_price

    def unit(self, quantity: int) -> float:
        """Cost of one of `quantity` pieces: falls while a tier fills, jumps when a tier or a build begins."""
        return self.total(quantity) / quantity

    @property
    def floor(self) -> float:
        """The unit cost that full builds tend to."""
        return (self.per_build + self.tiers * self.tier_price) / self.capacity + self.piece_price


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """A quantity worth offering: from here on nothing smaller is cheaper per piece."""

    quantity: int
    unit: float
    total: float


def price_breaks(law: QuantityLaw, quantities: Sequence[int]) -> tuple[PriceBreak, ...]:
    """The quantities among `quantities` at which the unit cost reaches a new low, smallest first."""
    found: list[PriceBreak] = []
    for quantity in sorted(set(quantities)):
        unit = law.unit(quantity)
        if not found or unit < found[-1].unit:
            found.append(PriceBreak(quantity, unit, law.total(quantity)))
    return tuple(found)


def cheaper_to_make_more(law: QuantityLaw, quantity: int, most: int) -> int:
    """The quantity up to `most` with the least unit cost when at least `quantity` are needed."""
    if most < quantity:
        raise InputError(f"at most {most}, at least {quantity}", remedy="raise the upper quantity")
    return min(range(quantity, most + 1), key=lambda n: (law.unit(n), n))
