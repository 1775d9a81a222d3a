"""Run a build: a second pair of eyes releases it, a short list is gone through, labels are checked, it starts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import uuid4

from cakewright.app.authority import Step, require
from cakewright.app.judge_label import judge_label
from cakewright.app.learn_times import teach_from_floor
from cakewright.app.release_points import Look, ReleasePoint, part_keys, release_points
from cakewright.app.start_labels import LabelState, label_blocks, label_states
from cakewright.documents.timeline import hours_of
from cakewright.documents.traveller import CHECKS
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.sources.floor import CHECK_PRIOR_DONE, CHECK_PRIOR_FOUND
from cakewright.store import Store


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
    labels: tuple[LabelState, ...]
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
    blocked = (*_blocks(points, released, checks), *label_blocks(records))
    return RunState(points, released, checks, scans, label_states(records), started, ended, blocked)


def release(store: Store, plan: WeekPlan, build: Build, *, by: str, at: datetime, note: str = "") -> FloorRecord:
    """A second person lets the build start. InputError for the planner's own name, or while a point is blocked."""
    if by.strip() and by.strip() == plan.made_by:
        raise InputError(f"{by} made this plan", remedy="somebody else must look at it and release it", where="by")
    require(store, by, Step.RELEASE_BUILD, at.date())
    blocked = [p for p in release_points(store, plan, build, at) if p.state is Look.BLOCKED]
    if blocked:
        raise InputError(f"{blocked[0].what}: {blocked[0].found}", remedy=blocked[0].remedy, where=build.key)
    hashes = {plan.parts[k].origin.file: plan.parts[k].origin.sha256 for k in part_keys(build)}
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
    what, reason = judge_label(store, plan, build, code.strip(), at.date())
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
    """The print has ended. InputError when it was never started, ended before it began, or without authority.

    With `machine_end`, the end by the machine's own clock, the print teaches the hours of its machine: an end noted
    when somebody came in would teach nothing true.
    """
    require(store, by, Step.START, at.date())
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
    points: Iterable[ReleasePoint], released: FloorRecord | None, checks: Iterable[CheckPoint]
) -> tuple[str, ...]:  # fmt: skip
    found = [f"{p.what}: {p.found}" for p in points if p.state is Look.BLOCKED]
    if released is None:
        found.append("nobody has released it")
    open_checks = [c for c in checks if c.said is None]
    if open_checks:
        found.append(f"{len(open_checks)} checks are open, first: {open_checks[0].text}")
    return tuple(found)
