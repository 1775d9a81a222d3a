"""The plan as iCalendar files (RFC 5545): one for each person and each machine, to be opened by any calendar.

Written by hand because the format is small: lines end in CRLF, are folded at 75 octets, times are UTC. A UID stays
the same through plan versions for the same work, and SEQUENCE is the version, so a newer file moves what an older one
brought.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from hashlib import sha256

from cakewright.model.plan import Task, TaskKind, WeekPlan

_LONGEST = 75  # octets of a content line without its break, RFC 5545 section 3.1
_BAD_NAME = re.compile(r"[^A-Za-z0-9_-]+")
_SHOWN_ON_MACHINE = (TaskKind.LOAD, TaskKind.PRINT, TaskKind.UNLOAD)


def calendar_files(plan: WeekPlan, *, stamp: datetime) -> dict[str, bytes]:
    """File names and contents: `person-NAME.ics`, `machine-NAME.ics`; `stamp` is when they are made."""
    files = {f"person-{_plain(p.name)}.ics": person_calendar(plan, p.name, stamp=stamp) for p in plan.cell.people}
    machines = {
        f"machine-{_plain(m.name)}.ics": machine_calendar(plan, m.name, stamp=stamp) for m in plan.cell.machines
    }
    return {**files, **machines}


def person_calendar(plan: WeekPlan, name: str, *, stamp: datetime) -> bytes:
    """What somebody does and when; touching tasks of one kind for one build stay apart."""
    tasks = [t for t in plan.schedule.tasks if name in t.people]
    return _calendar(plan, f"{name}, {plan.cell.name}", tasks, f"person {name}", stamp)


def machine_calendar(plan: WeekPlan, name: str, *, stamp: datetime) -> bytes:
    """What a machine prints, and when somebody must load it and lift the chamber out."""
    tasks = [t for t in plan.schedule.tasks if t.machine == name and (t.kind in _SHOWN_ON_MACHINE or not t.build)]
    return _calendar(plan, f"{name}, {plan.cell.name}", tasks, f"machine {name}", stamp)


def _calendar(plan: WeekPlan, title: str, tasks: Iterable[Task], whose: str, stamp: datetime) -> bytes:
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//cakewright//plan//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        f"X-WR-CALNAME:{_text(title)}",
    ]
    counts: dict[str, int] = {}
    for task in sorted(tasks, key=lambda t: (t.start, t.end, t.kind, t.build, t.lines)):
        lines += _event(plan, task, whose, stamp, counts)
    lines.append("END:VCALENDAR")
    return "".join(fold(line) for line in lines).encode("utf-8")


def _event(plan: WeekPlan, task: Task, whose: str, stamp: datetime, counts: dict[str, int]) -> list[str]:
    work = f"{task.kind}|{task.build}|{','.join(map(str, task.lines))}|{task.label}"
    counts[work] = counts.get(work, 0) + 1
    key = sha256(f"{plan.cell.name}|{plan.orders.source}|{whose}|{work}|{counts[work]}".encode()).hexdigest()[:32]
    place = [x for x in (task.machine, task.chamber, task.station) if x]
    optional = [f"LOCATION:{_text(' · '.join(place))}"] if place else []
    return [
        "BEGIN:VEVENT",
        f"UID:{key}@cakewright",
        f"DTSTAMP:{_utc(stamp)}",
        f"DTSTART:{_utc(task.start)}",
        f"DTEND:{_utc(task.end)}",
        f"SEQUENCE:{plan.version}",
        f"SUMMARY:{_text(_summary(task))}",
        *optional,
        f"DESCRIPTION:{_text(_description(plan, task))}",
        f"TRANSP:{'OPAQUE' if task.people else 'TRANSPARENT'}",
        "END:VEVENT",
    ]


def _summary(task: Task) -> str:
    lines = " ".join(f"L{n:02d}" for n in task.lines[:4]) + (" …" if len(task.lines) > 4 else "")
    return f"{task.build or lines} {task.label or task.kind}".strip()


def _description(plan: WeekPlan, task: Task) -> str:
    lines = ", ".join(f"L{n:02d}" for n in task.lines)
    said = [f"{task.kind}, plan {plan.version}"]
    said += [f"lines {lines}"] if lines else []
    said += [", ".join(task.people)] if task.people else []
    said.append("Planned, not released: the sheets at the machine and local rules come first.")
    return "\n".join(said)


def _utc(when: datetime) -> str:
    return when.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def _text(value: str) -> str:
    """TEXT with its special characters escaped, RFC 5545 section 3.3.11."""
    for raw, safe in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\r\n", "\\n"), ("\n", "\\n"), ("\r", "\\n")):
        value = value.replace(raw, safe)
    return "".join(c for c in value if c >= " " or c == "\t")


def fold(line: str) -> str:
    """A content line with its CRLF, folded so that no physical line exceeds 75 octets and no character is cut."""
    pieces: list[str] = []
    piece, room = "", _LONGEST
    for character in line:
        size = len(character.encode("utf-8"))
        if size > room:
            pieces.append(piece)
            piece, room = " ", _LONGEST - 1
        piece += character
        room -= size
    return "\r\n".join([*pieces, piece]) + "\r\n"


def _plain(name: str) -> str:
    return _BAD_NAME.sub("-", name).strip("-").lower() or "unnamed"


def names_of(plan: WeekPlan) -> Sequence[tuple[str, str]]:
    """(kind, name) of every calendar there is: people first."""
    return [("person", p.name) for p in plan.cell.people] + [("machine", m.name) for m in plan.cell.machines]
