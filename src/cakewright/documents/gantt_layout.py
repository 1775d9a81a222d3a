"""Where everything stands on a calendar: rows, bars, marks and their words, worked out once for page and paper."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from cakewright.documents.gantt_marks import holds, told_elsewhere, when_cool
from cakewright.documents.gantt_rows import (
    INSPECT_AND_PACK,
    Lane,
    bundled,
    lanes_of,
    lonely_openings,
    midnight,
    span_of,
)
from cakewright.documents.gantt_shapes import GAP, HEAD, LANE, LOWER, SINGLE, UPPER, Bar, Desk, Gantt, Row
from cakewright.documents.gantt_words import (
    BENCH_WORK,
    LETTER_PX,
    Say,
    Word,
    as_it_is,
    beside,
    empty_hours,
    names_on,
    standing,
)
from cakewright.documents.staffing import staffed
from cakewright.documents.words import clock, day, moment
from cakewright.model.plan import Task, TaskKind, WeekPlan

THINNEST = 3.0  # a bar that is shorter is drawn so wide
_DAY_LETTERS = 10  # of 'Wed 10 Mar'
_TICKS = (6, 12, 18)
_LOOK = {
    TaskKind.PRINT: "print", TaskKind.COOL: "cool", TaskKind.WAIT: "wait", TaskKind.CHANGE: "wait",
    TaskKind.SERVICE: "wait", TaskKind.RESULT: "wait", TaskKind.FINISH: "finish",
}  # fmt: skip


def lay_out(
    plan: WeekPlan, hour_px: float, *, say: Say = as_it_is, marks: Mapping[datetime, str] | None = None,
    told: WeekPlan | None = None,
) -> Gantt:  # fmt: skip
    """Place a plan's calendar with `hour_px` for an hour; `say` puts a word into the language of who reads.

    `marks` are instants with their words. Where `told` (the plan people were told) has a build's work elsewhere, its
    place is a box.
    """
    first, last = span_of(plan)
    needed = timedelta(hours=_DAY_LETTERS * LETTER_PX / hour_px)  # the name of the last day is not cut
    desk = Desk(plan, first, max(last, midnight(plan, last) + needed), hour_px, say)
    lonely = lonely_openings(plan)
    rows = tuple(_row(desk, lane, HEAD + n * (LANE + GAP), lonely, told) for n, lane in enumerate(lanes_of(plan)))
    days, ticks, head = _hours(desk)
    shown = tuple((desk.x(at), text) for at, text in (marks or {}).items() if first <= at <= desk.last)
    return Gantt(desk.wide, HEAD + len(rows) * (LANE + GAP), hour_px, days, ticks, head, rows, shown)


def _hours(desk: Desk) -> tuple[tuple[float, ...], tuple[float, ...], tuple[Word, ...]]:
    """Lines of days, lines of hours, and the words above the rows."""
    zone = desk.plan.cell.zone
    days, ticks, head = [], [], []
    start = desk.first
    while start < desk.last:
        days.append(desk.x(start))
        head.append(Word(desk.say(day(start, zone)), "day-name", days[-1] + 6, 18))
        for hour in _TICKS:
            at = start.astimezone(zone).replace(hour=hour).astimezone(UTC)
            ticks.append(desk.x(at))
            head.append(Word(desk.clock(at), "hour", ticks[-1], 36))
        start = midnight(desk.plan, start, 1)
    ticks, head = [x for x in ticks if x < desk.wide], [word for word in head if word.x < desk.wide]
    windows = staffed(desk.plan.cell, desk.first, desk.last)
    return tuple(days), tuple(ticks), (*head, *empty_hours(windows, desk.x, desk.wide, 53, desk.say))


def _row(desk: Desk, lane: Lane, y: float, lonely: Mapping[str, datetime], told: WeekPlan | None) -> Row:
    x, say = desk.x, desk.say
    tasks = tuple(bundled(lane.tasks))
    cakes = list(dict.fromkeys(t.build for t in lane.tasks if t.build)) if lane.kind == "chamber" else []
    under = tuple(holds(desk, tasks)) if lane.kind in ("machine", "chamber") else ()
    cooled = (when_cool(desk, lane.tasks, key, y, key in lonely) for key in cakes)
    over = (*told_elsewhere(desk, lane, told), *filter(None, cooled))
    several = BENCH_WORK if lane.kind == "person" else ""
    words = beside(tasks, x, desk.wide, y + SINGLE, several, say)
    words += standing(lane.tasks, x, y + SINGLE, say) if lane.kind == "machine" else []
    present = tuple((x(a), x(b) - x(a)) for a, b in lane.windows)
    return Row(lane, y, present, under, tuple(_bar(desk, t, y, lane.kind) for t in tasks), over, tuple(words))


def _bar(desk: Desk, task: Task, y: float, lane: str) -> Bar:
    start, width = desk.x(task.start), max(desk.x(task.end) - desk.x(task.start), THINNEST)
    lines = names_on(task, width, desk.say)
    look = look_of(task)
    heights = (UPPER, LOWER) if len(lines) > 1 or (lines and look == "cool" and lane == "chamber") else (SINGLE,)
    if look == "cool" and lane == "chamber":
        lines = lines[:1]  # below it stands when the cake is cool
    words = tuple(Word(t, f"on-{look}", start + 5, y + at) for t, at in zip(lines, heights, strict=False))
    return Bar(task, look, start, width, words, _said(desk, task))


def look_of(task: Task) -> str:
    """The class of a bar: what is done by hands, what prints, cools, waits, is finished or finishes by itself."""
    look = _LOOK.get(task.kind, "hands")
    return "alone" if look == "finish" and not task.people else look


def _said(desk: Desk, task: Task) -> str:
    """'B1 print: Tue 2 Mar 07:10 to 19:40, Mira'."""
    zone = desk.plan.cell.zone
    until = clock(task.end, zone) if day(task.start, zone) == day(task.end, zone) else moment(task.end, zone)
    what = task.label if task.label == INSPECT_AND_PACK else str(task.kind)
    whose = task.build or " ".join(f"L{n:02d}" for n in task.lines[:6])
    who = f", {', '.join(task.people)}" if task.people else ""
    when = desk.say(f"{moment(task.start, zone)} to {until}")
    return f"{whose} {desk.say(what)}: {when}{who}".strip()
