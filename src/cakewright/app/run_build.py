"""Run a build: a second pair of eyes releases it, a short list is gone through, labels are checked, it starts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from uuid import uuid4

from cakewright.app.authority import Step, require
from cakewright.app.learn_times import teach_from_floor
from cakewright.app.powder_blend import judge_can
from cakewright.app.powder_books import look
from cakewright.app.specimen_places import asks_for_test, places_words, specimen_places
from cakewright.app.upkeep import of_build, upkeep
from cakewright.documents.timeline import hours_of
from cakewright.documents.traveller import CHECKS
from cakewright.documents.verdicts import stop_reasons
from cakewright.documents.words import build_id
from cakewright.errors import InputError
from cakewright.findings import Severity
from cakewright.model.build import Build
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.sources.floor import CHECK_PRIOR_DONE, CHECK_PRIOR_FOUND
from cakewright.store import Store


class Look(StrEnum):
    """What the tool says about one point of a release."""

    GOOD = "good"
    LOOK = "look at it"
    BLOCKED = "blocked"


@dataclass(frozen=True, slots=True)
class ReleasePoint:
    """One point that the second pair of eyes sees: what, what was found, what to do."""

    what: str
    state: Look
    found: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class CheckPoint:
    """One check before the print: how often it found something, and what was said this time (None: not yet)."""

    key: str
    text: str
    done: int
    found: int
    said: FloorRecord | None

    @property
    def find_rate(self) -> float:
        """Expected share of checks that find something, from the record and a weak prior."""
        return (self.found + CHECK_PRIOR_FOUND.value) / (self.done + CHECK_PRIOR_DONE.value)


@dataclass(frozen=True, slots=True)
class RunState:
    """Where a build is on its way to the machine."""

    points: tuple[ReleasePoint, ...]
    released: FloorRecord | None
    checks: tuple[CheckPoint, ...]
    scans: tuple[FloorRecord, ...]
    started: datetime | None
    ended: datetime | None
    blocked: tuple[str, ...]

    @property
    def may_start(self) -> bool:
        """True when nothing blocks the start."""
        return not self.blocked and self.started is None


def run_state(store: Store, plan: WeekPlan, build: Build, at: datetime | None = None) -> RunState:
    """Everything that is known about the start of a build; `at` is now (default: the plan's start)."""
    records = store.floor.records(plan=plan.version, build=build.key)
    released = next((r for r in reversed(records) if r.kind is FloorKind.RELEASE), None)
    checks = check_points(store, records)
    scans = tuple(r for r in records if r.kind is FloorKind.SCAN)
    started, ended = _times(store, plan, build)
    points = release_points(store, plan, build, at)
    return RunState(points, released, checks, scans, started, ended, _blocks(points, released, checks, scans))


def release_points(
    store: Store, plan: WeekPlan, build: Build, at: datetime | None = None
) -> tuple[ReleasePoint, ...]:  # fmt: skip
    """What a second person looks at before a build may start; `at` (default: the plan's start) is now."""
    at = at or plan.start
    newest = store.newest()
    stops = stop_reasons(build)
    points = [
        ReleasePoint(
            "the plan is the newest",
            Look.GOOD if newest == plan.version else Look.LOOK,
            f"plan {plan.version} of {newest}",
            "" if newest == plan.version else "a newer plan may have moved lines: compare before releasing",
        ),
        ReleasePoint(
            "the nest is proven",
            Look.BLOCKED if stops else Look.GOOD,
            "; ".join(stops) if stops else "distances kept and everything can be taken out",
            "plan again; this nest must not be printed" if stops else "",
        ),
        _material(plan, build),
        *_revisions(store, plan, build),
        _findings(plan, build),
        _specimens(plan, build),
        _promises(plan, build),
        _upkeep(store, plan, build, at),
    ]
    return tuple(points)


def release(store: Store, plan: WeekPlan, build: Build, *, by: str, at: datetime, note: str = "") -> FloorRecord:
    """A second person lets the build start. InputError for the planner's own name, or while a point is blocked."""
    if by.strip() and by.strip() == plan.made_by:
        raise InputError(f"{by} made this plan", remedy="somebody else must look at it and release it", where="by")
    require(store, by, Step.RELEASE_BUILD, at.date())
    blocked = [p for p in release_points(store, plan, build, at) if p.state is Look.BLOCKED]
    if blocked:
        raise InputError(f"{blocked[0].what}: {blocked[0].found}", remedy=blocked[0].remedy, where=build.key)
    hashes = {plan.parts[k].origin.file: plan.parts[k].origin.sha256 for k in _keys(build)}
    data: dict[str, Value] = {"note": note, "files": len(hashes), "first_file": next(iter(sorted(hashes)), "")}
    return _add(store, plan, build, FloorKind.RELEASE, by=by, at=at, data=data)


def say_check(
    store: Store,
    plan: WeekPlan,
    build: Build,
    key: str,
    *,
    by: str,
    at: datetime,
    found: str = "",
    uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:
    """One check is done: fine, or what was `found` (and put right)."""
    texts = dict(_listed())
    if key not in texts:
        raise InputError(f"there is no check {key!r}", remedy=f"one of: {', '.join(texts)}")
    data: dict[str, Value] = {"check": key, "text": texts[key], "found": found.strip()}
    return _add(store, plan, build, FloorKind.CHECK, by=by, at=at, data=data, uid=uid, kept_at=kept_at)


def scan(store: Store, plan: WeekPlan, build: Build, code: str, *, by: str, at: datetime, uid: str = "",
         kept_at: datetime | None = None) -> FloorRecord:  # fmt: skip
    """Hold a label against the build: a chamber, a powder can or charge, the traveller, or a short code typed.

    The record says what the code is, and 'right' or the reason why it is wrong; a wrong label blocks the start
    until the right one was held against it.
    """
    what, reason = _judge_code(store, plan, build, code.strip(), at.date())
    data: dict[str, Value] = {"code": code.strip()[:200], "what": what, "verdict": reason or "right"}
    return _add(store, plan, build, FloorKind.SCAN, by=by, at=at, data=data, uid=uid, kept_at=kept_at)


def start(store: Store, plan: WeekPlan, build: Build, *, by: str, at: datetime) -> None:
    """The print has begun. InputError while something blocks it, when it has begun already, or without authority."""
    require(store, by, Step.START, at.date())
    state = run_state(store, plan, build, at)
    if state.started is not None:
        raise InputError(f"{build.key} was started {state.started:%Y-%m-%d %H:%M} UTC", remedy="note its end instead")
    if state.blocked:
        raise InputError(f"{build.key} may not start: {state.blocked[0]}", remedy="put that right first")
    store.schedule.note_progress(plan=plan.version, kind=TaskKind.PRINT, build=build.key, started=at, at=at, by=by)


def end(
    store: Store, plan: WeekPlan, build: Build, *, by: str, at: datetime, machine_end: datetime | None = None
) -> None:  # fmt: skip
    """The print has ended. InputError when it was never started, or ended before it began.

    With `machine_end`, the end by the machine's own clock, the print teaches the hours of its machine: an end noted
    when somebody came in would teach nothing true.
    """
    started, ended = _times(store, plan, build)
    if started is None:
        raise InputError(f"{build.key} was never started", remedy="note its start first")
    if ended is not None:
        raise InputError(f"{build.key} ended {ended:%Y-%m-%d %H:%M} UTC", remedy="nothing to do")
    if machine_end is not None and not started < machine_end <= at:
        raise InputError(f"an end at {machine_end:%Y-%m-%d %H:%M} UTC", where="end",
                         remedy=f"between its start {started:%Y-%m-%d %H:%M} UTC and now")  # fmt: skip
    store.schedule.note_progress(
        plan=plan.version, kind=TaskKind.PRINT, build=build.key, started=started, ended=machine_end or at, at=at, by=by
    )
    if machine_end is not None:
        teach_from_floor(store, plan, build, started=started, ended=machine_end, by=by, at=at)


def open_early(store: Store, plan: WeekPlan, build: Build, *, by: str, at: datetime, reason: str) -> FloorRecord:
    """The cake is opened before it is cool: needs a name and a reason, and puts its pieces on the warp list."""
    require(store, by, Step.OPEN_EARLY, at.date())
    if not reason.strip():
        raise InputError("no reason is given for opening early", remedy="say why; the pieces go on the warp list")
    hours = hours_of(plan, build)
    likely = f"{hours.opening[1]:%Y-%m-%d %H:%M} UTC" if hours.opening else "not computed"
    data: dict[str, Value] = {"reason": reason.strip(), "cool_by_model": likely, "pieces": build.pieces}
    return _add(store, plan, build, FloorKind.OPENED_EARLY, by=by, at=at, data=data)


def check_points(store: Store, records: Iterable[FloorRecord]) -> tuple[CheckPoint, ...]:
    """The checks, those that find things first; the record of every build teaches which those are."""
    said = {str(r.data["check"]): r for r in records if r.kind is FloorKind.CHECK}
    done: dict[str, int] = {}
    found: dict[str, int] = {}
    for r in store.floor.records(kind=FloorKind.CHECK):
        key = str(r.data["check"])
        done[key] = done.get(key, 0) + 1
        found[key] = found.get(key, 0) + bool(r.data.get("found"))
    points = [CheckPoint(k, text, done.get(k, 0), found.get(k, 0), said.get(k)) for k, text in _listed()]
    return tuple(sorted(points, key=lambda p: -p.find_rate if p.done else -CHECK_PRIOR_FOUND.value))


def _listed() -> tuple[tuple[str, str], ...]:
    return tuple((f"c{i + 1:02d}", text) for i, text in enumerate(CHECKS))


def _keys(build: Build) -> set[str]:
    return {p.part_key for p in build.nest.placements}


def _add(
    store: Store, plan: WeekPlan, build: Build, kind: FloorKind, *, by: str, at: datetime, data: dict[str, Value],
    uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    record = FloorRecord(uid or uuid4().hex, plan.version, kind, by, at, build.key, data=data)
    return store.floor.add([record], kept_at=kept_at or at)[0]


def _times(store: Store, plan: WeekPlan, build: Build) -> tuple[datetime | None, datetime | None]:
    mine = [p for p in store.schedule.progress_of(plan.version) if p.build == build.key and p.kind is TaskKind.PRINT]
    started = next((p.started for p in reversed(mine) if p.started), None)
    ended = next((p.ended for p in reversed(mine) if p.ended), None)
    return started, ended


def _blocks(
    points: Iterable[ReleasePoint],
    released: FloorRecord | None,
    checks: Iterable[CheckPoint],
    scans: Iterable[FloorRecord],
) -> tuple[str, ...]:
    found = [f"{p.what}: {p.found}" for p in points if p.state is Look.BLOCKED]
    if released is None:
        found.append("nobody has released it")
    open_checks = [c for c in checks if c.said is None]
    if open_checks:
        found.append(f"{len(open_checks)} checks are open, first: {open_checks[0].text}")
    last = {str(r.data["what"]): r for r in scans}
    found += [f"the {what} held against it is wrong: {r.data['verdict']}" for what, r in last.items()
              if r.data["verdict"] != "right"]  # fmt: skip
    return tuple(found)


def _material(plan: WeekPlan, build: Build) -> ReleasePoint:
    machine = plan.cell.machine(build.machine)
    good = machine.material == build.material
    return ReleasePoint(
        "machine and powder agree",
        Look.GOOD if good else Look.BLOCKED,
        f"{build.machine} is kept for {machine.material}, the build is {build.material}",
        "" if good else "use a machine of that powder, or change it over first (about a day)",
    )


def _revisions(store: Store, plan: WeekPlan, build: Build) -> list[ReleasePoint]:
    """Is a newer file of the same part known in the newest plan?"""
    newest = store.newest()
    later = store.load_plan(newest) if newest is not None and newest != plan.version else plan
    now = {(part.name, part.revision): part.origin.sha256 for part in later.parts.values()}
    names: dict[str, set[str]] = {}
    for name, revision in now:
        names.setdefault(name, set()).add(revision)
    changed = []
    for key in sorted(_keys(build)):
        part = plan.parts[key]
        here = now.get((part.name, part.revision))
        if here is not None and here != part.origin.sha256:
            changed.append(f"{part.name} rev {part.revision or '-'}: the file has changed since")
        newer = sorted(r for r in names.get(part.name, set()) if r > part.revision)
        if newer:
            changed.append(f"{part.name}: revision {newer[-1]} is known, this build prints {part.revision or 'none'}")
    if changed:
        remedy = "plan again with the revision that is wanted now; this file must not be printed"
        return [ReleasePoint("files and revisions", Look.BLOCKED, "; ".join(changed), remedy)]
    hashes = len({plan.parts[k].origin.sha256 for k in _keys(build)})
    return [ReleasePoint("files and revisions", Look.GOOD, f"{hashes} files, none replaced by a newer one")]


def _findings(plan: WeekPlan, build: Build) -> ReleasePoint:
    doubts = [f for k in sorted(_keys(build)) for f in plan.parts[k].findings if f.severity.value == "warning"]
    if not doubts:
        return ReleasePoint("doubts about parts", Look.GOOD, "none")
    return ReleasePoint("doubts about parts", Look.LOOK, f"{len(doubts)}, first: {doubts[0].message}", "read them once")


def _specimens(plan: WeekPlan, build: Build) -> ReleasePoint:
    asks = [n for n in build.lines if asks_for_test(plan, n)]
    if not asks:
        return ReleasePoint("test specimens", Look.GOOD, "no class of this build asks for them")
    there = specimen_places(plan, build)
    if there:
        return ReleasePoint("test specimens", Look.GOOD, f"{len(there)} stand in it: {places_words(there)}")
    return ReleasePoint(
        "test specimens", Look.LOOK, f"line {asks[0]} asks for a test, and no specimen stands in this build: its lines "
        "will be held", "add a line with the flag 'witness' and plan again, or agree to test pieces",
    )  # fmt: skip


def _promises(plan: WeekPlan, build: Build) -> ReleasePoint:
    late = [p.line for p in plan.promises if p.line in build.lines and p.is_late]
    if late:
        return ReleasePoint("dates", Look.LOOK, f"late: {', '.join(f'L{n:02d}' for n in late)}", "the customers know?")
    return ReleasePoint("dates", Look.GOOD, "every line of it is planned to be on time")


def _upkeep(store: Store, plan: WeekPlan, build: Build, at: datetime) -> ReleasePoint:
    found = of_build(upkeep(store, plan, at), build)
    if not found:
        return ReleasePoint("upkeep of the machine", Look.GOOD, "nothing is due before this build has ended")
    over = any(f.severity is Severity.BLOCKING for f in found)
    said = "; ".join(f"{f.where}: {f.message}" for f in found)
    return ReleasePoint("upkeep of the machine", Look.BLOCKED if over else Look.LOOK, said, found[0].remedy)


def _judge_code(store: Store, plan: WeekPlan, build: Build, code: str, today: date) -> tuple[str, str]:
    """What a code is, and why it is wrong ('' when it is right)."""
    text = code.removeprefix("cakewright:")
    hours = hours_of(plan, build)
    for chamber in plan.cell.chambers:
        if text.casefold() == chamber.name.casefold():
            return "chamber", _wrong_chamber(plan, build, chamber.name, hours.chamber)
    if (verdict := _wrong_traveller(plan, build, text)) is not None:
        return "traveller", verdict
    for can in look(store).ledger.containers:
        if text.casefold() in (can.casefold(), f"can/{can}".casefold()):
            return "powder", judge_can(store, plan, build.key, can, today)
    for machine in plan.cell.machines:
        if text.casefold() == machine.name.casefold():
            wanted = build.machine
            return "machine", "" if machine.name == wanted else f"this is {machine.name}, the build is for {wanted}"
    return "label", f"{code[:40]!r} is no chamber, machine, can or traveller that is known: an unlabelled can is waste"


def _wrong_traveller(plan: WeekPlan, build: Build, text: str) -> str | None:
    """'' for the paper of this build (its QR code, or the build's key typed), why not for another; None: no paper."""
    right = build_id(plan, build.key).removeprefix("cakewright:")
    if text.casefold() in (right.casefold(), build.key.casefold(), f"plan-{plan.version}/{build.key}".casefold()):
        return ""
    if text.casefold().startswith(f"{right.casefold()}/"):  # a tray label of this build
        return ""
    other = next((b.key for b in plan.builds if text.casefold() == b.key.casefold()), None)
    if other is None and not text.startswith("plan-"):
        return None
    return f"it belongs to {other or text}, not to build {build.key} of plan {plan.version}"


def _wrong_chamber(plan: WeekPlan, build: Build, found: str, planned: str) -> str:
    chamber = next(c for c in plan.cell.chambers if c.name == found)
    if chamber.material != build.material:
        return f"{found} is kept for {chamber.material}, the build needs {build.material}"
    if chamber.type != build.chamber_type:
        return f"{found} is of size {chamber.type}, the build needs {build.chamber_type}"
    return "" if not planned or planned == found else f"planned is {planned}; {found} would fit: plan again with it"
