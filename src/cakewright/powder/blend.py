"""Which cans and how much virgin powder make a charge: a small integer program, and the slip that follows.

Melt flow mixes by the logarithm, ln F = sum of w ln F_i, so a lower limit on flow is linear in the
weights; mean age mixes by mass. The program wants little virgin powder, whole cans, oldest first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from cakewright.errors import InputError
from cakewright.powder.checks import need_fraction, need_positive
from cakewright.sources.powder import (
    BROKEN_CAN_PRICE,
    MIXING_MIN,
    SCALE_STEP_KG,
    WEIGHING_DEVIATION,
    YOUNGER_FIRST_PRICE,
)

FloatArray = NDArray[np.float64]
_SLACK = 1e-6  # relative: what counts as the whole can
_GRAM = 0.001


@dataclass(frozen=True, slots=True)
class Can:
    """A can or drum from which may be taken. `flow` is the melt flow index, `age` mean builds seen.

    `lots` are the virgin lots in it above the recall threshold; `since` orders cans by age in store.
    """

    key: str
    material: str
    kg: float
    is_virgin: bool
    flow: float
    age: float
    lots: frozenset[str]
    since: date
    is_labelled: bool = True


@dataclass(frozen=True, slots=True)
class BlendRule:
    """What a quality class asks of its charge. None: no limit.

    `fixed_ratio` is the old rule, so much virgin whatever the state; else `flow_at_least` and
    `age_at_most` decide how much virgin is needed, never less than `virgin_at_least` (share).
    """

    name: str
    fixed_ratio: float | None = None
    flow_at_least: float | None = None
    age_at_most: float | None = None
    virgin_at_least: float = 0.0
    most_lots: int | None = None


@dataclass(frozen=True, slots=True)
class Pick:
    """One line of the slip: take `kg` from `can`, within `tolerance_kg`, in this order."""

    order: int
    can: str
    kg: float
    is_whole: bool
    is_virgin: bool
    tolerance_kg: float


@dataclass(frozen=True, slots=True)
class Blend:
    """A charge worked out: what to weigh, in which order, and what comes of it."""

    rule: str
    material: str
    picks: tuple[Pick, ...]
    flow: float
    age: float
    lots: tuple[str, ...]
    mixing_min: float
    reason: str
    kg: float = field(default=0.0)

    @property
    def virgin_kg(self) -> float:
        """Virgin powder in it."""
        return math.fsum(p.kg for p in self.picks if p.is_virgin)

    @property
    def virgin_share(self) -> float:
        """The refresh ratio that came out."""
        return self.virgin_kg / self.kg


def virgin_share_for_flow(*, target: float, virgin: float, used: float) -> float:
    """Virgin share that brings used powder to a melt flow, by the log rule: ln(T/U)/ln(V/U).

    Zero when the used powder flows well enough; InputError when even virgin does not.
    """
    for name, value in (("target", target), ("virgin", virgin), ("used", used)):
        need_positive(f"the melt flow ({name})", value, "g/10 min")
    if target > virgin:
        raise InputError(
            f"flow {target:g} wanted, virgin powder has {virgin:g}", remedy="lower the limit or buy another lot"
        )
    return 0.0 if target <= used else math.log(target / used) / math.log(virgin / used)


def work_out_blend(
    cans: Sequence[Can], *, charge_kg: float, rule: BlendRule, step_kg: float = SCALE_STEP_KG.value
) -> Blend:
    """The best charge of `charge_kg` under a rule; InputError with the nearest figures when there is none.

    Least virgin powder first, then whole cans, then oldest in store; limits as `BlendRule` says.
    """
    usable = _usable(cans)
    kg = need_positive("the charge", charge_kg, "kg")
    _enough(usable, kg, rule)
    amounts = _solve(usable, kg, rule, margin_kg=step_kg)
    if amounts is None:
        amounts = _solve(usable, kg, rule)
    if amounts is None:
        raise InputError(f"no blend of {kg:g} kg for {rule.name}: {_why_not(usable, kg, rule)}", remedy=_REMEDY)
    rounded = _round(amounts, [c.kg for c in usable], kg, step_kg)
    return _blend(usable, rounded, rule, kg)


def check_weighing(pick: Pick, weighed_kg: float) -> str | None:
    """None when a weighing is within its tolerance, else what to do in words."""
    need_positive("the scale reading", weighed_kg, "kg")
    off = weighed_kg - pick.kg
    if abs(off) <= pick.tolerance_kg + 1e-9:
        return None
    word = "take out" if off > 0 else "add"
    return (
        f"{pick.can}: {weighed_kg:.2f} kg on the scale, {pick.kg:.2f} kg on the slip (± {pick.tolerance_kg:.2f}): "
        f"{word} {abs(off):.2f} kg, or work the blend out again with what is there"
    )


def mix_state(amounts: Sequence[tuple[Can, float]]) -> tuple[float, float]:
    """(melt flow, mean age) of what was really weighed: logarithm of flow and age mix by mass."""
    total = math.fsum(kg for _, kg in amounts)
    need_positive("the charge", total, "kg")
    log_flow = math.fsum(kg * math.log(can.flow) for can, kg in amounts) / total
    return math.exp(log_flow), math.fsum(kg * can.age for can, kg in amounts) / total


_REMEDY = "add a virgin drum or a younger can, lower the class, or make a smaller charge"


def _usable(cans: Sequence[Can]) -> list[Can]:
    for can in cans:
        if not can.is_labelled:
            raise InputError(
                f"can {can.key!r} has no label", remedy="an unlabelled can is waste: take it out of the list"
            )
        need_positive(f"can {can.key!r}: melt flow", can.flow, "g/10 min")
    materials = sorted({c.material for c in cans})
    if len(materials) > 1:
        raise InputError(f"cans of {' and '.join(materials)} in one blend", remedy="two materials never meet")
    return sorted((c for c in cans if c.kg > 0), key=lambda c: (c.is_virgin, c.since, c.key))


def _enough(cans: Sequence[Can], kg: float, rule: BlendRule) -> None:
    there = math.fsum(c.kg for c in cans)
    if there < kg - 1e-9:
        raise InputError(f"a charge of {kg:g} kg from cans that hold {there:g} kg", remedy="bring more cans")
    need_fraction("the least virgin share", rule.virgin_at_least)
    least = need_fraction("the fixed ratio", rule.fixed_ratio) if rule.fixed_ratio is not None else rule.virgin_at_least
    virgin = math.fsum(c.kg for c in cans if c.is_virgin)
    if virgin < least * kg - 1e-9:
        raise InputError(f"{least * kg:.2f} kg virgin powder needed, {virgin:g} kg there", remedy="bring another drum")
    if rule.fixed_ratio is not None and there - virgin < (1.0 - least) * kg - 1e-9:
        raise InputError(
            f"{(1.0 - least) * kg:.2f} kg used powder needed, {there - virgin:g} kg there",
            remedy="raise the ratio or make a smaller charge",
        )


def _solve(cans: Sequence[Can], kg: float, rule: BlendRule, margin_kg: float = 0.0) -> FloatArray | None:
    """Amounts (n,) or None. Variables: amount x_i, taken whole w_i, taken in part u_i, lot used y_l.

    `margin_kg` of rounding in every can must not break a limit.
    """
    n, lots = len(cans), sorted({lot for c in cans for lot in c.lots})
    stock = np.array([c.kg for c in cans])
    x, w, u, y = np.arange(n), n + np.arange(n), 2 * n + np.arange(n), 3 * n + np.arange(len(lots))
    size = 3 * n + len(lots)
    rows: list[tuple[FloatArray, float, float]] = []

    def row(pairs: Sequence[tuple[int, float]], low: float, high: float) -> None:
        a = np.zeros(size)
        for column, factor in pairs:
            a[column] += factor
        rows.append((a, low, high))

    row([(int(i), 1.0) for i in x], kg, kg)
    for i in range(n):
        row([(x[i], 1.0), (w[i], -stock[i])], 0.0, np.inf)  # a whole can is taken whole
        row([(x[i], 1.0), (w[i], -stock[i]), (u[i], -stock[i])], -np.inf, 0.0)
        row([(w[i], 1.0), (u[i], 1.0)], 0.0, 1.0)
        for lot in cans[i].lots:
            row([(y[lots.index(lot)], 1.0), (w[i], -1.0), (u[i], -1.0)], 0.0, np.inf)
    for factors, low, high in _limits(cans, kg, rule):
        spare = margin_kg * math.fsum(abs(f) for f in factors) if low != high else 0.0
        row([(int(i), f) for i, f in zip(x, factors, strict=True)], low + spare, high - spare)
    if rule.most_lots is not None:
        row([(int(k), 1.0) for k in y], 0.0, rule.most_lots)
    cost = np.zeros(size)
    cost[x] = [1.0 if c.is_virgin else YOUNGER_FIRST_PRICE.value * rank / max(n - 1, 1) for rank, c in enumerate(cans)]
    cost[u] = BROKEN_CAN_PRICE.value
    upper = np.concatenate([stock, np.ones(size - n)])
    matrix = np.array([r[0] for r in rows])
    found = milp(
        cost,
        constraints=LinearConstraint(matrix, [r[1] for r in rows], [r[2] for r in rows]),
        integrality=np.concatenate([np.zeros(n), np.ones(size - n)]),
        bounds=Bounds(np.zeros(size), upper),
    )
    return np.asarray(found.x[:n], dtype=np.float64) if found.x is not None else None


def _limits(cans: Sequence[Can], kg: float, rule: BlendRule) -> list[tuple[list[float], float, float]]:
    """Linear limits on the amounts: factors, low, high."""
    virgin = [float(c.is_virgin) for c in cans]
    limits: list[tuple[list[float], float, float]] = []
    if rule.virgin_at_least > 0.0:
        limits.append((virgin, rule.virgin_at_least * kg, np.inf))
    if rule.fixed_ratio is not None:
        return [(virgin, rule.fixed_ratio * kg, rule.fixed_ratio * kg)]
    if rule.flow_at_least is not None:
        limits.append(([math.log(c.flow / rule.flow_at_least) for c in cans], 0.0, np.inf))
    if rule.age_at_most is not None:
        limits.append(([c.age - rule.age_at_most for c in cans], -np.inf, 0.0))
    return limits


def _why_not(cans: Sequence[Can], kg: float, rule: BlendRule) -> str:
    """The first limit that cannot be met even when it is the only one, else that they clash."""
    open_rule = BlendRule(rule.name)
    for name, single in {
        f"melt flow of at least {rule.flow_at_least}": BlendRule(rule.name, flow_at_least=rule.flow_at_least),
        f"mean age of at most {rule.age_at_most} builds": BlendRule(rule.name, age_at_most=rule.age_at_most),
        f"at most {rule.most_lots} lots": BlendRule(rule.name, most_lots=rule.most_lots),
    }.items():
        if single != open_rule and _solve(cans, kg, single) is None:
            best = sorted(cans, key=lambda c: -c.flow)
            flow, age = mix_state(_first(best, kg))
            return f"{name} cannot be reached (the best {kg:g} kg here have flow {flow:.1f}, age {age:.2f})"
    return "each limit can be met alone, but not all of them together"


def _first(cans: Sequence[Can], kg: float) -> list[tuple[Can, float]]:
    taken, rest = [], kg
    for can in cans:
        amount = min(can.kg, rest)
        if amount > 0:
            taken.append((can, amount))
        rest -= amount
    return taken


def _round(amounts: FloatArray, stock: Sequence[float], kg: float, step: float) -> list[float]:
    """Whole cans stay whole; the rest goes to the scale's step, the largest open can takes what is left over."""
    whole = [abs(a - s) <= _SLACK * max(s, 1.0) for a, s in zip(amounts, stock, strict=True)]
    figures = [
        s if is_whole else round(round(float(a) / step) * step, 6)
        for a, s, is_whole in zip(amounts, stock, whole, strict=True)
    ]
    figures = [f if f >= step or is_whole else 0.0 for f, is_whole in zip(figures, whole, strict=True)]
    rest = kg - math.fsum(figures)
    for i in sorted(range(len(figures)), key=lambda k: -figures[k]):
        if not whole[i] and 0.0 < figures[i] + rest <= stock[i]:
            figures[i] = round(figures[i] + rest, 6)
            return figures
    return figures if abs(rest) < _GRAM / 2 else [float(a) for a in amounts]


def _blend(cans: Sequence[Can], amounts: Sequence[float], rule: BlendRule, kg: float) -> Blend:
    taken = [(c, a) for c, a in zip(cans, amounts, strict=True) if a > 0]
    total = math.fsum(a for _, a in taken)
    tolerance = WEIGHING_DEVIATION.value * kg
    picks = tuple(
        Pick(order, c.key, a, abs(a - c.kg) < 1e-6, c.is_virgin, tolerance)
        for order, (c, a) in enumerate(taken, start=1)
    )
    flow, age = mix_state(taken)
    return Blend(
        rule=rule.name,
        material=taken[0][0].material,
        picks=picks,
        flow=flow,
        age=age,
        lots=tuple(sorted({lot for c, _ in taken for lot in c.lots})),
        mixing_min=MIXING_MIN.value,
        reason=_reason(rule, flow, age, math.fsum(a for c, a in taken if c.is_virgin) / total),
        kg=total,
    )


def _reason(rule: BlendRule, flow: float, age: float, share: float) -> str:
    if rule.fixed_ratio is not None:
        return f"{rule.name}: fixed ratio of {rule.fixed_ratio:.0%} virgin"
    told = [f"{share:.0%} virgin"]
    if rule.flow_at_least is not None:
        told.append(f"flow {flow:.1f} (at least {rule.flow_at_least:g})")
    if rule.age_at_most is not None:
        told.append(f"mean age {age:.2f} builds (at most {rule.age_at_most:g})")
    return f"{rule.name}: " + ", ".join(told)
