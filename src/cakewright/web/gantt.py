"""The week as bars, drawn as SVG: one lane for each machine, chamber, station in use and person.

Meant to be read without a legend: every bar carries its word, or has it beside it; the hours in which nobody is in say
so; a cake that is cool while nobody is in has a pattern and words of its own. Colour only repeats what is written.
Every bar is a link to its build, so the keyboard walks through the week. Style comes from the style sheet by class.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from markupsafe import Markup, escape

from cakewright.app.task_chain import task_names
from cakewright.documents.report_gantt import lonely_openings
from cakewright.documents.staffing import Window, hours_of_person, staffed
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import clock, day, moment
from cakewright.model.plan import LinePromise, Task, TaskKind, WeekPlan
from cakewright.web.speech import current

HOUR = 12.0  # width of an hour in drawing units (px at 100 %)
LANE, GAP, HEAD = 44.0, 6.0, 62.0
SIDE, NAME_LETTERS = 148.0, 14
LETTER = 7.6  # width of a letter on a bar
TOGETHER = timedelta(minutes=15)  # bench work closer than this is drawn as one bar

PATTERN = {
    TaskKind.LOAD: "hands", TaskKind.PRINT: "print", TaskKind.COOL: "cool", TaskKind.UNLOAD: "hands",
    TaskKind.UNPACK: "hands", TaskKind.CLEAN: "hands", TaskKind.FINISH: "finish", TaskKind.WAIT: "wait",
    TaskKind.INSPECT: "hands", TaskKind.PACK: "hands", TaskKind.CHANGE: "wait", TaskKind.SERVICE: "wait",
    TaskKind.CLEAN_DOWN: "hands", TaskKind.TEST: "hands", TaskKind.RESULT: "wait",
}  # fmt: skip
SHORT = {
    TaskKind.LOAD: "load", TaskKind.PRINT: "print", TaskKind.COOL: "cools", TaskKind.UNLOAD: "lift out",
    TaskKind.UNPACK: "unpack", TaskKind.CLEAN: "clean", TaskKind.INSPECT: "inspect", TaskKind.PACK: "pack",
}  # fmt: skip
LANES = ("machine", "chamber", "station", "person")
STATION_KINDS = ("unpack", "blast", "dye", "smooth", "inspect", "pack")  # those named in the cell file's own words
BENCH = (TaskKind.INSPECT, TaskKind.PACK)
FIXED = ("cool", "wait")  # what goes by itself is not dragged


@dataclass(frozen=True, slots=True)
class Lane:
    """One row: what kind of thing it is, its name, its tasks, when it is or somebody is there."""

    kind: str
    name: str
    tasks: tuple[Task, ...]
    windows: tuple[Window, ...] = ()


@dataclass(frozen=True, slots=True)
class _Grid:
    """Where an instant stands: hours since `first`."""

    first: datetime

    def x(self, when: datetime) -> float:
        return (when - self.first).total_seconds() / 3600 * HOUR


@dataclass(frozen=True, slots=True)
class Waiting:
    """Lines that wait for the same thing, the latest date among them."""

    reason: str
    promises: tuple[LinePromise, ...]


def lanes_of(plan: WeekPlan) -> tuple[Lane, ...]:
    """Machines, chambers and people of the cell, and the stations that this plan uses."""
    tasks = sorted(plan.schedule.tasks, key=lambda t: (t.start, t.end))
    first, last = _span(plan)
    anyone = tuple(staffed(plan.cell, first, last))
    cell = plan.cell
    found = [Lane("machine", m.name, tuple(t for t in tasks if t.machine == m.name), anyone) for m in cell.machines]
    found += [Lane("chamber", c.name, tuple(t for t in tasks if t.chamber == c.name), anyone) for c in cell.chambers]
    stations = [Lane("station", s.name, tuple(t for t in tasks if t.station == s.name), anyone) for s in cell.stations]
    found += [lane for lane in stations if lane.tasks]
    for p in cell.people:
        mine = tuple(t for t in tasks if p.name in t.people)
        found.append(Lane("person", p.name, mine, tuple(hours_of_person(cell, p, first, last))))
    return tuple(found)


def waiting_lines(plan: WeekPlan) -> tuple[Waiting, ...]:
    """The lines that do not go straight through, by what they wait for, those with the most lines first."""
    by_reason: dict[str, list[LinePromise]] = {}
    for promise in plan.promises:
        if not promise.reason.startswith(("goes straight through", "is packed")):
            by_reason.setdefault(promise.reason, []).append(promise)
    groups = [Waiting(reason, tuple(sorted(ps, key=lambda p: p.line))) for reason, ps in by_reason.items()]
    return tuple(sorted(groups, key=lambda g: (-any(p.is_late for p in g.promises), -len(g.promises), g.reason)))


def draw_gantt(plan: WeekPlan, at: datetime, told: WeekPlan | None = None) -> Markup:
    """Two SVG side by side: names that stay, hours that scroll; with a mark at `at`.

    Where `told` (the plan people were told) has a build's work elsewhere, its place is outlined.
    """
    first, last = _span(plan)
    lanes = lanes_of(plan)
    grid = _Grid(first)
    tall, wide = HEAD + len(lanes) * (LANE + GAP), grid.x(last)
    hours = [_patterns(), _days(plan, grid, last, tall)]
    names = []
    lonely = lonely_openings(plan)
    known = {task: name for name, task in task_names(plan).items()}
    for row, lane in enumerate(lanes):
        y = HEAD + row * (LANE + GAP)
        names.append(_name(lane, y))
        hours.append(_lane(plan, lane, y, grid, wide, lonely, known))
        hours += _was_told(plan, told, lane, y, grid) if told else []
    hours.append(_now(plan, at, grid, last, tall))
    scrolls = current().label("Calendar, scrolls sideways")
    return Markup(
        f'<div class="gantt-pair"><svg class="gantt names" viewBox="0 0 {SIDE:.0f} {tall:.0f}" width="{SIDE:.0f}" '
        f'height="{tall:.0f}" role="img" aria-label="Machines, chambers, stations, people">{"".join(names)}</svg>'
        f'<div class="scroller" tabindex="0" role="region" aria-label="{scrolls}">'
        f'<svg class="gantt" viewBox="0 0 {wide:.0f} {tall:.0f}" width="{wide:.0f}" height="{tall:.0f}" role="group" '
        f'aria-label="Calendar of machines, chambers, stations and people">{"".join(hours)}</svg></div></div>'
    )


def _span(plan: WeekPlan) -> tuple[datetime, datetime]:
    """From midnight before the first task to two hours after the last."""
    zone = plan.cell.zone
    begins = min((t.start for t in plan.schedule.tasks), default=plan.start)
    first = begins.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    return first, max((t.end for t in plan.schedule.tasks), default=plan.start) + timedelta(hours=2)


def _patterns() -> str:
    return (
        '<defs><pattern id="p-cool" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="8" height="8" class="fill-cool"/><rect width="2" height="8" class="ink-cool"/></pattern>'
        '<pattern id="p-wait" width="8" height="8" patternUnits="userSpaceOnUse">'
        '<rect width="8" height="8" class="fill-wait"/><circle cx="4" cy="4" r="1.3" class="ink-wait"/></pattern>'
        '<pattern id="p-ripe" width="12" height="12" patternUnits="userSpaceOnUse">'
        '<rect width="12" height="12" class="fill-ripe"/><path d="M0 0 12 12M12 0 0 12" class="ink-ripe"/></pattern>'
        "</defs>"
    )


def _days(plan: WeekPlan, grid: _Grid, last: datetime, tall: float) -> str:
    zone, drawn, start = plan.cell.zone, [], grid.first
    while start < last:
        x = grid.x(start)
        drawn.append(f'<line class="day" x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{tall:.0f}"/>')
        drawn.append(f'<text class="day-name" x="{x + 6:.1f}" y="18">{escape(day(start, zone))}</text>')
        for hour in (6, 12, 18):
            tick = x + hour * HOUR
            drawn.append(f'<line class="tick" x1="{tick:.1f}" x2="{tick:.1f}" y1="24" y2="{tall:.0f}"/>')
            drawn.append(f'<text class="hour" x="{tick:.1f}" y="36">{hour:02d}:00</text>')
        start = (start + timedelta(days=1)).replace(hour=0)
    end = grid.first
    for a, b in [*staffed(plan.cell, grid.first, last), (last, last)]:
        if grid.x(a) - grid.x(end) > 9 * LETTER:
            middle = (grid.x(a) + grid.x(end)) / 2
            drawn.append(f'<text class="nobody" x="{middle:.1f}" y="53">nobody in</text>')
        end = b
    return "".join(drawn)


def _name(lane: Lane, y: float) -> str:
    """Kind and name of a lane; a long name takes two lines."""
    one, two = _halves(lane.name)
    rows = [(one, y + (25 if two else 31)), (two, y + 41)]
    told = "".join(f'<text class="lane-name" x="8" y="{at:.1f}">{escape(text)}</text>' for text, at in rows if text)
    rail = f'<line class="rail" x1="0" x2="{SIDE:.0f}" y1="{y + LANE:.1f}" y2="{y + LANE:.1f}"/>'
    return f'{rail}<text class="lane-kind" x="8" y="{y + 10:.1f}">{lane.kind}</text>{told}'


def _halves(name: str) -> tuple[str, str]:
    if len(name) <= NAME_LETTERS:
        return name, ""
    words = name.split()
    one = words[0]
    rest = words[1:]
    while rest and len(one) + 1 + len(rest[0]) <= NAME_LETTERS:
        one = f"{one} {rest.pop(0)}"
    return _cut(one), _cut(" ".join(rest))


def _cut(text: str) -> str:
    return text if len(text) <= NAME_LETTERS else text[: NAME_LETTERS - 1] + "…"


def _was_told(plan: WeekPlan, told: WeekPlan, lane: Lane, y: float, grid: _Grid) -> Iterator[str]:
    """Outlines where people were told that the work of a build would be, when it is elsewhere now."""
    now, zone = set(plan.schedule.tasks), plan.cell.zone
    for task in told.schedule.tasks:
        if task.build and task not in now and lane.name in (task.machine, task.chamber) and task.end > grid.first:
            said = escape(f"told: {task.build} {task.kind} {moment(task.start, zone)}")
            x = grid.x(task.start)
            box = _box("told", "none", x, y - 3, grid.x(task.end) - x, LANE + 2)
            yield f'<g role="img" aria-label="{said}"><title>{said}</title>{box}</g>'


def _lane(
    plan: WeekPlan, lane: Lane, y: float, grid: _Grid, wide: float, lonely: dict[str, datetime], known: dict[Task, str]
) -> str:
    rail = f'<line class="rail" x1="0" x2="{wide:.0f}" y1="{y + LANE:.1f}" y2="{y + LANE:.1f}"/>'
    drawn = [f'<g class="lane" data-kind="{lane.kind}" data-name="{escape(lane.name)}">{rail}']
    drawn += [_box("in", "", grid.x(a), y - 2, grid.x(b) - grid.x(a), LANE + 2) for a, b in lane.windows]
    tasks = list(_bundled(lane.tasks))
    for task, following in zip(tasks, [*tasks[1:], None][: len(tasks)], strict=True):
        room = grid.x(following.start) - grid.x(task.start) if following else wide - grid.x(task.start)
        drawn.append(_bar(plan, task, y, grid, room, known.get(task, "")))
    if lane.kind == "chamber":
        drawn += [_lying(plan, key, y, grid, lonely) for key in dict.fromkeys(t.build for t in lane.tasks if t.build)]
    return "".join(drawn) + "</g>"


def _bundled(tasks: Sequence[Task]) -> Iterator[Task]:
    """Counting, inspecting and packing of many lines in a row is one bar: nobody reads twenty slivers."""
    held: Task | None = None
    for task in tasks:
        if held and task.kind in BENCH and held.kind in BENCH and task.start - held.end <= TOGETHER:
            build = held.build if held.build == task.build else ""
            lines = tuple(dict.fromkeys((*held.lines, *task.lines)))
            held = replace(held, end=task.end, build=build, lines=lines, label="inspect and pack")
            continue
        if held:
            yield held
        held = task
    if held:
        yield held


def _lying(plan: WeekPlan, key: str, y: float, grid: _Grid, lonely: dict[str, datetime]) -> str:
    """The hours in which a cool cake waits for somebody; crossed and named when nobody is in as it gets cool."""
    hours = hours_of(plan, plan.build(key)) if any(b.key == key for b in plan.builds) else None
    if hours is None or hours.opening is None or hours.unpack is None or hours.unpack <= hours.opening[1]:
        return ""
    x, until = grid.x(hours.opening[1]), grid.x(hours.unpack)
    zone = plan.cell.zone
    alone = key in lonely
    waits = "nobody is in" if alone else "no free hands"
    said = escape(f"{key} is likely cool {moment(hours.opening[1], zone)}: {waits} until {moment(hours.unpack, zone)}")
    fill = "url(#p-ripe)" if alone else "none"
    drawn = _box("ripe" if alone else "held", fill, x, y, until - x, LANE - 4)
    if alone:  # right-aligned, so that the words reach back over the cooling and never past the unpacking
        cool, _, nobody = current().label("cool, nobody in").partition(" ")
        drawn += _word(cool, "ripe-word", until - 4, y + 17) + _word(nobody, "ripe-word", until - 4, y + 34)
    elif until - x > 11 * LETTER:
        drawn += _word("cool, waits", "held-word", x + 4, y + 18)
    return f'<g role="img" aria-label="{said}"><title>{said}</title>{drawn}</g>'


def _box(style: str, fill: str, x: float, y: float, width: float, height: float) -> str:
    painted = f'fill="{fill}" ' if fill else ""
    place = f'x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"'
    return f'<rect class="{style}" {painted}{place}/>'


def _bar(plan: WeekPlan, task: Task, y: float, grid: _Grid, room: float, name: str = "") -> str:
    """One bar; `room` is what is free from its start to the next bar, so that a word may stand beside a thin one.

    A bar of one task carries its `name`, so that a hand can move it.
    """
    zone = plan.cell.zone
    x, width = grid.x(task.start), max((task.end - task.start).total_seconds() / 3600 * HOUR, 3.0)
    who = f", {', '.join(task.people)}" if task.people else ""
    until = clock(task.end, zone) if day(task.start, zone) == day(task.end, zone) else moment(task.end, zone)
    what = task.label if task.label == "inspect and pack" else str(task.kind)
    lines = "" if task.build else " ".join(f"L{n:02d}" for n in task.lines[:6])
    when = current().label(f"{moment(task.start, zone)} to {until}")
    said = escape(f"{task.build or lines} {current().label(what)}: {when}{who}".strip())
    kind = PATTERN[task.kind]
    fill = f'fill="url(#p-{kind})" ' if kind in ("cool", "wait") else ""  # a style sheet cannot point into the page
    drawn = (
        f'<rect class="bar {kind}" {fill}x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{LANE - 4:.1f}" rx="3"/>'
    )
    short = SHORT.get(task.kind, task.label.partition(": ")[2] or str(task.kind))
    short = current().label("bench" if task.label == "inspect and pack" else short)
    drawn += _labels(task.build, short, kind, x, y, width, room)
    inside = f"<title>{said}</title>{drawn}"
    moves = f' data-task="{escape(name)}" data-start="{task.start.isoformat()}"' if name and kind not in FIXED else ""
    if any(build.key == task.build for build in plan.builds):
        link = escape(f"/plans/{plan.version}/builds/{task.build}")
        return f'<a href="{link}"{moves}>{inside}</a>'
    role = 'role="button" tabindex="0"' if moves else 'role="img"'
    return f'<g {role} aria-label="{said}"{moves}>{inside}</g>'


def _labels(build: str, short: str, kind: str, x: float, y: float, width: float, room: float) -> str:
    """Build and kind of work on the bar where they fit, else beside it where there is room, else nothing."""
    inside = [t for t in (build, short) if t]
    if width >= LETTER * max(map(len, inside), default=0) + 8:
        rows = [(t, y + 18 + 16 * i) for i, t in enumerate(inside)]
        return "".join(_word(t, f"bar-name on-{kind}", x + 5, at) for t, at in rows)
    if room - width >= LETTER * len(short) + 6:
        return _word(short, "beside", x + width + 3, y + 26)
    return ""


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
