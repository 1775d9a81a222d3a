"""Plan the week: the whole tool, top to bottom."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from cakewright.app.cages import Cages
from cakewright.app.crew import Crew
from cakewright.app.effort import Effort, effort_in_seconds
from cakewright.app.end_in_shift import with_endings
from cakewright.app.intake import take_in
from cakewright.app.lower_builds import lowered
from cakewright.app.part_records import NOTHING_KNOWN, PartRecords
from cakewright.app.plan_build import bulk_litres
from cakewright.app.plan_builds import plan_builds
from cakewright.app.plan_costs import plan_costs
from cakewright.app.plan_dates import plan_dates, week_start
from cakewright.app.powder_outlook import with_powder_findings
from cakewright.app.progress import Progress, quiet
from cakewright.model.cell import Cell
from cakewright.model.order import OrderList
from cakewright.model.plan import WeekPlan


def plan_week(
    orders: OrderList,
    cell: Cell,
    parts: str | Path,
    *,
    start: datetime | None = None,
    now: datetime | None = None,
    seed: int = 1,
    seconds: float | None = None,
    effort: Effort | None = None,
    workers: int | None = None,
    crew: Crew | None = None,
    progress: Progress = quiet,
    records: PartRecords = NOTHING_KNOWN,
    clock: Callable[[], float] = time.monotonic,
) -> WeekPlan:
    """Turn an order list into builds, dates, powder and costs.

    Parameters
    ----------
    orders, cell
        From `read_orders` and `read_cell`.
    parts
        Folder with the mesh files of the order lines.
    start
        First instant to plan; cell time when it names no zone. Default: `now`, or the day of the
        first order when that still lies ahead.
    now
        The present instant (default: the clock of this computer).
    seed
        Same seed and same effort in steps, same plan. Effort in seconds depends on the machine.
    seconds
        Search time for the nest of each build; default from the cell file. Ignored with `effort`.
    effort
        Stop rules of the searches, when seconds are not fine enough.
    workers
        Builds nested at a time; default: as many as there are cores. With fewer builds than that, the others help to
        search where the effort is in seconds; an effort in steps gives the same plan whatever their number.
    crew
        Who works out nests, builds and simulated weeks instead of this computer: any executor that takes functions with
        their closures, such as `crew_at("tcp://planner:8786")`. The plan is the same.
    progress
        Told what is being done.
    records
        What the database knows: how part revisions may be turned, shapes and names seen before.

    Returns
    -------
    WeekPlan
        Not yet saved: `write_plan` gives it a version and a folder.

    Raises
    ------
    InputError
        When the parts folder is missing or no line can be planned.
    NoCalendarError
        When work can never be done in the hours of the cell.
    """
    began = clock()
    start = week_start(start, now or datetime.now(UTC), orders.lines, cell)
    effort = effort or effort_in_seconds(cell.nesting.seconds_per_build if seconds is None else seconds, clock)

    workers = workers or os.cpu_count() or 1
    taken = take_in(orders, cell, parts, progress, records, workers=workers, crew=crew)
    lines = [line for line in orders.lines if line.line in taken.part_of_line]
    cages = Cages()
    builds, without_place = plan_builds(
        lines, taken.parts, taken.part_of_line, cell, start=start, effort=effort, seed=seed, progress=progress,
        cages=cages, workers=workers, crew=crew,
    )  # fmt: skip
    litres = bulk_litres(lines, taken.parts, taken.part_of_line, cell.nesting.clearance_mm)
    schedule, promises, builds = plan_dates(
        builds, lines, litres, cell, start=start, effort=effort, seed=seed, crew=crew
    )
    lower = lowered(
        builds, schedule, lines, taken.parts, taken.part_of_line, cell, effort=effort, seed=seed, cages=cages,
        progress=progress, crew=crew,
    )  # fmt: skip
    if lower != builds:
        schedule, promises, builds = plan_dates(
            lower, lines, litres, cell, start=start, effort=effort, seed=seed, crew=crew
        )
    builds = with_endings(builds, schedule, cell)
    costs = plan_costs(builds, lines, taken.parts, taken.part_of_line, cell)

    plan = WeekPlan(
        cell=cell,
        orders=orders,
        start=start,
        parts={**taken.parts, **cages.standing(builds)},
        part_of_line=taken.part_of_line,
        builds=builds,
        schedule=schedule,
        promises=promises,
        costs=costs,
        set_aside=(*taken.set_aside, *without_place),
        findings=taken.findings,
        seed=seed,
        timings={"planning_s": clock() - began},
    )
    return with_powder_findings(plan)
