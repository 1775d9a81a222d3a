"""Common ground of the commands and pages of a running week: words into values, values into rows."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from cakewright.app.failure_desk import Cause
from cakewright.app.serve import check_database
from cakewright.app.what_if import Change, MachineDown, MoreChambers, NightShift, RushOrder, WhatIf
from cakewright.documents.words import moment
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.schedule.difference import duration
from cakewright.stopping import MaxSeconds, MaxSteps, Stop, first_of
from cakewright.store import Store, open_store

QUICK_STEPS = 600
QUICK_SECONDS = 0.7  # two searches and their validation stay below the two seconds a person waits gladly

KINDS = {
    "load": TaskKind.LOAD,
    "print": TaskKind.PRINT,
    "lift": TaskKind.UNLOAD,
    "unpack": TaskKind.UNPACK,
    "clean": TaskKind.CLEAN,
    "finish": TaskKind.FINISH,
    "inspect": TaskKind.INSPECT,
    "pack": TaskKind.PACK,
}


@contextmanager
def opened(db: str | Path, plan: int | None, at: datetime | None) -> Iterator[tuple[Store, int, datetime, WeekPlan]]:
    """The store, the plan's version, the present moment in UTC, the plan; `at` is cell time when it names no zone."""
    check_database(db)
    with open_store(db) as store:
        the_plan = store.load_plan(plan)
        now = datetime.now(UTC) if at is None else in_utc(at, the_plan.cell.zone)
        yield store, the_plan.version, now, the_plan


def in_utc(when: datetime, zone: ZoneInfo) -> datetime:
    """An instant that names no zone is the cell's."""
    return (when if when.tzinfo else when.replace(tzinfo=zone)).astimezone(UTC)


def quick_rule() -> Stop:
    """How long one search may take while somebody waits."""
    return first_of(MaxSteps(QUICK_STEPS), MaxSeconds(QUICK_SECONDS, time.monotonic))


def kind_of(word: str) -> TaskKind:
    """The kind of a task from a short word."""
    if word not in KINDS:
        raise InputError(f"{word!r} is no kind of task", remedy=f"use one of: {', '.join(KINDS)}", where="kind")
    return KINDS[word]


def cause_of(word: str) -> Cause:
    """A cause from its short name (power, recoater ...) or its words."""
    for cause in Cause:
        if word.lower() in {cause.name.lower(), cause.value}:
            return cause
    known = ", ".join(c.name.lower() for c in Cause)
    raise InputError(f"{word!r} is no known cause", remedy=f"use one of: {known}", where="cause")


def down_of(plan: WeekPlan, text: str) -> MachineDown:
    """'M1,2027-03-02T06:00,2027-03-03T06:00' in cell time."""
    parts = [part.strip() for part in text.split(",")]
    try:
        name, start, end = parts
        begins, ends = (in_utc(datetime.fromisoformat(x), plan.cell.zone) for x in (start, end))
    except ValueError as wrong:
        raise InputError(
            f"{text!r} is no window", remedy="write NAME,2027-03-02T06:00,2027-03-03T06:00", where="down"
        ) from wrong
    return MachineDown(name, begins, ends)


def windows_of(plan: WeekPlan, texts: Sequence[str]) -> Mapping[str, Sequence[tuple[datetime, datetime]]]:
    """Windows out of use by name."""
    found: dict[str, list[tuple[datetime, datetime]]] = {}
    for one in (down_of(plan, text) for text in texts):
        found.setdefault(one.name, []).append((one.start, one.end))
    return found


def changes_of(
    plan: WeekPlan,
    *,
    rush_hours: float | None = None,
    rush_pieces: int = 10,
    rush_line: int | None = None,
    chambers: int = 0,
    night: int = 0,
    down: Sequence[str] = (),
) -> list[Change]:
    """The questions somebody asks, each on its own."""
    changes: list[Change] = []
    if rush_hours is not None:
        changes.append(RushOrder(print_hours=rush_hours, pieces=rush_pieces))
    if rush_line is not None:
        changes.append(RushOrder(line=rush_line))
    if chambers:
        changes.append(MoreChambers(chambers))
    if night:
        changes.append(NightShift(night))
    return [*changes, *(down_of(plan, text) for text in down)]


def figures_rows(plan: WeekPlan, answer: WhatIf) -> list[tuple[str, str, str]]:
    """What is asked, now, then: the effect of a change in rows."""
    b, a, zone = answer.before, answer.after, plan.cell.zone
    rows = [
        ("late lines", str(b.late_lines), str(a.late_lines)),
        ("late lines to be expected (simulated)", f"{b.expected_late:.1f}", f"{a.expected_late:.1f}"),
        ("weighted lateness", f"{b.weighted_late_h:.1f} h", f"{a.weighted_late_h:.1f} h"),
        ("last line packed", moment(b.last_ready, zone), moment(a.last_ready, zone)),
    ]
    if answer.rush_ready is not None:
        rows.append(("the urgent one is packed", "–", moment(answer.rush_ready, zone)))
    if answer.losers:
        line, minutes = answer.losers[0]
        rows.append(("loses most", "–", f"L{line:02d}, {duration(minutes)}"))
        rows.append(("lines that lose", "–", str(len(answer.losers))))
    if answer.winners:
        line, minutes = answer.winners[0]
        rows.append(("gains most", "–", f"L{line:02d}, {duration(minutes)}"))
    return rows
