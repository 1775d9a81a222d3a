"""From computed builds to a calendar: what the scheduler is told, in minutes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, time
from typing import Protocol

from cakewright.app.crew import Crew
from cakewright.app.effort import Effort
from cakewright.app.promise_dates import promise_dates
from cakewright.model.build import Build, Cooling, LayerProfile
from cakewright.model.cell import Cell
from cakewright.model.order import OrderLine
from cakewright.model.plan import LinePromise, Schedule, TaskKind
from cakewright.physics.buildtime import print_time
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.plan_schedule import plan_schedule


class Timed(Protocol):
    """A nest with its layers and heat known: a Build, or a draft of one."""

    @property
    def key(self) -> str:
        """Name of the build."""
        ...

    @property
    def lines(self) -> tuple[int, ...]:
        """Order lines in it."""
        ...

    @property
    def pieces(self) -> int:
        """Pieces in it."""
        ...

    @property
    def machine(self) -> str:
        """Machine it was made for."""
        ...

    @property
    def profile(self) -> LayerProfile:
        """Its layers."""
        ...

    @property
    def cooling(self) -> Cooling:
        """Its heat after the print."""
        ...


def build_job(build: Timed, lines: Sequence[OrderLine], cell: Cell) -> BuildJob:
    """What a build asks of the cell: machine minutes on each machine that could take it, heat, hands."""
    machine = cell.machine(build.machine)
    chamber = cell.chamber_type(machine.chamber_type)
    extra = chamber.base_mm + chamber.cover_mm
    material = build.material if isinstance(build, Build) else machine.material
    can = [
        m
        for m in cell.machines
        if m.takes(material) and (m.chamber_type, m.layer_mm) == (chamber.name, machine.layer_mm)
    ]
    tested = [q for q in (cell.quality_class(line.quality_class) for line in lines) if q.specimen_min]
    hours = {m.name: print_time(build.profile, m, extra_layers_mm=extra) for m in can}
    rates = cell.rates
    return BuildJob(
        key=build.key,
        material=material,
        chamber_type=chamber.name,
        print_min={name: math.ceil(t.total_s / 60) for name, t in hours.items()},
        cool_min=math.ceil(build.cooling.opening_s[1] / 60),
        minimum_cool_in_machine_min=machine.minimum_cool_in_machine_min,
        load_min=machine.load_min,
        unload_min=machine.unload_min,
        unpack_min=math.ceil(rates.unpack_min_per_build + build.pieces * rates.unpack_s_per_piece / 60),
        clean_min=chamber.clean_min,
        release=max(released(line, cell) for line in lines),
        test_min=max((q.specimen_min for q in tested), default=0),
        test_wait_min=max((q.specimen_wait_min for q in tested), default=0),
    )


def with_powder(jobs: Sequence[BuildJob], virgin_kg: Mapping[str, float], cell: Cell) -> list[BuildJob]:
    """The jobs with the virgin powder they take from the stock, where stock and arrivals are enough for all of them.

    Where they are not, dates are planned as if it were there: the powder page says what is missing.
    """
    enough = set()
    for material in cell.materials:
        needed = sum(virgin_kg[job.key] for job in jobs if job.material == material.name)
        if needed <= material.virgin_kg + sum(arrival.kg for arrival in material.arrivals):
            enough.add(material.name)
    return [replace(job, virgin_kg=virgin_kg[job.key]) if job.material in enough else job for job in jobs]


def line_job(line: OrderLine, builds: Sequence[Timed], cell: Cell, litres: float = 0.0) -> LineJob:
    """What a line asks after break-out: its finish, counting, inspection and packing.

    `litres` is the bulk volume of its pieces in a basket or bath, 0 when not known.
    """
    rates = cell.rates
    quality = cell.quality_class(line.quality_class)
    inspect_s = line.quantity * (quality.inspect_s_per_piece + rates.count_s_per_piece)
    return LineJob(
        line=line.line,
        builds=tuple(b.key for b in builds if line.line in b.lines),
        finish=cell.finish(line.finish),
        pieces=line.quantity,
        inspect_min=max(1, math.ceil(inspect_s / 60)),
        pack_min=max(1, math.ceil(rates.pack_min_per_line)),
        due_by=due_by(line, cell),
        weight=quality.weight,
        litres=litres,
        waits_for_test=quality.specimen_min > 0,
    )


def due_by(line: OrderLine, cell: Cell) -> datetime:
    """The last minute of the due day in cell time, as UTC."""
    return datetime.combine(line.due, time(23, 59), cell.zone).astimezone(UTC)


def released(line: OrderLine, cell: Cell) -> datetime:
    """The start of the day on which a line was received, in cell time, as UTC."""
    return datetime.combine(line.received, time(0), cell.zone).astimezone(UTC)


def week_start(start: datetime | None, now: datetime, lines: Sequence[OrderLine], cell: Cell) -> datetime:
    """When planning begins, as UTC: the given instant (cell time when it names no zone), or now, or the
    day of the first order when that still lies ahead."""
    if start is not None:
        return (start if start.tzinfo else start.replace(tzinfo=cell.zone)).astimezone(UTC)
    return max(now.astimezone(UTC), min(released(line, cell) for line in lines))


def plan_dates(
    builds: Sequence[Build],
    lines: Sequence[OrderLine],
    litres: Mapping[int, float],
    cell: Cell,
    *,
    start: datetime,
    effort: Effort,
    seed: int,
    crew: Crew | None = None,
) -> tuple[Schedule, tuple[LinePromise, ...], tuple[Build, ...]]:
    """Put builds and bench work on the calendar.

    `litres` gives the bulk volume of each line, which decides whether lines share a bath. A `crew` simulates the weeks.
    Returns schedule, promises and the builds with the machine that the schedule chose for each.
    """
    jobs = [build_job(b, [line for line in lines if line.line in b.lines], cell) for b in builds]
    jobs = with_powder(jobs, {b.key: b.powder.virgin_kg for b in builds}, cell)
    wishes = [line_job(line, builds, cell, litres.get(line.line, 0.0)) for line in lines]
    schedule, promises = plan_schedule(
        cell, jobs, wishes, start=start, stop=effort.dates(), seed=seed, exact=effort.exact()
    )
    promises = tuple(_with_company(p, builds, lines, cell) for p in promises)
    promises = promise_dates(builds, jobs, wishes, lines, schedule, promises, cell, seed=seed, crew=crew)
    chosen = {t.build: t.machine for t in schedule.tasks if t.kind is TaskKind.PRINT}
    return schedule, promises, tuple(replace(b, machine=chosen.get(b.key, b.machine)) for b in builds)


def _with_company(promise: LinePromise, builds: Sequence[Build], lines: Sequence[OrderLine], cell: Cell) -> LinePromise:
    """Say first when a build had to wait for another of its lines to be received."""
    of = {line.line: line for line in lines}
    waits = []
    for build in builds:
        if promise.line in build.lines:
            last = max((of[n] for n in build.lines), key=lambda line: line.received)
            if last.received > of[promise.line].received:
                day = f"{last.received:%a} {last.received.day} {last.received:%b}"
                waits.append(f"{build.key} also holds line {last.line}, received {day}")
    return replace(promise, reason="; ".join([*waits, promise.reason])) if waits else promise
