"""Something is wrong with a piece: which others may be too, what becomes of them, what is to be made again."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import keep
from cakewright.app.powder_books import look
from cakewright.errors import InputError
from cakewright.model.build import Build, Placement
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.powder.ledger import ContainerKind
from cakewright.sources.floor import CONTAINMENT_MM
from cakewright.store import Store

REASONS = ("same build", "same layers", "same blend", "same powder lot", "same basket")


@dataclass(frozen=True, slots=True)
class Suspect:
    """A piece that shares something with the flawed one."""

    piece: str
    line: int
    build: str
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Mistake:
    """A nonconformance as it was kept, and the decision when there is one."""

    record: FloorRecord
    decision: FloorRecord | None


def suspects(store: Store, plan: WeekPlan, piece: str) -> tuple[Suspect, ...]:
    """Pieces that may share the flaw of `piece`, those that share most first.

    Same build; within a few millimetres of its height ("same layers"); builds charged from the same blend; builds
    that hold the same virgin lot; pieces of lines that shared a basket or bath. InputError for a strange piece.
    """
    build, place = _find(plan, piece)
    low, high = place.z_min_mm - CONTAINMENT_MM.value, place.z_max_mm + CONTAINMENT_MM.value
    basket_lines = _basket_company(store, plan, place.line)
    charged, blended = _same_charge(store, plan, build), sharing_blend(store, plan, build)
    found: list[Suspect] = []
    for other in plan.builds:
        for p in other.nest.placements:
            if p.piece == piece:
                continue
            here = other.key == build.key
            layers = here and p.z_min_mm <= high and p.z_max_mm >= low
            tests = (here, layers, other.key in blended, other.key in charged, p.line in basket_lines)
            why = [word for word, hit in zip(REASONS, tests, strict=True) if hit]
            if why:
                found.append(Suspect(p.piece, p.line, other.key, tuple(why)))
    return tuple(sorted(found, key=lambda s: (-len(s.why), s.build, s.piece)))


def report_mistake(
    store: Store, plan: WeekPlan, piece: str, *, what: str, cause: str, by: str, at: datetime, uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Keep what is wrong with a piece; what shares something with it is to be held until somebody decides."""
    if not what.strip():
        raise InputError("nothing is said about what is wrong", remedy="write what you see", where="what")
    build, place = _find(plan, piece)
    held = suspects(store, plan, piece)
    data: dict[str, Value] = {"what": what.strip(), "cause": cause.strip(), "held": len(held),
                              "held_layers": sum("same layers" in s.why for s in held)}  # fmt: skip
    return keep(store, plan, FloorKind.MISTAKE, data, by=by, at=at, build=build.key, line=place.line, piece=piece,
                uid=uid, kept_at=kept_at)  # fmt: skip


def decide(
    store: Store, plan: WeekPlan, number: int, decision: str, *, by: str, at: datetime, cause: str = "",
    action: str = "", uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """What becomes of a nonconformance: accept, sort, rework, reject and remake, or ask for a concession.

    A remake wants a cause, here or in the report: without one the second remake follows. `action` is what is changed.
    """
    if decision not in DECISIONS:
        raise InputError(f"{decision[:40]!r} is no decision", remedy=f"one of: {', '.join(DECISIONS)}")
    about = next((m for m in mistakes(store, plan) if m.record.number == number), None)
    if about is None:
        raise InputError(f"there is no nonconformance {number} in plan {plan.version}")
    if about.decision is not None:
        raise InputError(f"it was decided by {about.decision.by}: {about.decision.data['decision']}")
    require(store, by, Step.RELEASE_PARTS, at.date())
    r = about.record
    known_cause = cause.strip() or str(r.data.get("cause", ""))
    if decision == REMAKE and not known_cause:
        raise InputError("no cause is named", remedy="say what it was, or 'not found: ...' and what was looked at",
                         where="cause")  # fmt: skip
    data: dict[str, Value] = {"about": r.number, "decision": decision, "cause": known_cause, "action": action.strip()}
    return keep(store, plan, FloorKind.DECIDED, data, by=by, at=at, build=r.build, line=r.line, piece=r.piece, uid=uid,
                kept_at=kept_at)  # fmt: skip


REMAKE = "reject and remake"
DECISIONS = ("accept", "sort", "rework", REMAKE, "ask for a concession")


def mistakes(store: Store, plan: WeekPlan) -> tuple[Mistake, ...]:
    """Every nonconformance of a plan, newest first, with its decision."""
    decided = {int(r.data["about"]): r for r in store.floor.records(plan=plan.version, kind=FloorKind.DECIDED)}
    records = store.floor.records(plan=plan.version, kind=FloorKind.MISTAKE)
    return tuple(Mistake(r, decided.get(r.number)) for r in reversed(records))


def causes(kept: Iterable[Mistake]) -> tuple[tuple[str, int], ...]:
    """Causes named so far with how often, the most frequent first."""
    counts: dict[str, int] = {}
    for m in kept:
        cause = str((m.decision.data.get("cause") if m.decision else "") or m.record.data.get("cause") or "not named")
        counts[cause] = counts.get(cause, 0) + 1
    return tuple(sorted(counts.items(), key=lambda c: (-c[1], c[0])))


def sharing_blend(store: Store, plan: WeekPlan, build: Build) -> frozenset[str]:
    """Builds of the plan charged from a blend that this build was charged from, itself included; from the ledger."""
    books = look(store).books
    moves = books.ledger.movements()
    blends: dict[str, set[str]] = {}
    for b in plan.builds:
        charge = books.container_of(plan.version, b.key, ContainerKind.CHARGE)
        blends[b.key] = {m.source for m in moves
                         if charge and m.target == charge
                         and books.ledger.container(m.source).kind is ContainerKind.BLEND}  # fmt: skip
    return frozenset(key for key, of in blends.items() if of & blends[build.key])


def _find(plan: WeekPlan, piece: str) -> tuple[Build, Placement]:
    for build in plan.builds:
        for place in build.nest.placements:
            if place.piece == piece:
                return build, place
    raise InputError(f"plan {plan.version} has no piece {piece!r}", remedy="read it from the unpacking map")


def _basket_company(store: Store, plan: WeekPlan, line: int) -> set[int]:
    company: set[int] = set()
    for record in store.floor.records(plan=plan.version, kind=FloorKind.BASKET):
        lines = {int(n) for n in str(record.data.get("lines", "")).split() if n.isdigit()}
        if line in lines:
            company |= lines
    return company


def _same_charge(store: Store, plan: WeekPlan, build: Build) -> set[str]:
    """Builds that hold a virgin lot that this build holds as well, by the shares kept in the ledger."""
    mine = set(store.powder.shares(plan.version, build.key))
    if not mine:
        return set()
    return {b.key for b in plan.builds if mine & set(store.powder.shares(plan.version, b.key))}
