"""The week as bars, drawn as SVG: one lane for each machine, chamber, station and person.

The kind of a task is told by its word, its place and its pattern; colour only repeats it. Every bar is a
link to its build, so the keyboard walks through the week. Style comes from the style sheet by class.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup, escape

from cakewright.documents.words import clock, day, moment
from cakewright.model.plan import Task, TaskKind, WeekPlan

HOUR = 9.0  # width of an hour in drawing units (px at 100 %)
LANE, GAP, HEAD = 44.0, 6.0, 54.0
LETTER = 9.6  # width of a letter of a lane's name

PATTERN = {
    TaskKind.LOAD: "hands", TaskKind.PRINT: "print", TaskKind.COOL: "cool", TaskKind.UNLOAD: "hands",
    TaskKind.UNPACK: "hands", TaskKind.CLEAN: "hands", TaskKind.FINISH: "finish", TaskKind.WAIT: "wait",
    TaskKind.INSPECT: "hands", TaskKind.PACK: "hands", TaskKind.CHANGE: "wait", TaskKind.SERVICE: "wait",
    TaskKind.CLEAN_DOWN: "hands", TaskKind.TEST: "hands", TaskKind.RESULT: "wait",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Lane:
    """One row: what kind of thing it is, its name, its tasks."""

    kind: str
    name: str
    tasks: tuple[Task, ...]


@dataclass(frozen=True, slots=True)
class _Grid:
    """Where an instant stands: hours since `first`, right of the names, which take `side`."""

    first: datetime
    side: float

    def x(self, when: datetime) -> float:
        return self.side + (when - self.first).total_seconds() / 3600 * HOUR


def lanes_of(plan: WeekPlan) -> tuple[Lane, ...]:
    """Every machine, chamber, station and person of the cell, also those with nothing to do."""
    tasks = sorted(plan.schedule.tasks, key=lambda t: (t.start, t.end))
    found = [Lane("machine", m.name, tuple(t for t in tasks if t.machine == m.name)) for m in plan.cell.machines]
    found += [Lane("chamber", c.name, tuple(t for t in tasks if t.chamber == c.name)) for c in plan.cell.chambers]
    found += [Lane("station", s.name, tuple(t for t in tasks if t.station == s.name)) for s in plan.cell.stations]
    found += [Lane("person", p.name, tuple(t for t in tasks if p.name in t.people)) for p in plan.cell.people]
    return tuple(found)


def draw_gantt(plan: WeekPlan, at: datetime) -> Markup:
    """The SVG text, with a mark at `at`."""
    zone = plan.cell.zone
    first = plan.start.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    last = max((t.end for t in plan.schedule.tasks), default=plan.start) + timedelta(hours=2)
    lanes = lanes_of(plan)
    side = max(len(lane.name) for lane in lanes) * LETTER + 20
    grid = _Grid(first, side)
    tall = HEAD + len(lanes) * (LANE + GAP)
    wide = grid.x(last)
    parts = [
        f'<svg class="gantt" viewBox="0 0 {wide:.0f} {tall:.0f}" width="{wide:.0f}" height="{tall:.0f}" role="group" '
        f'aria-label="Calendar of machines, chambers, stations and people">',
        _patterns(),
        _days(plan, grid, last, tall),
    ]
    for row, lane in enumerate(lanes):
        parts.append(_lane(plan, lane, HEAD + row * (LANE + GAP), grid, wide))
    parts.append(_now(plan, at, grid, last, tall))
    return Markup("".join(parts) + "</svg>")


def _patterns() -> str:
    return (
        '<defs><pattern id="p-cool" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="8" height="8" class="fill-cool"/><rect width="2" height="8" class="ink-cool"/></pattern>'
        '<pattern id="p-wait" width="8" height="8" patternUnits="userSpaceOnUse">'
        '<rect width="8" height="8" class="fill-wait"/><circle cx="4" cy="4" r="1.3" class="ink-wait"/></pattern>'
        "</defs>"
    )


def _days(plan: WeekPlan, grid: _Grid, last: datetime, tall: float) -> str:
    zone, drawn, start = plan.cell.zone, [], grid.first
    while start < last:
        x = grid.x(start)
        off = start.weekday() >= 5 or start.date() in plan.cell.holidays
        kind = "day off" if off else "day"
        drawn.append(f'<rect class="{kind}" x="{x:.1f}" y="0" width="{24 * HOUR:.1f}" height="{tall:.0f}"/>')
        drawn.append(f'<text class="day-name" x="{x + 6:.1f}" y="20">{escape(day(start, zone))}</text>')
        for hour in (6, 12, 18):
            tick = x + hour * HOUR
            drawn.append(f'<line class="tick" x1="{tick:.1f}" x2="{tick:.1f}" y1="28" y2="{tall:.0f}"/>')
            drawn.append(f'<text class="hour" x="{tick:.1f}" y="42">{hour:02d}</text>')
        start += timedelta(days=1)
    return "".join(drawn)


def _lane(plan: WeekPlan, lane: Lane, y: float, grid: _Grid, wide: float) -> str:
    drawn = [
        f'<g class="lane"><line class="rail" x1="0" x2="{wide:.0f}" y1="{y + LANE:.1f}" y2="{y + LANE:.1f}"/>',
        f'<text class="lane-kind" x="8" y="{y + 15:.1f}">{lane.kind}</text>',
        f'<text class="lane-name" x="8" y="{y + 35:.1f}">{escape(lane.name)}</text>',
    ]
    drawn += [_bar(plan, task, y, grid) for task in lane.tasks]
    return "".join(drawn) + "</g>"


def _bar(plan: WeekPlan, task: Task, y: float, grid: _Grid) -> str:
    zone = plan.cell.zone
    x, width = grid.x(task.start), max((task.end - task.start).total_seconds() / 3600 * HOUR, 3.0)
    who = f", {', '.join(task.people)}" if task.people else ""
    until = clock(task.end, zone) if day(task.start, zone) == day(task.end, zone) else moment(task.end, zone)
    said = escape(f"{task.build} {task.kind}: {moment(task.start, zone)} to {until}{who}".strip())
    kind = PATTERN[task.kind]
    fill = f'fill="url(#p-{kind})" ' if kind in ("cool", "wait") else ""  # a style sheet cannot point into the page
    drawn = (
        f'<rect class="bar {kind}" {fill}x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{LANE - 4:.1f}" rx="3"/>'
    )
    if width > 26:
        drawn += _word(task.build, f"bar-name on-{kind}", x + 5, y + 18)
    if width > 7.0 * len(task.kind) + 10:
        drawn += _word(task.kind, f"bar-kind on-{kind}", x + 5, y + 34)
    inside = f"<title>{said}</title>{drawn}"
    if any(build.key == task.build for build in plan.builds):
        link = escape(f"/plans/{plan.version}/builds/{task.build}")
        return f'<a href="{link}">{inside}</a>'
    return f'<g role="img" aria-label="{said}">{inside}</g>'


def _word(text: str, style: str, x: float, y: float) -> str:
    """A word on a bar; hidden from readers, which get the whole sentence of the bar's title."""
    return f'<text aria-hidden="true" class="{style}" x="{x:.1f}" y="{y:.1f}">{escape(text)}</text>'


def _now(plan: WeekPlan, at: datetime, grid: _Grid, last: datetime, tall: float) -> str:
    if not grid.first <= at <= last:
        return ""
    x = grid.x(at)
    return (
        f'<line class="now" x1="{x:.1f}" x2="{x:.1f}" y1="26" y2="{tall:.0f}"/>'
        f'<text class="now-word" x="{x + 4:.1f}" y="{HEAD - 3:.1f}">{escape(clock(at, plan.cell.zone))}</text>'
    )
