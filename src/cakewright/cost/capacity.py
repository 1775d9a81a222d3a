"""What another machine, chamber, shift or ratio would bring: scenarios of the same planner side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cakewright.errors import InputError


@dataclass(frozen=True, slots=True)
class Scenario:
    """What the planner found for one set-up of the cell, per week. `cost` includes its own hire or purchase."""

    name: str
    shipped_kg: float
    late_lines: float
    cost: float


@dataclass(frozen=True, slots=True)
class CapacityRow:
    """A scenario against the present: differences per week and the unit cost that results.

    `cost_per_extra_kg` is None when nothing more is shipped.
    """

    name: str
    shipped_kg: float
    shipped_change_kg: float
    late_lines: float
    late_change: float
    cost: float
    cost_change: float
    unit_cost: float
    cost_per_extra_kg: float | None
    is_better_everywhere: bool


def compare_capacity(present: Scenario, others: Sequence[Scenario]) -> tuple[CapacityRow, ...]:
    """Present first, then the others by unit cost."""
    rows = [_row(present, s) for s in others]
    return (_row(present, present), *sorted(rows, key=lambda r: (r.unit_cost, r.late_lines)))


def chamber_limit(*, machines: int, chambers: int, print_h: float, occupied_h: float) -> float:
    """Largest sustained use of the machines that the chambers allow: min(1, c p/(n (p + q))).

    p hours of printing, q hours a chamber is then occupied (cool, wait, unpack, clean), by material.
    """
    if machines < 1 or chambers < 0 or not print_h > 0 or not occupied_h >= 0:
        raise InputError(
            f"{machines} machines, {chambers} chambers, {print_h:g} h + {occupied_h:g} h",
            remedy="give at least one machine, and hours above zero",
        )
    return min(1.0, chambers * print_h / (machines * (print_h + occupied_h)))


def _row(present: Scenario, s: Scenario) -> CapacityRow:
    if not s.shipped_kg > 0:
        raise InputError(f"{s.name} ships {s.shipped_kg:g} kg", remedy="compare scenarios that ship something")
    more = s.shipped_kg - present.shipped_kg
    dearer = s.cost - present.cost
    return CapacityRow(
        name=s.name,
        shipped_kg=s.shipped_kg,
        shipped_change_kg=more,
        late_lines=s.late_lines,
        late_change=s.late_lines - present.late_lines,
        cost=s.cost,
        cost_change=dearer,
        unit_cost=s.cost / s.shipped_kg,
        cost_per_extra_kg=dearer / more if more > 0 else None,
        is_better_everywhere=more >= 0 and s.late_lines <= present.late_lines and dearer <= 0 and s != present,
    )
