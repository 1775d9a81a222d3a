"""The calendar of a plan as inline SVG: machines, chambers, stations and people in the cell's local time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from html import escape

from cakewright.documents.report_gantt_words import CHAR_PX, beside, empty_hours, name_on, standing
from cakewright.documents.staffing import Window, hours_of_person, is_staffed, staffed
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import day, held, moment
from cakewright.model.plan import Task, TaskKind, WeekPlan

_NAMES, _TOP, _GROUP = 150, 58, 26
_ROW, _BAR = 34, 22
_TALL, _TALL_BAR = 48, 36  # chambers: what is in them, and what becomes of it
_DAY_PX = 190
_THIN_PX = 7.0

_KIND_CLASS = {
    TaskKind.PRINT: "k-print",
    TaskKind.COOL: "k-cool",
    TaskKind.WAIT: "k-cool",
    TaskKind.RESULT: "k-cool",
    TaskKind.CHANGE: "k-cool",
    TaskKind.SERVICE: "k-cool",
}


@dataclass(frozen=True, slots=True)
class _Row:
    title: str
    tasks: tuple[Task, ...]
    windows: Sequence[Window]
    kind: str

    @property
    def height(self) -> int:
        return _TALL if self.kind == "chamber" else _ROW

    @property
    def bar(self) -> int:
        return _TALL_BAR if self.kind == "chamber" else _BAR


@dataclass(frozen=True, slots=True)
class _Scale:
    start: datetime
    end: datetime
    px_per_s: float

    def x(self, when: datetime) -> float:
        inside = min(max(when, self.start), self.end)
        return (inside - self.start).total_seconds() * self.px_per_s

    @property
    def width(self) -> float:
        return self.x(self.end)


def lonely_openings(plan: WeekPlan) -> dict[str, datetime]:
    """Builds whose cake is likely cool at an hour when nobody is in, with that hour (UTC)."""
    lonely: dict[str, datetime] = {}
    for build in plan.builds:
        opening = hours_of(plan, build).opening
        if opening is None:
            continue
        cool = opening[1]
        if not is_staffed(staffed(plan.cell, cool - timedelta(days=1), cool + timedelta(days=1)), cool):
            lonely[build.key] = cool
    return lonely


def _midnight(plan: WeekPlan, when: datetime, add_days: int = 0) -> datetime:
    local = when.astimezone(plan.cell.zone).date() + timedelta(days=add_days)
    return datetime(local.year, local.month, local.day, tzinfo=plan.cell.zone).astimezone(UTC)


def _scale(plan: WeekPlan) -> _Scale:
    ends = [t.end for t in plan.schedule.tasks] + [plan.start + timedelta(days=1)]
    starts = [t.start for t in plan.schedule.tasks] + [plan.start]
    start, end = _midnight(plan, min(starts)), _midnight(plan, max(ends), 1)
    return _Scale(start, end, _DAY_PX / 86_400)


def _rows(plan: WeekPlan, scale: _Scale) -> list[tuple[str, list[_Row]]]:
    tasks, cell = plan.schedule.tasks, plan.cell
    anyone = staffed(cell, scale.start, scale.end)

    def row(title: str, mine: list[Task], kind: str, windows: Sequence[Window] = anyone) -> _Row:
        return _Row(title, tuple(sorted(mine, key=lambda t: t.start)), windows, kind)

    groups = [
        ("Machines", [row(m.name, [t for t in tasks if t.machine == m.name], "machine") for m in cell.machines]),
        ("Chambers", [row(c.name, [t for t in tasks if t.chamber == c.name], "chamber") for c in cell.chambers]),
        ("Stations", [row(s.name, [t for t in tasks if t.station == s.name], "station") for s in cell.stations]),
        (
            "People",
            [
                row(
                    p.name,
                    [t for t in tasks if p.name in t.people],
                    "person",
                    hours_of_person(cell, p, scale.start, scale.end),
                )
                for p in cell.people
            ],
        ),
    ]
    return [(title, [r for r in rows if r.tasks or title != "Stations"]) for title, rows in groups if rows]


def gantt_html(plan: WeekPlan) -> str:
    """The calendar as two inline SVG side by side: names that stay, and hours that scroll on a narrow screen.

    Classes are coloured by the report's style sheet.
    """
    scale = _scale(plan)
    groups = [(title, rows) for title, rows in _rows(plan, scale) if rows]
    height = _TOP + sum(_GROUP + sum(row.height for row in rows) for _, rows in groups) + 8
    names: list[str] = []
    anyone = staffed(plan.cell, scale.start, scale.end)
    body = [_patterns(), *_days(plan, scale, height), *empty_hours(anyone, scale.x, scale.width, 50)]
    y = _TOP
    for title, rows in groups:
        names.append(f'<text class="g-group" x="0" y="{y + 18}">{title}</text>')
        y += _GROUP
        for row in rows:
            name, mid = escape(_fit(row.title, _NAMES - 8)), y + row.height / 2 + 4
            names.append(f'<text class="g-name" x="0" y="{mid:.0f}">{name}</text>')
            names.append(f'<line class="g-row" x1="0" x2="{_NAMES}" y1="{y + row.height}" y2="{y + row.height}"/>')
            body += _row(plan, scale, row, y)
            y += row.height
    body += _start_line(plan, scale, height)
    return _side_by_side(names, body, scale.width, height)


def _side_by_side(names: list[str], body: list[str], width: float, height: int) -> str:
    w = round(width) + 4
    return (
        f'<div class="gantt" style="max-width:{1.2 * (_NAMES + w):.0f}px">'
        f'<svg class="g-names" style="flex:{_NAMES} 1 0;min-width:{_NAMES}px" viewBox="0 0 {_NAMES} {height}" '
        f'role="img" aria-label="Machines, chambers, stations, people" xmlns="http://www.w3.org/2000/svg">'
        f"{''.join(names)}</svg>"
        f'<div class="g-time" style="flex:{w} 1 0" tabindex="0" role="region" aria-label="Hours, scroll sideways">'
        f'<svg style="min-width:{w}px" viewBox="0 0 {w} {height}" role="img" aria-label="Calendar of the plan" '
        f'xmlns="http://www.w3.org/2000/svg">{"".join(body)}</svg></div></div>'
    )


def _patterns() -> str:
    return (
        '<defs><pattern id="p-cool" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect class="p-cool-bg" width="7" height="7"/><rect class="p-cool-ink" width="2.2" height="7"/></pattern>'
        '<pattern id="p-ripe" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<rect class="p-ripe-bg" width="6" height="6"/><circle class="p-ripe-ink" cx="3" cy="3" r="1.4"/>'
        "</pattern></defs>"
    )


def _days(plan: WeekPlan, scale: _Scale, height: int) -> list[str]:
    out, at = [], scale.start
    while at < scale.end:
        x, after = scale.x(at), _midnight(plan, at, 1)
        out.append(f'<line class="g-day" x1="{x:.1f}" x2="{x:.1f}" y1="6" y2="{height}"/>')
        out.append(f'<text class="g-dayname" x="{x + 5:.1f}" y="19">{day(at, plan.cell.zone)}</text>')
        for hour in (6, 12, 18):
            local = at.astimezone(plan.cell.zone)
            tick = scale.x(local.replace(hour=hour).astimezone(UTC))
            out.append(f'<line class="g-hour" x1="{tick:.1f}" x2="{tick:.1f}" y1="38" y2="{height}"/>')
            out.append(f'<text class="g-hourname" x="{tick:.1f}" y="35">{hour}</text>')
        at = after
    return out


def _row(plan: WeekPlan, scale: _Scale, row: _Row, y: int) -> list[str]:
    out = []
    for a, b in row.windows:
        out.append(
            f'<rect class="g-staffed" x="{scale.x(a):.1f}" y="{y + 1}" '
            f'width="{scale.x(b) - scale.x(a):.1f}" height="{row.height - 2}"/>'
        )
    under, top = y + row.height, y + (row.height - row.bar) // 2
    out.append(f'<line class="g-row" x1="0" x2="{scale.width:.0f}" y1="{under}" y2="{under}"/>')
    if row.kind in ("machine", "chamber"):
        out += [_held_bar(scale, key, span, top, row.bar) for key, span in held(row.tasks).items()]
    out += [_bar(plan, scale, task, top, row.bar) for task in row.tasks]
    if row.kind == "chamber":
        out += _ripening(plan, scale, row, y)
    else:
        out += standing(row.tasks, scale.x, top + 15) if row.kind == "machine" else []
    several = "bench work" if row.kind == "person" else ""
    return out + beside(row.tasks, scale.x, scale.width, y + row.height / 2 + 4, several)


def _fit(text: str, px: float) -> str:
    fits = int(px / CHAR_PX)
    return text if len(text) <= fits else (text[: max(fits - 1, 0)] + "…" if fits > 2 else "")


def _bar(plan: WeekPlan, scale: _Scale, task: Task, y: int, height: int) -> str:
    x0, x1 = scale.x(task.start), scale.x(task.end)
    zone = plan.cell.zone
    told = f"{task.build} {task.label or task.kind.value}, {moment(task.start, zone)} to {moment(task.end, zone)}"
    if task.people:
        told += f", {', '.join(task.people)}"
    kind = _KIND_CLASS.get(task.kind, "k-hands" if task.needs_hands else "k-other")
    width = max(x1 - x0, 2.0)
    name = name_on(task, x1 - x0)
    label = f'<text class="g-label {kind}-t" x="{x0 + 5:.1f}" y="{y + 15}">{escape(name)}</text>' if name else ""
    kind += " g-thin" if width < _THIN_PX else ""
    rect = f'<rect class="g-bar {kind}" x="{x0:.1f}" y="{y}" width="{width:.1f}" height="{height}" rx="2"/>'
    return f"<g><title>{escape(told)}</title>{rect}{label}</g>"


def _held_bar(scale: _Scale, key: str, span: Window, y: int, height: int) -> str:
    x0, x1 = scale.x(span[0]), scale.x(span[1])
    rect = f'<rect class="g-held" x="{x0:.1f}" y="{y + 3}" width="{max(x1 - x0, 1):.1f}" height="{height - 6}"/>'
    return f"<g><title>{escape(key)} holds it</title>{rect}</g>"


def _ripening(plan: WeekPlan, scale: _Scale, row: _Row, y: int) -> list[str]:
    """Mark when each cake of a chamber gets cool; when nobody is in, also the hours it lies there."""
    out, lonely = [], lonely_openings(plan)
    for key in dict.fromkeys(t.build for t in row.tasks if t.kind is TaskKind.COOL):
        hours = hours_of(plan, plan.build(key))
        if hours.opening is not None:
            told = f"cake of {key} likely cool {moment(hours.opening[1], plan.cell.zone)}"
            since = max(t.start for t in row.tasks if t.kind is TaskKind.COOL and t.build == key)
            room = scale.x(hours.opening[1]) - scale.x(since)
            out.append(_cool_mark(plan, scale, y, hours.opening[1], told, hours.unpack, key in lonely, room))
    return out


def _cool_mark(
    plan: WeekPlan,
    scale: _Scale,
    y: int,
    cool: datetime,
    told: str,
    unpack: datetime | None,
    is_lonely: bool,
    room: float,
) -> str:
    x, mid, top = scale.x(cool), y + _TALL / 2, y + (_TALL - _TALL_BAR) // 2
    low = top + _TALL_BAR - 6
    points = f"{x:.1f},{mid - 14} {x + 9:.1f},{mid} {x:.1f},{mid + 14} {x - 9:.1f},{mid}"
    if not is_lonely:
        return (
            f'<g><title>{escape(told)}</title><polygon class="g-cool" points="{points}"/>'
            f'<text class="g-cool-w" x="{x - 11:.1f}" y="{low:.1f}">cool</text></g>'
        )
    waits = f"{told}: nobody is in, waits until {moment(unpack, plan.cell.zone)}"
    width = max((scale.x(unpack) if unpack else scale.width) - x, 0.0)
    return (
        f"<g><title>{escape(waits)}</title>"
        f'<rect class="g-ripe" x="{x:.1f}" y="{top}" width="{width:.1f}" height="{_TALL_BAR}"/>'
        f'<polygon class="g-lonely" points="{points}"/>'
        f'<text class="g-lonely-t" x="{x:.1f}" y="{mid + 4.5:.1f}">!</text>'
        f"{_lonely_words(x, low, room, width)}</g>"
    )


def _lonely_words(x: float, y: float, before: float, after: float) -> str:
    """'cool, nobody in' beside its mark, on the side that has room, shorter when neither has."""
    whole, short = "cool, nobody in", "nobody in"
    px = (len(whole) + 1) * CHAR_PX
    if before < px <= after - 10:
        return f'<text class="g-lonely-w g-after" x="{x + 11:.1f}" y="{y:.1f}">{whole}</text>'
    return f'<text class="g-lonely-w" x="{x - 7:.1f}" y="{y:.1f}">{whole if before >= px else short}</text>'


def _start_line(plan: WeekPlan, scale: _Scale, height: int) -> list[str]:
    x = scale.x(plan.start)
    return [f'<line class="g-now" x1="{x:.1f}" x2="{x:.1f}" y1="24" y2="{height}"><title>plan starts</title></line>']
