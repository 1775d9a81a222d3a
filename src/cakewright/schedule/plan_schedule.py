"""One call from jobs to a judged schedule and a promise for every line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType

from cakewright.errors import InputError, NotConvergedError
from cakewright.model.cell import Cell
from cakewright.model.plan import LinePromise, Schedule, Task, TaskKind
from cakewright.schedule.calendars import instant_of, minutes_after
from cakewright.schedule.cpsat import cost_of
from cakewright.schedule.dispatch import dispatch
from cakewright.schedule.exact import polish
from cakewright.schedule.explain import Explainer
from cakewright.schedule.improve import improve
from cakewright.schedule.instance import Instance, origin_of
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.kept import closed_minutes, sort_kept
from cakewright.schedule.placed import Placed
from cakewright.schedule.tasks import make_tasks
from cakewright.schedule.validate import validate
from cakewright.stopping import Stop


def plan_schedule(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    *,
    start: datetime,
    stop: Stop,
    seed: int,
    frozen: Sequence[Task] = (),
    unavailable: Mapping[str, Sequence[tuple[datetime, datetime]]] = MappingProxyType({}),
    previous: Sequence[Task] = (),
    exact: Stop | None = None,
    workers: int = 1,
) -> tuple[Schedule, tuple[LinePromise, ...]]:
    """Place every build and every line, with people named, and say for each line when and why then.

    Dispatch by urgency, then local search until `stop` (one step is one complete schedule tried), then, when `exact` is
    given, exact solves until that says stop (one step is one solve). The same seed, stop rules that count steps and
    one worker give the same schedule.

    Parameters
    ----------
    frozen
        Tasks that keep their times and names: done, started or promised. They may lie before `start`, last longer or
        shorter than planned, and are in the schedule exactly as given. A build that is begun has its loading among
        them; a basket has its steps in order, from the first on, under the label it had. What follows a frozen task and
        is not frozen itself (the print after a loading, lifting out, drying) is planned.
    unavailable
        For names of machines, chambers, stations or people: windows in which they cannot be used. A build that is
        begun stays in its machine and chamber all the same.
    previous
        Tasks of the plan before: a loading moves away from its time there only for a gain (`schedule.steady_weight`).
    workers
        Threads of the exact solver; more than one is faster and not repeatable.

    Raises
    ------
    NoCalendarError
        When a task can never be done; the message names what is missing.
    InputError
        When keys or line numbers occur twice, a line names an unknown build, `start` has no time zone, or frozen tasks
        cannot be kept together.
    """
    origin = origin_of(start)
    kept = sort_kept(frozen, cell, builds, lines)
    closed = closed_minutes(unavailable, cell, origin)
    before = {t.build: minutes_after(origin, t.start) for t in previous if t.kind is TaskKind.LOAD}
    decoder, orders = dispatch(cell, builds, lines, origin, closed, kept, before)
    first = decoder.cost(orders)
    orders, tried = improve(decoder, orders, stop, seed)
    placed, method = decoder.schedule(orders), "dispatch and local search"
    found = cost_of(decoder.instance, placed)
    notes: tuple[str, ...] = (f"{tried} schedules tried", f"cost {first:.0f} by dispatch, {found:.0f} after search")
    if exact is not None:
        better = polish(decoder.instance, placed, exact, seed, workers)
        placed, notes = better.placed, (*notes, *better.notes)
        method = "proved least lateness" if better.proved else "dispatch, local search and exact parts"
    schedule = judged(cell, builds, lines, decoder.instance, placed, method, notes, unavailable)
    return schedule, promises(decoder.instance, placed, lines)


def judged(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    instance: Instance,
    placed: Placed,
    method: str,
    notes: tuple[str, ...],
    unavailable: Mapping[str, Sequence[tuple[datetime, datetime]]] = MappingProxyType({}),
) -> Schedule:
    """The schedule with names, refused when the independent validator finds a broken rule."""
    tasks = make_tasks(instance, placed)
    schedule = Schedule(instance.origin, tasks, method, True, notes)
    broken = validate(cell, builds, lines, schedule, instance.kept.tasks, unavailable)
    if broken and instance.kept.tasks:
        raise InputError(
            f"the tasks to be kept do not go together with the rest: {broken[0].text}",
            remedy="free the later one of the two, or the window in which something is out of use",
        )
    if broken:
        raise NotConvergedError(
            f"the schedule breaks {len(broken)} rules, first: {broken[0].text}",
            remedy="this is a mistake in the program; please report it together with the cell file and the orders",
        )
    return schedule


def promises(instance: Instance, placed: Placed, lines: Sequence[LineJob]) -> tuple[LinePromise, ...]:
    """A promise for every line asked for, in the order asked."""
    explainer = Explainer(instance, placed)
    index = {line.line: i for i, line in enumerate(instance.lines)}
    made = []
    for line in lines:
        i = index.get(line.line)
        ready = None if i is None else instant_of(instance.origin, int(placed.ready[i]))
        reason = "is in no build" if i is None else explainer.reason(i)
        made.append(LinePromise(line.line, ready, line.due_by, None, None, None, reason))
    return tuple(made)
