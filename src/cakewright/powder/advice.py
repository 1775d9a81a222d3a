"""What stops the used drum from growing: density, ratio or class mix, each in kg and money per week."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from cakewright.errors import InputError
from cakewright.powder.checks import need_fraction, need_positive, need_zero_or_more


@dataclass(frozen=True, slots=True)
class ClassLoad:
    """What a quality class asks for: its refresh ratio and its share of the charge mass (shares add to one)."""

    name: str
    refresh_ratio: float
    share: float


@dataclass(frozen=True, slots=True)
class Loop:
    """A week of one material: kg of parts made, packing of the whole cake, classes, losses, prices.

    Densities g/cm³, `loss_fraction` of the unsintered powder, prices per kg of virgin powder opened and
    of used powder given away. `dead_kg_per_week` fills hoppers and feeds: weighed out with the charges and
    back again.
    """

    parts_kg_per_week: float
    packing_density: float
    classes: tuple[ClassLoad, ...]
    sintered_density_g_cm3: float
    bed_density_g_cm3: float
    loss_fraction: float
    overflow_fraction: float
    virgin_price_per_kg: float
    disposal_price_per_kg: float = 0.0
    dead_kg_per_week: float = 0.0

    def __post_init__(self) -> None:
        """Refuse shares that do not add to one and densities outside 0..1."""
        need_positive("parts per week", self.parts_kg_per_week, "kg")
        need_positive("the packing density", need_fraction("the packing density", self.packing_density), "1")
        need_zero_or_more("the disposal price", self.disposal_price_per_kg, "per kg")
        need_zero_or_more("the dead powder", self.dead_kg_per_week, "kg")
        total = math.fsum(c.share for c in self.classes)
        if abs(total - 1.0) > 1e-6:
            raise InputError(f"the classes have {total:.1%} of the charge", remedy="give shares that add to 100 %")

    @property
    def refresh_ratio(self) -> float:
        """Mean ratio over the classes, by charge mass."""
        return math.fsum(c.share * c.refresh_ratio for c in self.classes)

    @property
    def break_even(self) -> float:
        """The ratio that would keep the used drum level."""
        unsintered = self.charge_kg - self.parts_kg_per_week
        return (self.parts_kg_per_week + self.loss_fraction * unsintered) / self.charge_kg

    @property
    def charge_kg(self) -> float:
        """Powder weighed out in a week."""
        f, rs, rp = self.packing_density, self.sintered_density_g_cm3, self.bed_density_g_cm3
        cake_per_parts = 1.0 + (1.0 - f) * rp / (f * rs)
        return self.parts_kg_per_week * cake_per_parts * (1.0 + self.overflow_fraction) + self.dead_kg_per_week

    @property
    def virgin_kg(self) -> float:
        """Virgin powder opened in a week."""
        return self.refresh_ratio * self.charge_kg

    @property
    def surplus_kg(self) -> float:
        """What the used drum gains in a week (negative: loses)."""
        return (self.refresh_ratio - self.break_even) * self.charge_kg

    @property
    def money(self) -> float:
        """Virgin powder, and the way out for what the drum gains."""
        return self.virgin_kg * self.virgin_price_per_kg + max(self.surplus_kg, 0.0) * self.disposal_price_per_kg

    @property
    def level_density(self) -> float | None:
        """The packing density at which the used drum stays level; None when no density does.

        The charge must then be parts (1 - loss) / (ratio - loss); the rest is geometry.
        """
        over = self.refresh_ratio - self.loss_fraction
        if over <= 0.0:
            return None
        charge = self.parts_kg_per_week * (1.0 - self.loss_fraction) / over
        cake = (charge - self.dead_kg_per_week) / (self.parts_kg_per_week * (1.0 + self.overflow_fraction))
        if cake < 1.0:
            return None
        return self.bed_density_g_cm3 / (self.bed_density_g_cm3 + self.sintered_density_g_cm3 * (cake - 1.0))


@dataclass(frozen=True, slots=True)
class Advice:
    """One lever: where it stands, where the drum would be level (None: it cannot reach that), and the effect.

    Effects are per week, at the level point or, out of reach, at the end of the lever; `text` says it in
    one sentence.
    """

    lever: str
    now: float
    needed: float | None
    surplus_change_kg: float
    virgin_change_kg: float
    money_change: float
    text: str


def balance_advice(loop: Loop) -> tuple[Advice, ...]:
    """The three levers, best saving first. With no surplus there is nothing to advise: an empty tuple."""
    if loop.surplus_kg <= 1e-9:
        return ()
    levers = [_density(loop), _ratio(loop)]
    if len({c.refresh_ratio for c in loop.classes}) > 1:
        levers.append(_mix(loop))
    return tuple(sorted(levers, key=lambda a: a.money_change))


def one_step(loop: Loop, *, density_points: float = 1.0, ratio_points: float = -1.0) -> tuple[Advice, Advice]:
    """The effect of one percentage point more density and of one point less refresh, per week."""
    denser = replace(loop, packing_density=loop.packing_density + density_points / 100)
    leaner = _with_ratio(loop, loop.refresh_ratio + ratio_points / 100)
    return (
        _advice("density", loop, denser, loop.packing_density, denser.packing_density),
        _advice("ratio", loop, leaner, loop.refresh_ratio, leaner.refresh_ratio),
    )


def _density(loop: Loop) -> Advice:
    needed = loop.level_density
    after = replace(loop, packing_density=needed) if needed else loop
    return _advice("density", loop, after, loop.packing_density, needed)


def _ratio(loop: Loop) -> Advice:
    return _advice("ratio", loop, _with_ratio(loop, loop.break_even), loop.refresh_ratio, loop.break_even)


def _mix(loop: Loop) -> Advice:
    """Move work from the class with most virgin powder to the one with least, as far as there is some."""
    lean = min(loop.classes, key=lambda c: c.refresh_ratio)
    rich = max(loop.classes, key=lambda c: c.refresh_ratio)
    wanted = (loop.refresh_ratio - loop.break_even) / (rich.refresh_ratio - lean.refresh_ratio)
    moved = min(wanted, rich.share)
    classes = tuple(
        replace(c, share=c.share + (moved if c.name == lean.name else -moved if c.name == rich.name else 0.0))
        for c in loop.classes
    )
    reached = lean.share + moved if moved == wanted else None
    return _advice(f"more {lean.name}, less {rich.name}", loop, replace(loop, classes=classes), lean.share, reached)


def _with_ratio(loop: Loop, ratio: float) -> Loop:
    """All classes scaled alike to a mean ratio."""
    factor = need_fraction("the refresh ratio", ratio) / loop.refresh_ratio
    return replace(
        loop, classes=tuple(replace(c, refresh_ratio=min(1.0, c.refresh_ratio * factor)) for c in loop.classes)
    )


def _advice(lever: str, before: Loop, after: Loop, now: float, needed: float | None) -> Advice:
    surplus = after.surplus_kg - before.surplus_kg
    virgin = after.virgin_kg - before.virgin_kg
    money = after.money - before.money
    if needed is None:
        head = f"{lever} from {now:.1%} alone cannot level the drum"
    else:
        head = f"{lever} from {now:.1%} to {needed:.1%}"
    effect = f"used drum {surplus:+.1f} kg, virgin {virgin:+.1f} kg, money {money:+.0f} a week"
    return Advice(lever, now, needed, surplus, virgin, money, f"{head}: {effect}")
