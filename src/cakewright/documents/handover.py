"""One page for the hours when nobody is in: what ends when, what may be touched by whom, what to do if red."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from cakewright.documents.sections import Block, heading, letter, table, words
from cakewright.documents.sheet import set_pdf
from cakewright.documents.staffing import Window, staffed
from cakewright.documents.timeline import hours_of
from cakewright.documents.what_changed import Changed
from cakewright.documents.words import clock, day, duration, held, listed, moment, span, task_of
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind, WeekPlan

_MACHINE_ONLY = (TaskKind.PRINT, TaskKind.COOL, TaskKind.WAIT, TaskKind.RESULT)
_FIRST_TASKS = 5
CHANGES_SAID = 8

IF_RED = (
    "Smoke, smell of burning, oxygen alarm: leave, close the door, call the emergency number. Nothing else.",
    "Machine stopped or red: do not open door or chamber. Note time, layer, message; take a photo of the screen.",
    "Do not restart. A started machine needs somebody who may start it.",
    "Powder on the floor: do not sweep, do not blow. Keep away, tell the first name on the list.",
    "Then call, in this order:",
)


@dataclass(frozen=True, slots=True)
class _Event:
    at: datetime
    when: str
    what: str
    where: str
    touch: str


def quiet_hours(plan: WeekPlan) -> Window:
    """The longest stretch of the plan without anybody in, with a chamber taken if there is one.

    InputError when somebody is always in.
    """
    end = max((t.end for t in plan.schedule.tasks), default=plan.start) + timedelta(days=3)
    here = [w for w in staffed(plan.cell, plan.start, end) if w[0] < end]
    gaps = [(a[1], b[0]) for a, b in pairwise(here)]
    if not gaps:
        raise InputError("somebody is always in: there is nothing to hand over", remedy="give start and end yourself")
    taken = [
        span
        for c in plan.cell.chambers
        for span in held(t for t in plan.schedule.tasks if t.chamber == c.name).values()
    ]
    busy = [g for g in gaps if any(a < g[1] and b > g[0] for a, b in taken)]
    return max(busy or gaps, key=lambda g: g[1] - g[0])


def handover_pdf(
    plan: WeekPlan, start: datetime | None = None, end: datetime | None = None, change: Changed | None = None
) -> bytes:
    """The handover page for [start, end) in UTC as a PDF file, A4; by default for `quiet_hours`.

    `change` against the plan before comes first.
    """
    if start is None or end is None:
        start, end = quiet_hours(plan)
    if not start < end:
        raise InputError(f"the handover ends at {end}, before it starts", remedy="give an end after the start")
    return set_pdf("letter", _data(plan, start, end, change))


def _data(plan: WeekPlan, start: datetime, end: datetime, change: Changed | None) -> dict[str, Any]:
    zone = plan.cell.zone
    events = sorted(_events(plan, start, end), key=lambda e: e.at)
    rows = [[e.when, e.what, e.where, e.touch] for e in events] or [["–", "Nothing ends in these hours.", "", ""]]
    news: list[Block] = [heading(change.title), words(*change.shortest(CHANGES_SAID))] if change else []
    blocks: list[Block] = [
        *news,
        heading("What ends when"),
        table((("When", "1.25fr"), ("What", "1.5fr"), ("Where", "0.8fr"), ("May it be touched?", "1.9fr")), rows),
        heading("How you find it"),
        table((("Place", "auto"), ("What it does", "1fr")), _state(plan, start, end)),
        heading("Who may do what"),
        table((("Work", "auto"), ("Names", "1fr"), ("Work", "auto"), ("Names", "1fr")), _names(plan)),
        heading("If something is red (common practice, no source; your own plan wins)"),
        words(*(f"{i}. {said}" for i, said in enumerate(IF_RED, start=1))),
        table((("Name", "1fr"), ("Phone", "1fr"), ("Name", "1fr"), ("Phone", "1fr")), _calls(plan), roomy=True),
        heading("First work afterwards"),
        table((("When", "auto"), ("What", "1fr"), ("Who", "1fr")), _first(plan, end)),
    ]
    lead = f"Nobody is in for {duration((end - start).total_seconds())}"
    title = f"{day(start, zone)} {clock(start, zone)} – {day(end, zone)} {clock(end, zone)}"
    return letter(plan, "Handover", title, f"handover-{start:%Y%m%dT%H%MZ}", blocks, lead=lead)


def _events(plan: WeekPlan, start: datetime, end: datetime) -> list[_Event]:
    found = []
    for build in plan.builds:
        hours, zone = hours_of(plan, build), plan.cell.zone
        if hours.print_end and start <= hours.print_end < end:
            spread = duration(hours.spread.total_seconds())
            when = f"{moment(hours.print_end, zone)} ± {spread}"
            touch = "No. It cools by itself; leave door and gas as they are."
            found.append(
                _Event(hours.print_end, when, f"{build.key} is printed", f"{build.machine} · {hours.chamber}", touch)
            )
        if hours.opening and start <= hours.opening[1] < end:
            early, likely, late = hours.opening
            when = f"{moment(likely, zone)}, range {span(early, late, zone)}"
            unpack = moment(hours.unpack, zone)
            touch = f"It may stay. Break-out is planned {unpack}."
            found.append(_Event(likely, when, f"Cake of {build.key} is cool", hours.chamber, touch))
    for task in plan.schedule.tasks:
        if task.kind is TaskKind.WAIT and start <= task.end < end:
            what = f"{task.label or task.kind.value} ({task.build}): done"
            found.append(_Event(task.end, moment(task.end, plan.cell.zone), what, task.station, "It may stay."))
    return found


def _state(plan: WeekPlan, start: datetime, end: datetime) -> list[list[Any]]:
    places = [(m.name, "machine") for m in plan.cell.machines] + [(c.name, "chamber") for c in plan.cell.chambers]
    rows: list[list[Any]] = []
    idle = []
    for name, kind in places:
        spans = held(t for t in plan.schedule.tasks if getattr(t, kind) == name)
        mine = [key for key, (a, b) in spans.items() if a < end and b > start]
        if mine:
            rows.append([name, "; then ".join(_doing(plan, key, kind) for key in sorted(mine, key=lambda k: spans[k]))])
        else:
            idle.append(name)
    return [*rows, [listed(idle), "nothing planned: empty or off"]] if idle else rows


def _doing(plan: WeekPlan, key: str, kind: str) -> str:
    hours, zone = hours_of(plan, plan.build(key)), plan.cell.zone
    if kind == "machine":
        lift = task_of(plan, key, TaskKind.UNLOAD)
        until = f", chamber stays in it until {moment(lift.start, zone)}" if lift else ""
        return f"prints {key} until {moment(hours.print_end, zone)}{until}"
    hot = f", hot until about {moment(hours.opening[1], zone)}" if hours.opening else ""
    return f"holds the cake of {key}{hot}, break-out {moment(hours.unpack, zone)}"


def _names(plan: WeekPlan) -> list[list[Any]]:
    """Work and names, two pairs in a row."""
    skills = dict.fromkeys(skill for person in plan.cell.people for skill in person.skills)
    cells: list[str] = []
    for skill in skills:
        names = [p.name for p in plan.cell.people if skill in p.skills]
        cells += [skill, listed(names) + (" (one name only: a risk)" if len(names) == 1 else "")]
    cells += [""] * (len(cells) % 4)
    return [cells[i : i + 4] for i in range(0, len(cells), 4)]


def _calls(plan: WeekPlan) -> list[list[Any]]:
    names = [p.name for p in plan.cell.people] + ["Emergency"]
    names += [""] * (len(names) % 2)
    return [[a, None, b, None if b else ""] for a, b in zip(names[::2], names[1::2], strict=True)]


def _first(plan: WeekPlan, end: datetime) -> list[list[Any]]:
    later = sorted(
        (t for t in plan.schedule.tasks if t.start >= end and t.kind not in _MACHINE_ONLY), key=lambda t: t.start
    )
    rows = [
        [moment(t.start, plan.cell.zone), f"{t.build} {t.label or t.kind.value}", listed(t.people)]
        for t in later[:_FIRST_TASKS]
    ]
    return rows or [["–", "nothing is planned", ""]]
