"""One page for the hours when nobody is in: what ends when, what may be touched by whom, what to do if red."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from cakewright.documents.sections import Block, heading, letter, table, ticks
from cakewright.documents.sheet import set_pdf
from cakewright.documents.staffing import Window, staffed
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import clock, day, duration, listed, moment, span
from cakewright.errors import InputError
from cakewright.model.plan import Task, TaskKind, WeekPlan

_MACHINE_ONLY = (TaskKind.PRINT, TaskKind.COOL, TaskKind.WAIT)
_FIRST_TASKS = 6

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
    """The longest stretch of the plan without anybody in, with something running or cooling if there is one.

    InputError when somebody is always in.
    """
    end = max((t.end for t in plan.schedule.tasks), default=plan.start) + timedelta(days=3)
    here = [w for w in staffed(plan.cell, plan.start, end) if w[0] < end]
    gaps = [(a[1], b[0]) for a, b in pairwise(here)]
    if not gaps:
        raise InputError("somebody is always in: there is nothing to hand over", remedy="give start and end yourself")
    busy = [g for g in gaps if any(t.start < g[1] and t.end > g[0] for t in plan.schedule.tasks)]
    return max(busy or gaps, key=lambda g: g[1] - g[0])


def handover_pdf(plan: WeekPlan, start: datetime | None = None, end: datetime | None = None) -> bytes:
    """The handover page for [start, end) in UTC as a PDF file, A4; by default for `quiet_hours`."""
    if start is None or end is None:
        start, end = quiet_hours(plan)
    if not start < end:
        raise InputError(f"the handover ends at {end}, before it starts", remedy="give an end after the start")
    return set_pdf("letter", _data(plan, start, end))


def _data(plan: WeekPlan, start: datetime, end: datetime) -> dict[str, Any]:
    zone = plan.cell.zone
    events = sorted(_events(plan, start, end), key=lambda e: e.at)
    rows = [[e.when, e.what, e.where, e.touch] for e in events] or [["–", "Nothing ends in these hours.", "", ""]]
    blocks: list[Block] = [
        heading("What ends when"),
        table((("When", "1.25fr"), ("What", "1.5fr"), ("Where", "0.8fr"), ("May it be touched?", "1.9fr")), rows),
        heading("How you find it"),
        table((("Place", "auto"), ("What it does", "1fr")), [[name, said] for name, said in _state(plan, start, end)]),
        heading("Who may do what"),
        table((("Work", "auto"), ("Names", "1fr")), _names(plan)),
        heading("If something is red (common practice, no source; your own plan wins)"),
        ticks(*IF_RED),
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
            what = f"{task.label or task.kind.value} of {task.build} is over"
            found.append(_Event(task.end, moment(task.end, plan.cell.zone), what, task.station, "It may stay."))
    return found


def _state(plan: WeekPlan, start: datetime, end: datetime) -> list[tuple[str, str]]:
    rows = []
    for name, kind in [(m.name, "machine") for m in plan.cell.machines] + [
        (c.name, "chamber") for c in plan.cell.chambers
    ]:
        mine = [t for t in plan.schedule.tasks if getattr(t, kind) == name and t.start < end and t.end > start]
        rows.append(
            (name, "; then ".join(_doing(plan, t) for t in sorted(mine, key=lambda t: t.start)) or "empty, off")
        )
    return rows


def _doing(plan: WeekPlan, task: Task) -> str:
    until = f"until {moment(task.end, plan.cell.zone)}"
    if task.kind is TaskKind.COOL:
        opening = hours_of(plan, plan.build(task.build)).opening
        hot = f", hot until about {moment(opening[1], plan.cell.zone)}" if opening else ""
        return f"holds the cake of {task.build} {until}{hot}"
    return f"prints {task.build} {until}" if task.kind is TaskKind.PRINT else f"{task.kind.value}: {task.build} {until}"


def _names(plan: WeekPlan) -> list[list[Any]]:
    skills = dict.fromkeys(skill for person in plan.cell.people for skill in person.skills)
    rows: list[list[Any]] = []
    for skill in skills:
        names = [p.name for p in plan.cell.people if skill in p.skills]
        rows.append([skill, listed(names) + ("   (one name only: a risk)" if len(names) == 1 else "")])
    return rows


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
