"""Who may do what: authority by step with the day on which it ends, and the steps that hang on one name."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from cakewright.app.floor_note import day_of, keep
from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.sources.upkeep import TRAINING_SOON_DAYS
from cakewright.store import Store


class Step(StrEnum):
    """A step that not everybody may do."""

    RELEASE_BUILD = "release a build"
    START = "start and end a print"
    STOP = "stop a running build"
    OPEN_EARLY = "open a cake early"
    BLEND = "weigh and blend powder"
    UNPACK = "unpack and sieve"
    FINISH = "blast, dye, smooth"
    INSPECT = "inspect"
    RELEASE_PARTS = "release held parts"
    PACK = "pack and ship"
    SERVICE = "service a machine"
    SCALE = "approve a change of scale"


ENTERED = ", entered by "  # after a name that somebody else who is logged in typed
_SIGNED = {Step.RELEASE_BUILD, Step.OPEN_EARLY, Step.RELEASE_PARTS, Step.SCALE}  # another's word is not enough for them

SKILLS: dict[Step, tuple[str, ...]] = {  # words of the cell file that stand for a step until training is entered
    Step.START: ("start", "load"),
    Step.UNPACK: ("unpack",),
    Step.FINISH: ("finish",),
    Step.INSPECT: ("inspect",),
    Step.PACK: ("pack",),
}


class Standing(StrEnum):
    """How an authority stands on a day."""

    VALID = "valid"
    SOON = "ends soon"
    ENDED = "ended"
    TAKEN = "taken back"


@dataclass(frozen=True, slots=True)
class Authority:
    """Somebody may do a step until a day (None: no end was named); the last word about both counts."""

    person: str
    step: Step
    until: date | None
    is_taken: bool
    note: str
    by: str
    at: datetime

    def standing(self, today: date) -> Standing:
        """How it stands on a day; the last day still counts."""
        if self.is_taken:
            return Standing.TAKEN
        if self.until is None:
            return Standing.VALID
        left = (self.until - today).days
        if left < 0:
            return Standing.ENDED
        return Standing.SOON if left <= TRAINING_SOON_DAYS.value else Standing.VALID

    def holds(self, today: date) -> bool:
        """True when the step may be done on that day."""
        return self.standing(today) in (Standing.VALID, Standing.SOON)


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step of the matrix. `names` may do it today; `is_kept`: by training entered here, not by the cell file."""

    step: Step
    names: tuple[str, ...]
    is_kept: bool

    @property
    def is_risk(self) -> bool:
        """One name, or none where authority is kept."""
        return len(self.names) == 1 or (self.is_kept and not self.names)


def authorities(store: Store) -> dict[tuple[str, Step], Authority]:
    """The last word about every person and step."""
    found: dict[tuple[str, Step], Authority] = {}
    for r in store.floor.records(kind=FloorKind.TRAINED):
        step = Step(str(r.data["step"]))
        until = date.fromisoformat(str(r.data["until"])) if r.data.get("until") else None
        person = str(r.data["person"])
        found[person.casefold(), step] = Authority(person, step, until, r.data["deed"] == "taken",
                                                   str(r.data.get("note", "")), r.by, r.at)  # fmt: skip
    return found


def grant(
    store: Store, plan: WeekPlan, *, person: str, step: str, until: str, note: str, by: str, at: datetime,
    uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Enter that somebody is trained for a step until a day ('' for no end). InputError for one's own name.

    Who signs must be another person: nobody trains themselves.
    """
    the_step = step_of(step)
    if not person.strip():
        raise InputError("no person is named", remedy="choose who was trained", where="person")
    if person.strip().casefold() == by.strip().casefold():
        raise InputError(f"{by.strip()} cannot sign the own training", remedy="somebody else signs", where="by")
    data: dict[str, Value] = {"deed": "may", "person": person.strip(), "step": the_step.value, "note": note.strip()}
    if until.strip():
        data["until"] = day_of(until, "until").isoformat()
    return keep(store, plan, FloorKind.TRAINED, data, by=by, at=at, uid=uid, kept_at=kept_at)


def take_back(
    store: Store, plan: WeekPlan, *, person: str, step: str, why: str, by: str, at: datetime
) -> FloorRecord:  # fmt: skip
    """Somebody may not do a step any more. InputError when they were never entered for it."""
    the_step = step_of(step)
    known = authorities(store).get((person.strip().casefold(), the_step))
    if known is None or known.is_taken:
        raise InputError(f"{person[:40]} is not entered for '{the_step}'", remedy="nothing to take back")
    data: dict[str, Value] = {"deed": "taken", "person": known.person, "step": the_step.value, "note": why.strip()}
    return keep(store, plan, FloorKind.TRAINED, data, by=by, at=at)


def step_of(text: str) -> Step:
    """A step from its words or its short name (start, release-build ...)."""
    for step in Step:
        if text.strip().casefold() in (step.value, step.name.lower(), step.name.lower().replace("_", "-")):
            return step
    known = ", ".join(s.name.lower().replace("_", "-") for s in Step)
    raise InputError(f"{text[:40]!r} is no step", remedy=f"one of: {known}", where="step")


def matrix(store: Store, plan: WeekPlan, today: date) -> tuple[StepRow, ...]:
    """Every step with the names that may do it today; before training is entered, the skills of the cell file."""
    kept = authorities(store)
    rows = []
    for step in Step:
        entered = [a for a in kept.values() if a.step is step]
        if entered:
            rows.append(StepRow(step, tuple(sorted(a.person for a in entered if a.holds(today))), is_kept=True))
        else:
            skills = SKILLS.get(step, ())
            names = tuple(p.name for p in plan.cell.people if set(p.skills) & set(skills))
            rows.append(StepRow(step, names, is_kept=False))
    return tuple(rows)


def why_not(store: Store, person: str, step: Step, today: date) -> str:
    """Why somebody may not do a step today; '' when they may, or when nobody is entered for that step."""
    kept = authorities(store)
    entered = [a for a in kept.values() if a.step is step]
    if not entered:
        return ""
    name, _, typist = person.strip().partition(ENTERED)
    if typist and step in _SIGNED:
        return f"the name of {name} was entered by {typist}: for '{step}' {name} signs with the own password"
    mine = kept.get((name.casefold(), step))
    if mine is not None and mine.holds(today):
        return ""
    others = ", ".join(sorted(a.person for a in entered if a.holds(today))) or "nobody at present"
    if mine is None:
        return f"{name} is not entered for '{step}'; entered: {others}"
    if mine.is_taken:
        return f"the authority of {mine.person} for '{step}' was taken back by {mine.by}; entered: {others}"
    return f"the authority of {mine.person} for '{step}' ended on {mine.until}; entered: {others}"


def require(store: Store, person: str, step: Step, today: date) -> None:
    """InputError with the reason when somebody may not do a step today."""
    reason = why_not(store, person, step, today)
    if reason:
        raise InputError(reason, remedy="let one of them do it, or renew the training on the page Training", where="by")


def training_findings(store: Store, plan: WeekPlan, today: date) -> tuple[Finding, ...]:
    """What ends soon or has ended, and the steps that hang on one name."""
    said: list[Finding] = []
    for a in sorted(authorities(store).values(), key=lambda a: (a.until or date.max, a.person, a.step)):
        if a.standing(today) is Standing.ENDED:
            said.append(Finding("floor.training-ended", Severity.WARNING, f"'{a.step}' ended on {a.until}",
                                a.person, "train again, or take it back"))  # fmt: skip
        elif a.standing(today) is Standing.SOON and a.until is not None:
            said.append(Finding("floor.training-soon", Severity.NOTE,
                                f"'{a.step}' ends in {(a.until - today).days} days", a.person,
                                "book the training now"))  # fmt: skip
    said += _single(matrix(store, plan, today))
    return tuple(said)


def _single(rows: Iterable[StepRow]) -> list[Finding]:
    found = []
    for row in rows:
        if row.is_risk:
            message = f"only {row.names[0]} may do it" if row.names else "nobody may do it"
            found.append(Finding("floor.one-name", Severity.WARNING, message, row.step.value, "train a second person"))
    return found
