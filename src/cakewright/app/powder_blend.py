"""The blend of one planned build: which cans, how much of each, and what the scale really showed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from cakewright.app.authority import Step, require
from cakewright.app.powder_books import FOUND, MISSING, code_of, look
from cakewright.app.powder_build import GRAM, build_powder
from cakewright.app.powder_deeds import new_can, open_accounts
from cakewright.app.powder_rules import BlendMode, build_rule
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.powder.blend import Blend, Can, Pick, check_weighing, mix_state, work_out_blend
from cakewright.powder.ledger import ContainerKind, EntryKind
from cakewright.sources.powder import WEIGHING_DEVIATION
from cakewright.store import Store
from cakewright.store.powder import Booking

EMPTIED = "poured out whole: the scale differs from the books"


@dataclass(frozen=True, slots=True)
class Proposal:
    """A charge worked out from what is on the shelf, and the cans it takes from."""

    build: str
    mode: BlendMode
    blend: Blend
    cans: tuple[Can, ...]


@dataclass(frozen=True, slots=True)
class Weighing:
    """What the slip asked for and what the scale showed; `is_emptied`: all that was in the can."""

    can: str
    asked_kg: float
    weighed_kg: float
    is_emptied: bool = False


@dataclass(frozen=True, slots=True)
class Mixed:
    """A blend that was weighed: its code, kilograms, expected melt flow and mean age."""

    blend: str
    kg: float
    flow: float
    age: float


def propose_blend(
    store: Store,
    plan: WeekPlan,
    build_key: str,
    *,
    today: date,
    mode: BlendMode = BlendMode.FIXED,
    most_lots: int | None = None,
    only: Sequence[str] | None = None,
) -> Proposal:
    """Which cans and how much virgin powder make the charge of a build; InputError with the figures when none do.

    `only` narrows the choice to these cans. What is blended or charged for the build already counts: the
    proposal is for what is missing, and refused when nothing is.
    """
    build = plan.build(build_key)
    view = look(store)
    missing = _missing_kg(store, plan, build)
    cans = view.for_blending(build.material, today) if not view.is_empty else ()
    if only:
        wanted = {code_of(view.ledger, code) for code in only}
        cans = tuple(can for can in cans if can.key in wanted)
    if not cans:
        raise InputError(
            f"no {build.material} on the shelf that may be used",
            remedy="book the delivery, file the certificate, or sieve what came back",
            where=build_key,
        )
    rule = build_rule(plan, build, mode, most_lots=most_lots)
    blend = work_out_blend(cans, charge_kg=missing, rule=rule)
    return Proposal(build_key, mode, blend, tuple(c for c in cans if c.key in {p.can for p in blend.picks}))


def _missing_kg(store: Store, plan: WeekPlan, build: Build) -> float:
    """What a build still needs, to the scale's step; InputError when it was printed or has its charge."""
    done, need = build_powder(store, plan.version, build.key), build.powder.charge_kg
    if done.parts_kg > 0:
        raise InputError(f"{build.key} of plan {plan.version} was printed and booked back already", where=build.key)
    there = done.charge_kg + sum(kg for _, kg in done.blends)
    if need - there <= WEIGHING_DEVIATION.value * need:
        raise InputError(
            f"{there:.2f} kg are blended or charged for {build.key}, which needs {need:.2f} kg",
            remedy="pour it in and print",
            where=build.key,
        )
    return round(need - there, 2)


def weigh_blend(
    store: Store,
    plan: WeekPlan,
    build_key: str,
    weighings: Sequence[Weighing],
    *,
    by: str,
    at: datetime,
    reason: str = "",
) -> Mixed:
    """Book what was weighed into the mixer as a new blend for a build.

    A weighing outside its limit is refused with what to add or take out, unless `reason` says why it stays.
    What an emptied can held more or less than the books say is booked as found or missing under that name.
    """
    require(store, by, Step.BLEND, at.date())
    build = plan.build(build_key)
    if not weighings:
        raise InputError("nothing was weighed", remedy="weigh at least one can", where=build_key)
    limit = WEIGHING_DEVIATION.value * sum(w.asked_kg for w in weighings)
    cans = {c.key: c for c in look(store).for_blending(build.material, at.date())}
    with store.powder.booking() as booking:
        open_accounts(booking, by=by, at=at)
        mixed: list[tuple[Can, float]] = []
        target = new_can(booking, ContainerKind.BLEND, build.material, by=by, at=at, plan=plan.version,
                         build=build_key, note=f"for {build_key}")  # fmt: skip
        for order, w in enumerate(weighings, start=1):
            key = code_of(booking.ledger, w.can)
            off = check_weighing(Pick(order, key, w.asked_kg, False, False, limit), w.weighed_kg)
            if off and not reason.strip():
                raise InputError(off, remedy="or give the reason why it stays as it is", where=key)
            if w.is_emptied:
                _found_in(booking, key, w.weighed_kg, by=by, at=at)
            booking.move(at=at, source=key, target=target, kg=w.weighed_kg, who=by, reason=reason.strip())
            if w.is_emptied:
                _missing_in(booking, key, by=by, at=at)
            if key in cans:
                mixed.append((cans[key], w.weighed_kg))
        flow, age = mix_state(mixed) if mixed else (0.0, 0.0)
        return Mixed(target, booking.ledger.kg(target), flow, age)


def _found_in(booking: Booking, can: str, kg: float, *, by: str, at: datetime) -> None:
    """A can that is poured out whole held more than the books say."""
    over = round(kg * 1000) - booking.ledger.grams()[can]
    if over > 0:
        booking.move(at=at, source=FOUND, target=can, kg=over / 1000, who=by, kind=EntryKind.WEIGH_IN, reason=EMPTIED)


def _missing_in(booking: Booking, can: str, *, by: str, at: datetime) -> None:
    """A can that was poured out whole held less than the books say."""
    rest = booking.ledger.kg(can)
    if rest > GRAM:
        booking.move(at=at, source=can, target=MISSING, kg=rest, who=by, kind=EntryKind.WEIGH_IN, reason=EMPTIED)


def judge_can(store: Store, plan: WeekPlan, build_key: str, code: str, today: date) -> str:
    """Why the powder in a scanned can must not go into the machine for a build; empty when it may.

    Wrong material, no label, a lot without certificate or past its date, a blend of another build, an empty can, or
    powder that was not blended and sieved.
    """
    view, build = look(store), plan.build(build_key)
    try:
        key = code_of(view.ledger, code)
    except InputError as unknown:
        return unknown.text
    container, fact = view.ledger.containers[key], view.books.facts[key]
    if container.material != build.material:
        return f"{key} holds {container.material}, {build_key} needs {build.material}"
    if why := view.blocked(container, today):
        return why
    if container.kind not in (ContainerKind.BLEND, ContainerKind.CHARGE):
        return f"{key} is a {container.kind}: only a blend goes into a machine"
    if fact.build and (fact.plan, fact.build) != (plan.version, build_key):
        return f"{key} was mixed for {fact.build} of plan {fact.plan}"
    charged = view.books.container_of(plan.version, build_key, ContainerKind.CHARGE)
    if view.ledger.kg(key) <= 0 and not (charged and view.ledger.kg(charged) > 0):
        return f"{key} is empty"
    return ""


def judge_weighing(can: str, asked_kg: float, limit_kg: float, weighed: str) -> tuple[str, bool]:
    """(what to do, is it good) for a figure typed while the can stands on the scale."""
    try:
        kg = float(weighed.replace(",", "."))
        off = check_weighing(Pick(1, can, asked_kg, False, False, limit_kg), kg)
    except ValueError:
        return ("type what the scale shows", False) if weighed.strip() else ("", False)
    return (off, False) if off else (f"good: {kg - asked_kg:+.3f} kg", True)
