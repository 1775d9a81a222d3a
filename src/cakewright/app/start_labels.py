"""The labels a build needs before it starts: chamber and powder held against it, or a named person does without."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import keep
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.model.plan import WeekPlan
from cakewright.store import Store

NEEDED = {"chamber": "the chamber", "powder": "the powder can"}
_UNKNOWN = "label"  # what `judge_label` calls a code that nobody knows


@dataclass(frozen=True, slots=True)
class LabelState:
    """One label that a start needs: the last word about it, and who let it start without."""

    what: str
    name: str
    scan: FloorRecord | None
    without: FloorRecord | None

    @property
    def is_right(self) -> bool:
        """True when the right label was held against the build last."""
        return self.scan is not None and self.scan.data["verdict"] == "right"

    @property
    def is_missing(self) -> bool:
        """True when neither a label nor the name of somebody who does without it was given."""
        return self.scan is None and self.without is None


def label_states(records: Iterable[FloorRecord]) -> tuple[LabelState, ...]:
    """The labels that a start needs, from the records of a build."""
    records = tuple(records)
    found = []
    for what, name in NEEDED.items():
        mine = [r for r in records if r.data.get("what") == what]
        scan = next((r for r in reversed(mine) if r.kind is FloorKind.SCAN), None)
        without = next((r for r in reversed(mine) if r.kind is FloorKind.WITHOUT), None)
        found.append(LabelState(what, name, scan, without))
    return tuple(found)


def label_blocks(records: Sequence[FloorRecord]) -> tuple[str, ...]:
    """Why the labels of a build do not let it start: a wrong one held last, one never held, an unknown code."""
    scans = [r for r in records if r.kind is FloorKind.SCAN]
    last = {str(r.data["what"]): r for r in scans}
    stranger = last.pop(_UNKNOWN, None)
    found = [f"the {what} held against it is wrong: {r.data['verdict']}" for what, r in last.items()
             if r.data["verdict"] != "right"]  # fmt: skip
    if stranger is not None and stranger is scans[-1]:  # a right label afterwards puts it right
        found.append(f"the label held against it is wrong: {stranger.data['verdict']}")
    found += [f"{state.name} was not scanned or typed" for state in label_states(records) if state.is_missing]
    return tuple(found)


def do_without(
    store: Store, plan: WeekPlan, build: Build, what: str, *, reason: str, by: str, at: datetime, uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Let a build start without holding the chamber's or the powder can's label against it, by name and with a reason.

    Asks for the authority to release a build. InputError without a reason, for another label, and when a label was
    held: a wrong one is never overridden, the right one is needed then.
    """
    require(store, by, Step.RELEASE_BUILD, at.date())
    if what not in NEEDED:
        raise InputError(f"{what[:20]!r} is no label that a start needs", remedy=f"one of: {', '.join(NEEDED)}")
    if not reason.strip():
        raise InputError(f"no reason is given for starting without {NEEDED[what]}", remedy="say why", where="reason")
    records = store.floor.records(plan=plan.version, build=build.key)
    state = next(s for s in label_states(records) if s.what == what)
    if state.scan is not None and not state.is_right:
        raise InputError(
            f"{NEEDED[what]} held against {build.key} is wrong: {state.scan.data['verdict']}",
            remedy="a wrong label is not overridden: hold the right one against it", where=build.key,
        )  # fmt: skip
    data = {"what": what, "reason": reason.strip()}
    return keep(store, plan, FloorKind.WITHOUT, data, by=by, at=at, build=build.key, uid=uid, kept_at=kept_at)
