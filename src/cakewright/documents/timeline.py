"""The hours of one build that papers speak of: start, end with its spread, opening range, break-out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from cakewright.documents.words import task_of
from cakewright.model.build import Build
from cakewright.model.plan import TaskKind, WeekPlan


@dataclass(frozen=True, slots=True)
class BuildHours:
    """Instants in UTC, None where the schedule has no such task.

    `opening` is (early, likely, late): print end plus the cooling range. `spread` is one standard
    deviation of the print end.
    """

    load: datetime | None
    loader: tuple[str, ...]
    print_start: datetime | None
    print_end: datetime | None
    spread: timedelta
    opening: tuple[datetime, datetime, datetime] | None
    unpack: datetime | None
    unpacker: tuple[str, ...]
    chamber: str


def hours_of(plan: WeekPlan, build: Build) -> BuildHours:
    """Read the hours of a build from the schedule."""
    load = task_of(plan, build.key, TaskKind.LOAD)
    run = task_of(plan, build.key, TaskKind.PRINT)
    unpack = task_of(plan, build.key, TaskKind.UNPACK)
    end = run.end if run else None
    early, likely, late = (timedelta(seconds=s) for s in build.cooling.opening_s)
    return BuildHours(
        load=load.start if load else (run.start if run else None),
        loader=load.people if load else (),
        print_start=run.start if run else None,
        print_end=end,
        spread=timedelta(seconds=build.print_time.relative_sigma * build.print_time.total_s),
        opening=(end + early, end + likely, end + late) if end else None,
        unpack=unpack.start if unpack else None,
        unpacker=unpack.people if unpack else (),
        chamber=next((t.chamber for t in plan.schedule.of_build(build.key) if t.chamber), ""),
    )
