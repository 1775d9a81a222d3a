"""Powder of one planned build: charged, and what came back from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np

from cakewright.app.authority import Step, require
from cakewright.app.powder_books import FOUND, MISSING, WASTE, code_of, look
from cakewright.app.powder_deeds import keep_shares, new_can, open_accounts
from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.powder.genealogy import trace
from cakewright.powder.ledger import Container, ContainerKind, EntryKind
from cakewright.sources.powder import WEIGHING_DEVIATION
from cakewright.store import Store
from cakewright.store.powder import Booking

GRAM = 0.0005


class Fraction(StrEnum):
    """What comes back from a build, kept apart. Values are words on the booking page."""

    CAKE = "loose cake"
    TOP = "top third of the cake"
    CRUST = "crust"
    OVERFLOW = "overflow"
    FEEDS = "left in feeds"
    DUST = "floor and blast dust"


_KIND_OF = {
    Fraction.CAKE: ContainerKind.CAKE,
    Fraction.TOP: ContainerKind.CAKE,
    Fraction.CRUST: ContainerKind.CRUST,
    Fraction.OVERFLOW: ContainerKind.OVERFLOW,
    Fraction.FEEDS: ContainerKind.OVERFLOW,
}
HEATED = (Fraction.CAKE, Fraction.TOP, Fraction.CRUST)


@dataclass(frozen=True, slots=True)
class CameBack:
    """What was booked after break-out. `rest_kg` is still in the charge and waits for a name."""

    parts: str
    cans: tuple[tuple[str, str, float], ...]
    rest_kg: float
    findings: tuple[Finding, ...]


def charge_build(
    store: Store, plan: WeekPlan, build_key: str, blend: str, *, by: str, at: datetime, kg: float | None = None
) -> tuple[str, tuple[Finding, ...]]:
    """Pour a blend into the machine for a build; the code of the charge, and whether it is enough.

    Refused: another material, or a blend that was mixed for another build.
    """
    require(store, by, Step.BLEND, at.date())
    build = plan.build(build_key)
    with store.powder.booking() as booking:
        key = code_of(booking.ledger, blend)
        fact = booking.books.facts[key]
        if fact.build and (fact.plan, fact.build) != (plan.version, build_key):
            raise InputError(
                f"{key} was mixed for {fact.build} of plan {fact.plan}, not for {build_key} of plan {plan.version}",
                remedy="scan the blend of this build, or mix one",
                where=key,
            )
        if booking.ledger.containers[key].material != build.material:
            raise InputError(
                f"{key} holds {booking.ledger.containers[key].material}, {build_key} is {build.material}",
                remedy="two materials never meet: check both labels",
                where=key,
            )
        charge = _for_build(booking, plan, build, ContainerKind.CHARGE, by=by, at=at)
        amount = booking.ledger.kg(key) if kg is None else kg
        booking.move(at=at, source=key, target=charge, kg=amount, who=by)
        return charge, _enough(booking.ledger.kg(charge), build)


def book_back(
    store: Store,
    plan: WeekPlan,
    build_key: str,
    came: Mapping[Fraction, Sequence[float]],
    *,
    by: str,
    at: datetime,
    parts_kg: float | None = None,
    rest_reason: str = "",
) -> CameBack:
    """Book the break-out of a build: parts, and each fraction into cans of its own.

    `parts_kg`: what the parts weigh (default: as planned). What is missing to the charge, or more than it,
    stays open until `rest_reason` names it. Loose cake and crust have seen one build and the dose of the
    heat model, when the plan has it; overflow and what stayed in the feeds count as not exposed.
    """
    require(store, by, Step.UNPACK, at.date())
    build = plan.build(build_key)
    with store.powder.booking() as booking:
        charge = booking.books.container_of(plan.version, build_key, ContainerKind.CHARGE)
        if charge is None:
            raise InputError(f"{build_key} of plan {plan.version} was never charged", remedy="book its charge first")
        open_accounts(booking, by=by, at=at)
        _find_surplus(booking, charge, came, parts_kg, build, rest_reason, by=by, at=at)
        parts = _book_parts(booking, plan, build, charge, parts_kg, by=by, at=at)
        cans = []
        for fraction, weights in came.items():
            for kg in weights:
                if kg > 0:
                    cans.append((str(fraction), _book_fraction(booking, plan, build, charge, fraction, kg, by=by,
                                                               at=at), kg))  # fmt: skip
        rest = booking.ledger.kg(charge)
        if rest > GRAM and rest_reason.strip():
            booking.move(at=at, source=charge, target=MISSING, kg=rest, who=by, kind=EntryKind.WEIGH_IN,
                         reason=f"{build_key}: {rest_reason.strip()}")  # fmt: skip
            rest = 0.0
        keep_shares(booking, parts, trace(booking.ledger).composition(parts))
        return CameBack(parts, tuple(cans), rest, _open_rest(rest, build_key))


@dataclass(frozen=True, slots=True)
class BuildPowder:
    """How far the powder of a build is: its blends (code, kg left), kg in the charge, cans that came back."""

    blends: tuple[tuple[str, float], ...]
    charge: str
    charge_kg: float
    parts: str
    parts_kg: float
    back: tuple[tuple[str, str, float], ...]
    lots: tuple[tuple[str, float], ...]


def build_powder(store: Store, plan: int, build_key: str) -> BuildPowder:
    """What the books hold about a build."""
    view = look(store)
    mine = [k for k, fact in view.books.facts.items() if (fact.plan, fact.build) == (plan, build_key)]
    kind_of = {key: view.ledger.containers[key].kind for key in mine}
    kg = view.ledger.kg
    charge = next((k for k in mine if kind_of[k] is ContainerKind.CHARGE), "")
    parts = next((k for k in mine if kind_of[k] is ContainerKind.PARTS), "")
    others = [k for k in mine if kind_of[k] in _KIND_OF.values()]
    return BuildPowder(
        blends=tuple((k, kg(k)) for k in mine if kind_of[k] is ContainerKind.BLEND and kg(k) > 0),
        charge=charge,
        charge_kg=kg(charge) if charge else 0.0,
        parts=parts,
        parts_kg=kg(parts) if parts else 0.0,
        back=tuple((k, view.books.facts[k].note, kg(k)) for k in others),
        lots=tuple(store.powder.shares(plan, build_key).items()) or (view.can(charge).lots if charge else ()),
    )


def dose_of(build: Build, fraction: Fraction) -> float:
    """Hours at bed temperature that a fraction has seen by the heat model; 0 when the plan has none."""
    if build.heat is None or fraction not in HEATED:
        return 0.0
    dose = build.heat.dose
    if fraction is Fraction.CRUST:
        return dose.largest_h
    if fraction is Fraction.TOP:
        bands = dose.by_height()
        floor = bands[0][0] + (bands[-1][1] - bands[0][0]) * 2 / 3
        top = [(kg, h) for low, high, kg, h in bands if (low + high) / 2 >= floor]
        weight = sum(kg for kg, _ in top)
        return float(np.dot([kg for kg, _ in top], [h for _, h in top]) / weight) if weight > 0 else dose.mean_h
    return dose.mean_h


def _for_build(booking: Booking, plan: WeekPlan, build: Build, kind: ContainerKind, *, by: str, at: datetime) -> str:
    """The charge or parts of a build: made when they are not there yet."""
    known = booking.books.container_of(plan.version, build.key, kind)
    if known is not None:
        return known
    key = f"{kind} {plan.version}/{build.key}"
    booking.add_container(Container(key, kind, build.material), at=at, by=by, plan=plan.version, build=build.key)
    return key


def _book_parts(
    booking: Booking, plan: WeekPlan, build: Build, charge: str, parts_kg: float | None, *, by: str, at: datetime
) -> str:
    parts = _for_build(booking, plan, build, ContainerKind.PARTS, by=by, at=at)
    if booking.ledger.kg(parts) > 0:
        if parts_kg is not None:
            raise InputError(
                f"the parts of {build.key} are booked already, {booking.ledger.kg(parts):.3f} kg",
                remedy="correct that entry when it is wrong",
            )
        return parts
    booking.move(
        at=at, source=charge, target=parts, kg=build.powder.in_parts_kg if parts_kg is None else parts_kg, who=by,
        kind=EntryKind.PRINT, exposures=1, reason="weighed" if parts_kg is not None else "as planned",
    )  # fmt: skip
    return parts


def _book_fraction(
    booking: Booking, plan: WeekPlan, build: Build, charge: str, fraction: Fraction, kg: float, *, by: str,
    at: datetime,
) -> str:  # fmt: skip
    if fraction is Fraction.DUST:
        booking.move(at=at, source=charge, target=WASTE, kg=kg, who=by, kind=EntryKind.DISCARD,
                     reason=f"{build.key}: {fraction}")  # fmt: skip
        return WASTE
    note = f"{fraction} of {build.key}, plan {plan.version}"
    can = new_can(booking, _KIND_OF[fraction], build.material, by=by, at=at, plan=plan.version, build=build.key,
                  note=note)  # fmt: skip
    heated = fraction in HEATED
    booking.move(
        at=at, source=charge, target=can, kg=kg, who=by, kind=EntryKind.PRINT if heated else EntryKind.MOVE,
        exposures=int(heated), dose_h=dose_of(build, fraction), reason=str(fraction),
    )  # fmt: skip
    return can


def _find_surplus(
    booking: Booking, charge: str, came: Mapping[Fraction, Sequence[float]], parts_kg: float | None, build: Build,
    reason: str, *, by: str, at: datetime,
) -> None:  # fmt: skip
    """More came back than went in: only with a reason, booked as found before the rest."""
    already = booking.books.container_of(*_key(booking, charge), ContainerKind.PARTS)
    parts = 0.0 if already and parts_kg is None else build.powder.in_parts_kg if parts_kg is None else parts_kg
    total = round(parts * 1000) + sum(round(kg * 1000) for weights in came.values() for kg in weights)
    over = total - booking.ledger.grams()[charge]
    if over <= 0 or not reason.strip():
        return
    booking.move(at=at, source=FOUND, target=charge, kg=over / 1000, who=by, kind=EntryKind.WEIGH_IN,
                 reason=f"{build.key}: {reason.strip()}")  # fmt: skip


def _key(booking: Booking, charge: str) -> tuple[int, str]:
    fact = booking.books.facts[charge]
    assert fact.plan is not None and fact.build is not None  # a charge is made for a build
    return fact.plan, fact.build


def _enough(there_kg: float, build: Build) -> tuple[Finding, ...]:
    short = build.powder.charge_kg - there_kg
    if short <= WEIGHING_DEVIATION.value * build.powder.charge_kg:
        return ()
    return (
        Finding(
            "powder.charge-short",
            Severity.WARNING,
            f"{there_kg:.2f} kg charged, {build.powder.charge_kg:.2f} kg needed: {short:.2f} kg missing",
            where=build.key,
            remedy="add a blend before the print starts: a short feed leaves layers open",
        ),
    )


def _open_rest(rest: float, build_key: str) -> tuple[Finding, ...]:
    if rest <= GRAM:
        return ()
    return (
        Finding(
            "powder.charge-open",
            Severity.WARNING,
            f"{rest:.3f} kg of the charge did not come back yet",
            where=build_key,
            remedy="weigh the machine, hoses and filter; book it, or name the difference",
        ),
    )
