"""Two plans of the same work compared, in words a person can say at the machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from cakewright.model.plan import LinePromise, Schedule, Task, TaskKind
from cakewright.schedule.calendars import MONTHS, WEEKDAYS
from cakewright.sources.promise import MOVE_WORTH_A_WORD_MIN
from cakewright.units import hours_minutes

_SAID = (TaskKind.LOAD, TaskKind.PRINT, TaskKind.UNLOAD, TaskKind.UNPACK, TaskKind.CLEAN)


@dataclass(frozen=True, slots=True)
class LineMove:
    """A line whose date moves. `minutes` is positive when it becomes later; None when a date appears or goes."""

    line: int
    before: datetime | None
    after: datetime | None
    minutes: int | None
    was_late: bool
    is_late: bool
    text: str


@dataclass(frozen=True, slots=True)
class TaskMove:
    """Work at a machine, chamber or bench that is at another time, place or in other hands."""

    build: str
    kind: TaskKind
    start: datetime
    text: str


@dataclass(frozen=True, slots=True)
class Difference:
    """What a new plan changes. `headline` says it in one sentence; `kept` of `tasks` stay exactly as they were."""

    headline: str
    lines: tuple[LineMove, ...]
    tasks: tuple[TaskMove, ...]
    kept: int
    of: int

    @property
    def is_nothing(self) -> bool:
        """True when nobody has to do anything differently."""
        return not self.lines and not self.tasks

    @property
    def text(self) -> str:
        """Everything, one statement a line."""
        return "\n".join([self.headline, *(m.text for m in self.lines), *(m.text for m in self.tasks)])


def difference(
    before: Schedule,
    after: Schedule,
    promises_before: Sequence[LinePromise],
    promises_after: Sequence[LinePromise],
    zone: ZoneInfo,
    *,
    least_min: int = int(MOVE_WORTH_A_WORD_MIN.value),
) -> Difference:
    """What `after` changes against `before`, latest lines first; moves below `least_min` minutes are not named.

    Compared by build and kind of work and by line, so both plans must name the same work alike. Work that is only in
    one of them is said to be new or dropped.
    """
    lines = _line_moves(promises_before, promises_after, zone, least_min)
    tasks = _task_moves(before, after, zone, least_min)
    old = set(before.tasks)
    hands = [t for t in after.tasks if t.people]
    kept = sum(t in old for t in hands)
    return Difference(_headline(lines, tasks, kept, len(hands)), lines, tasks, kept, len(hands))


def _line_moves(
    before: Sequence[LinePromise], after: Sequence[LinePromise], zone: ZoneInfo, least: int
) -> tuple[LineMove, ...]:
    old = {p.line: p for p in before}
    moves = [_line_move(old.get(p.line), p, zone) for p in after]
    moves += [_line_move(p, None, zone) for n, p in old.items() if n not in {q.line for q in after}]
    told = [m for m in moves if m.minutes is None or abs(m.minutes) >= least or m.is_late != m.was_late]
    told = [m for m in told if m.before or m.after]
    return tuple(sorted(told, key=lambda m: (-(m.minutes if m.minutes is not None else 1 << 30), m.line)))


def _line_move(before: LinePromise | None, after: LinePromise | None, zone: ZoneInfo) -> LineMove:
    number = (after or before).line  # type: ignore[union-attr]
    was, now = before.ready if before else None, after.ready if after else None
    late = bool(after and after.is_late)
    was_late = bool(before and before.is_late)
    minutes = round((now - was) / timedelta(minutes=1)) if was and now else None
    return LineMove(
        number, was, now, minutes, was_late, late, _line_words(number, was, now, minutes, was_late, late, zone)
    )


def _line_words(
    number: int,
    was: datetime | None,
    now: datetime | None,
    minutes: int | None,
    was_late: bool,
    late: bool,
    zone: ZoneInfo,
) -> str:
    name = named(number)
    if now is None:
        return f"{name} is no longer in the plan (it was ready {moment(was, zone)})" if was else f"{name} has no date"
    if was is None:
        return f"{name} is new: ready {moment(now, zone)}{', late' if late else ''}"
    ending = {
        (False, True): "; it becomes LATE",
        (True, False): "; it is on time again",
        (True, True): "; it stays late",
    }
    way = "later" if minutes and minutes > 0 else "earlier"
    much = f"{duration(abs(minutes or 0))} {way}" if minutes else "as before"
    return (
        f"{name} is ready {moment(now, zone)} instead of {moment(was, zone)}, {much}{ending.get((was_late, late), '')}"
    )


def _task_moves(before: Schedule, after: Schedule, zone: ZoneInfo, least: int) -> tuple[TaskMove, ...]:
    old, new = _by_work(before), _by_work(after)
    moves = []
    for work in sorted(old.keys() | new.keys(), key=lambda w: (w[0], _SAID.index(w[1]))):
        was, now = old.get(work), new.get(work)
        text = _task_words(work, was, now, zone, least)
        if text:
            moves.append(TaskMove(work[0], work[1], (now or was).start, text))  # type: ignore[union-attr]
    return tuple(sorted(moves, key=lambda m: (m.start, m.build)))


def _by_work(schedule: Schedule) -> dict[tuple[str, TaskKind], Task]:
    found: dict[tuple[str, TaskKind], Task] = {}
    for task in schedule.tasks:
        if task.build and task.kind in _SAID:
            found.setdefault((task.build, task.kind), task)
    return found


def _task_words(work: tuple[str, TaskKind], was: Task | None, now: Task | None, zone: ZoneInfo, least: int) -> str:
    """'B3 load and check: Wed 07:00 on M2 · K1 by Mira, instead of Tue 15:00, M1'; '' when nothing is to be said."""
    key, kind = work
    if was is None and now is not None:
        return f"{key} {kind}: new, {moment(now.start, zone)}{_place(now, None)}"
    if now is None and was is not None:
        return f"{key} {kind}: dropped (it was {moment(was.start, zone)})"
    assert was is not None and now is not None
    moved = abs(now.start - was.start) >= timedelta(minutes=least)
    places = (was.machine, was.chamber, was.station) != (now.machine, now.chamber, now.station)
    hands = was.people != now.people
    if kind is TaskKind.PRINT and not places:
        return ""  # it follows its loading
    if not (moved or places or hands):
        return ""
    when = moment(now.start, zone) if moved else f"still {moment(now.start, zone)}"
    instead = ", ".join(
        part
        for part, changed in (
            (moment(was.start, zone), moved),
            (" · ".join(x for x in (was.machine, was.chamber, was.station) if x), places),
            (" and ".join(was.people), hands and bool(was.people)),
        )
        if changed
    )
    return f"{key} {kind}: {when}{_place(now, was)}{f', instead of {instead}' if instead else ''}"


def _place(now: Task, was: Task | None) -> str:
    places = [x for x in (now.machine, now.chamber, now.station) if x]
    hands = " and ".join(now.people)
    said = f" on {' · '.join(places)}" if places else ""
    return f"{said}{f' by {hands}' if hands and (was is None or was.people != now.people) else ''}"


def _headline(lines: Sequence[LineMove], tasks: Sequence[TaskMove], kept: int, hands: int) -> str:
    if not lines and not tasks:
        return "Nothing changes: every date and every task of a build stays where it was."
    later = [m for m in lines if m.minutes is not None and m.minutes > 0]
    earlier = [m for m in lines if m.minutes is not None and m.minutes < 0]
    newly = [m for m in lines if m.is_late and not m.was_late]
    saved = [m for m in lines if m.was_late and not m.is_late]
    said = [
        _count(len(later), "line is later", "lines are later"),
        f"{len(earlier) or 'none'} earlier",
        f"{len(newly) or 'none'} {'becomes' if len(newly) < 2 else 'become'} late"
        + (f" ({', '.join(named(m.line) for m in newly[:8])})" if newly else ""),
        *([_count(len(saved), "is on time again", "are on time again")] if saved else []),
        f"{kept} of {hands} tasks of people stay as they were",
    ]
    return f"{', '.join(said[:-1])}; {said[-1]}."


def _count(number: int, one: str, many: str) -> str:
    return f"{number or 'no'} {one if number < 2 else many}"


def named(line: int) -> str:
    """'L07'; numbers below one stand for an urgent order that is not in the list."""
    return f"L{line:02d}" if line > 0 else "the urgent order"


def duration(minutes: int) -> str:
    """Minutes as '3 d 4 h' above two days, else as hours and minutes."""
    days, rest = divmod(minutes, 24 * 60)
    return f"{days} d {rest // 60} h" if days >= 2 else hours_minutes(minutes)


def moment(when: datetime | None, zone: ZoneInfo) -> str:
    """'Tue 2 Mar 07:10' in the cell's time."""
    if when is None:
        return "never"
    local = when.astimezone(zone)
    return f"{WEEKDAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} {local:%H:%M}"
