"""One call from jobs to a judged schedule and a promise for every line."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from cakewright.errors import NotConvergedError
from cakewright.model.cell import Cell
from cakewright.model.plan import LinePromise, Schedule
from cakewright.schedule.calendars import instant_of
from cakewright.schedule.dispatch import Decoder, Orders, dispatch
from cakewright.schedule.explain import Explainer
from cakewright.schedule.improve import improve
from cakewright.schedule.instance import origin_of
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.tasks import make_tasks
from cakewright.schedule.validate import validate
from cakewright.stopping import Stop


def plan_schedule(
    cell: Cell, builds: Sequence[BuildJob], lines: Sequence[LineJob], *, start: datetime, stop: Stop, seed: int
) -> tuple[Schedule, tuple[LinePromise, ...]]:
    """Place every build and every line, with people named, and say for each line when and why then.

    Dispatch by urgency, then local search until `stop` (one step is one complete schedule tried). The same seed
    and a stop rule that counts steps give the same schedule.

    Raises
    ------
    NoCalendarError
        When a task can never be done; the message names what is missing.
    InputError
        When keys or line numbers occur twice, a line names an unknown build, or `start` has no time zone.
    """
    decoder, orders = dispatch(cell, builds, lines, origin_of(start))
    first = decoder.cost(orders)
    orders, tried = improve(decoder, orders, stop, seed)
    notes = (f"{tried} schedules tried", f"cost {first:.0f} by dispatch, {decoder.cost(orders):.0f} after search")
    schedule = judged(cell, builds, lines, decoder, orders, "dispatch and local search", notes)
    return schedule, promises(decoder, orders, lines)


def judged(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    decoder: Decoder,
    orders: Orders,
    method: str,
    notes: tuple[str, ...],
) -> Schedule:
    """The schedule of `orders` with names, refused when the independent validator finds a broken rule."""
    instance = decoder.instance
    tasks = make_tasks(instance, decoder.schedule(orders))
    schedule = Schedule(instance.origin, tasks, method, True, notes)
    broken = validate(cell, builds, lines, schedule)
    if broken:
        raise NotConvergedError(
            f"the schedule breaks {len(broken)} rules, first: {broken[0].text}",
            remedy="this is a mistake in the program; please report it together with the cell file and the orders",
        )
    return schedule


def promises(decoder: Decoder, orders: Orders, lines: Sequence[LineJob]) -> tuple[LinePromise, ...]:
    """A promise for every line asked for, in the order asked."""
    instance = decoder.instance
    placed = decoder.schedule(orders)
    explainer = Explainer(instance, placed)
    index = {line.line: i for i, line in enumerate(instance.lines)}
    made = []
    for line in lines:
        i = index.get(line.line)
        ready = None if i is None else instant_of(instance.origin, int(placed.ready[i]))
        reason = "is in no build" if i is None else explainer.reason(i)
        made.append(LinePromise(line.line, ready, line.due_by, None, None, None, reason))
    return tuple(made)
