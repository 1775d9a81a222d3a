"""Which lines may be packed: what still holds a line, and who let it go in spite of that."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from cakewright.app.authority import Step, require
from cakewright.app.contain import Mistake, mistakes, sharing_blend
from cakewright.app.floor_note import keep
from cakewright.app.gauges import gauge_doubts
from cakewright.app.inspect_line import verdict_of
from cakewright.app.specimen_places import asks_for_test
from cakewright.app.specimens import SpecimenSet, specimen_set
from cakewright.errors import InputError
from cakewright.findings import Severity
from cakewright.model.build import Build
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.store import Store


class Gate(StrEnum):
    """Whether a line may be packed."""

    OPEN = "may be packed"
    HELD = "held"
    RELEASED = "released in spite of a reason to hold it"


@dataclass(frozen=True, slots=True)
class Hold:
    """One reason why a line is held: what, what to do; `release` is who let it go all the same."""

    what: str
    remedy: str
    build: str
    release: FloorRecord | None = None


@dataclass(frozen=True, slots=True)
class LineGate:
    """The gate of one line."""

    line: int
    holds: tuple[Hold, ...]

    @property
    def state(self) -> Gate:
        """Held while one reason stands; released when people let go of all of them."""
        if not self.holds:
            return Gate.OPEN
        return Gate.RELEASED if all(h.release for h in self.holds) else Gate.HELD

    @property
    def is_held(self) -> bool:
        """True when it must not be packed."""
        return self.state is Gate.HELD

    @property
    def why(self) -> str:
        """What still holds it, in words; '' when nothing does."""
        return "; ".join(h.what for h in self.holds if h.release is None)


def line_gate(store: Store, plan: WeekPlan, line: int) -> LineGate:
    """What holds a line: specimens not passed, nonconformances not decided, bad pieces, values of an overdue gauge."""
    return gates(store, plan, (line,))[line]


def gates(store: Store, plan: WeekPlan, lines: tuple[int, ...] | None = None) -> dict[int, LineGate]:
    """The gates of several lines (default: all that are in a build), with each build looked at once."""
    with store.floor.still():
        return _gates(store, plan, lines)


def _gates(store: Store, plan: WeekPlan, lines: tuple[int, ...] | None) -> dict[int, LineGate]:
    numbers = lines if lines is not None else tuple(dict.fromkeys(n for b in plan.builds for n in b.lines))
    wanted = {b.key for n in numbers for b in plan.builds_of(n)}
    sets = {b.key: specimen_set(store, plan, b) for b in plan.builds}
    blends = {key: sharing_blend(store, plan, plan.build(key)) for key in wanted}
    kept = mistakes(store, plan)
    releases = [r for r in store.floor.records(plan=plan.version, kind=FloorKind.SPECIMEN)
                if r.data["deed"] == "release"]  # fmt: skip
    found = {}
    for n in numbers:
        holds = [h for b in plan.builds_of(n) for h in _of_specimens(plan, n, b, sets, blends[b.key])]
        holds += [_of_mistake(k) for k in kept if k.record.line == n and k.decision is None]
        holds += _of_inspection(store, plan, n, {k.record.piece for k in kept if k.decision is not None})
        found[n] = LineGate(n, tuple(_let_go(h, n, releases) for h in holds))
    return found


def release_line(
    store: Store, plan: WeekPlan, line: int, *, reason: str, by: str, at: datetime, uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Let a held line go: an authorised person and a reason. InputError when it is not held, or without either.

    The release covers the reasons that stand at that moment; a later one holds the line again.
    """
    if not reason.strip():
        raise InputError("no reason is given", remedy="say why it may go, for example the concession agreed")
    require(store, by, Step.RELEASE_PARTS, at.date())
    gate = line_gate(store, plan, line)
    if not gate.is_held:
        raise InputError(f"line {line} is not held: it {gate.state}", remedy="nothing to release")
    data: dict[str, Value] = {"deed": "release", "reason": reason.strip(), "held_for": gate.why[:3000]}
    return keep(store, plan, FloorKind.SPECIMEN, data, by=by, at=at, line=line, uid=uid, kept_at=kept_at)


def refuse_held(store: Store, plan: WeekPlan, line: int) -> None:
    """InputError with the reason when a line is held: it must not be packed."""
    gate = line_gate(store, plan, line)
    if gate.is_held:
        first = next(h for h in gate.holds if h.release is None)
        raise InputError(f"{plan.line(line).key} is held: {gate.why}", remedy=first.remedy, where="line")


def _of_specimens(
    plan: WeekPlan, line: int, build: Build, sets: dict[str, SpecimenSet], company: frozenset[str]
) -> list[Hold]:
    holds = []
    mine = sets[build.key]
    if asks_for_test(plan, line) and not mine.is_passed:
        holds.append(Hold(f"{build.key}: {_why_not_passed(mine)}", _remedy(mine), build.key))
    for other in company - {build.key}:
        low = [f for f in sets[other].findings if f.code == "quality.specimen-low"]
        if low:
            holds.append(Hold(f"{build.key} has the same blend as {other}, whose specimens failed: {low[0].message}",
                              low[0].remedy, build.key))  # fmt: skip
    if not asks_for_test(plan, line):
        low = [f for f in mine.findings if f.code == "quality.specimen-low"]
        holds += [Hold(f"{build.key}: specimens failed: {f.message}", f.remedy, build.key) for f in low]
    return holds


def _why_not_passed(seen: SpecimenSet) -> str:
    if not seen.places:
        return "no specimens stand in this build, but its class wants a test"
    if not seen.limits:
        return f"no limit is entered for specimens of {seen.material}"
    return "specimens not passed: " + "; ".join(f.message for f in seen.findings)


def _remedy(seen: SpecimenSet) -> str:
    if not seen.places:
        return "test pieces instead and let an authorised person release it with that reason"
    if not seen.limits:
        return "enter the limits on the page Specimens"
    return seen.findings[0].remedy if seen.findings else ""


def _of_mistake(kept: Mistake) -> Hold:
    r = kept.record
    return Hold(f"{r.piece}: {r.data['what']} (not decided)", "decide it on the page Something is wrong", r.build)


def _of_inspection(store: Store, plan: WeekPlan, line: int, decided: set[str]) -> list[Hold]:
    if not plan.builds_of(line):
        return []
    seen = verdict_of(store, plan, line)
    bad = [p for p in seen.bad_pieces if p not in decided]
    holds = []
    if len(bad) > seen.sample.accept:
        holds.append(Hold(f"inspection found {len(bad)} bad, at most {seen.sample.accept} may be: {', '.join(bad[:6])}",
                          "report and decide each on the page Something is wrong", ""))  # fmt: skip
    for f in gauge_doubts(store, seen.readings):
        if f.severity is Severity.BLOCKING:
            holds.append(Hold(f"measured with a gauge that is not fit: {f.where}: {f.message}", f.remedy, ""))
    return holds


def _let_go(hold: Hold, line: int, releases: list[FloorRecord]) -> Hold:
    """The newest release of the line that names this reason."""
    for r in reversed(releases):
        if r.line == line and hold.what in str(r.data["held_for"]):
            return Hold(hold.what, hold.remedy, hold.build, r)
    return hold
