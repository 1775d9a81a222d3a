"""What is marked on the rows of a calendar beside the tasks: who holds it, what was told, when a cake is cool."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cakewright.documents.gantt_rows import Lane
from cakewright.documents.gantt_shapes import LOWER, Box, Desk
from cakewright.documents.gantt_words import Word, longest
from cakewright.documents.timeline import BuildHours, hours_of
from cakewright.documents.words import held
from cakewright.model.plan import Task, TaskKind, WeekPlan

_EDGE = 8.0  # between a word and the ends of its place


def holds(desk: Desk, tasks: Sequence[Task]) -> Iterator[Box]:
    """How long each build holds a machine or chamber, also while nothing happens to it."""
    for key, (start, end) in held(tasks).items():
        if key:
            since, until = desk.moment(start), desk.moment(end)
            said = desk.say(f"{key} is in it: {since} to {until}")
            yield Box("held", desk.x(start), max(desk.x(end) - desk.x(start), 1.0), said)


def told_elsewhere(desk: Desk, lane: Lane, told: WeekPlan | None) -> Iterator[Box]:
    """Where people were told that the work of a build would be, when it is elsewhere now."""
    now = set(desk.plan.schedule.tasks)
    for task in told.schedule.tasks if told else ():
        if task.build and task not in now and lane.name in (task.machine, task.chamber) and task.end > desk.first:
            start = desk.moment(task.start)
            said = desk.say(f"told: {task.build} {task.kind} {start}")
            yield Box("told", desk.x(task.start), desk.x(task.end) - desk.x(task.start), said)


def when_cool(desk: Desk, tasks: Sequence[Task], key: str, y: float, alone: bool) -> Box | None:
    """When the cake of a build is likely cool, and the hours it then lies; those stand out when nobody is in.

    None for what is no build of the plan or does not print.
    """
    hours = hours_of(desk.plan, desk.plan.build(key)) if any(b.key == key for b in desk.plan.builds) else None
    if hours is None or hours.opening is None:
        return None
    cool = hours.opening[1]
    at, until = desk.x(cool), _until(desk, hours, alone)
    since = desk.x(max((t.start for t in tasks if t.kind is TaskKind.COOL and t.build == key), default=cool))
    look, ways, why = _how_it_lies(desk, hours, alone)
    opening, unpack = desk.moment(cool), desk.moment(hours.unpack)
    waits = desk.say(why)
    said = f"{key} is likely cool {opening}: {waits} until {unpack}" if why else f"{key} is likely cool {opening}"
    return Box(look, at, until - at, desk.say(said), _words(look, [desk.say(way) for way in ways], since, at, until, y))


def _words(look: str, ways: Sequence[str], since: float, at: float, until: float, y: float) -> tuple[Word, ...]:
    """The longest that has room: where the cake lies, else reaching back over its cooling, never over the unpacking."""
    text = longest(ways, until - since - _EDGE)
    if text and text == longest(ways, until - at - _EDGE):
        return (Word(text, f"{look}-after", at + _EDGE, y + LOWER),)
    return (Word(text, f"{look}-word", until - 4, y + LOWER),) if text else ()


def _until(desk: Desk, hours: BuildHours, alone: bool) -> float:
    """Where a cool cake stops to lie; one that no hand takes in this plan and nobody sees lies to its end."""
    cool = hours.opening[1] if hours.opening else desk.first
    if hours.unpack is None:
        return desk.wide if alone else desk.x(cool)
    return desk.x(max(hours.unpack, cool))


def _how_it_lies(desk: Desk, hours: BuildHours, alone: bool) -> tuple[str, tuple[str, ...], str]:
    """The look of a cool cake, its words, the longest first, and what it waits for."""
    cool = hours.opening[1] if hours.opening else desk.first
    at = desk.clock(cool)
    if alone:
        return "ripe", (f"cool {at}, nobody in", "cool, nobody in", "nobody in"), "nobody is in"
    if hours.unpack is not None and hours.unpack > cool:
        return "lying", (f"cool {at}, waits", "cool, waits", f"cool {at}"), "no free hands"
    return "cooled", (f"cool {at}", "cool"), ""
