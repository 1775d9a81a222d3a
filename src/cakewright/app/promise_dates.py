"""From a schedule to dates that hold: what may go otherwise with each build, the simulated weeks, how many to start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from cakewright.app.crew import Crew, results
from cakewright.cost.overmake import enough_chance, pieces_to_start
from cakewright.model.build import Build
from cakewright.model.cell import Cell
from cakewright.model.order import OrderLine
from cakewright.model.plan import LinePromise, Schedule, TaskKind
from cakewright.physics.risk import Hazard, hazard_of
from cakewright.schedule.doubts import BuildDoubt, LineDoubt, StopPoint
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.simulate import Weeks, simulate, simulate_failing, simulated_promises
from cakewright.sources.promise import OVERMAKE_CONFIDENCE, PIECE_YIELD, PROMISE_RUNS, STOP_POINTS

FAILING_AT_ONCE = 8  # builds handed out together to a crew: they share the layout of the plan


def promise_dates(
    builds: Sequence[Build],
    jobs: Sequence[BuildJob],
    wishes: Sequence[LineJob],
    lines: Sequence[OrderLine],
    schedule: Schedule,
    promises: Sequence[LinePromise],
    cell: Cell,
    *,
    seed: int,
    runs: int = int(PROMISE_RUNS.value),
    crew: Crew | None = None,
) -> tuple[LinePromise, ...]:
    """The promises with P50, P90, chance to be on time, date after a failure, and pieces to start.

    The dates assume that the advised number of pieces is started. A `crew` simulates the weeks side by side.
    """
    promises = [replace(p, start_pieces=start_pieces(of)) if (of := _line(lines, p.line)) else p for p in promises]
    if not jobs:
        return tuple(promises)
    doubts, shorts = build_doubts(builds, cell, schedule), line_doubts(lines)
    usual = partial(simulate, cell, jobs, wishes, schedule, doubts, shorts, runs=runs, seed=seed)
    if crew is None:
        weeks, fails = usual(), failing_weeks(jobs, wishes, schedule, doubts, cell, seed=seed)
    else:
        soon = crew.submit(usual)
        fails = failing_weeks(jobs, wishes, schedule, doubts, cell, seed=seed, crew=crew)
        weeks = soon.result()
    return simulated_promises(promises, weeks, fails, {w.line: w.builds for w in wishes})


def failing_weeks(
    jobs: Sequence[BuildJob],
    wishes: Sequence[LineJob],
    schedule: Schedule,
    doubts: Sequence[BuildDoubt],
    cell: Cell,
    *,
    seed: int,
    crew: Crew | None = None,
) -> dict[str, Weeks]:
    """For each build that can still fail, the weeks in which it does, once at every stop point."""
    keys = [doubt.key for doubt in doubts if doubt.fails > 0]
    points = int(STOP_POINTS.value)
    some = partial(simulate_failing, cell, jobs, wishes, schedule, doubts, runs=points, seed=seed)
    if crew is None:
        return dict(zip(keys, some(keys), strict=True))
    shares = [keys[n : n + FAILING_AT_ONCE] for n in range(0, len(keys), FAILING_AT_ONCE)]
    weeks = [week for share in results(crew, some, [(share,) for share in shares]) for week in share]
    return dict(zip(keys, weeks, strict=True))


def build_doubts(builds: Sequence[Build], cell: Cell, schedule: Schedule | None = None) -> tuple[BuildDoubt, ...]:
    """What may go otherwise with each build; one whose print ended before the schedule starts cannot stop any more."""
    hazard = cell_hazard(builds, cell)
    printed = (
        {t.build for t in schedule.tasks if t.kind is TaskKind.PRINT and t.end <= schedule.start} if schedule else ()
    )
    return tuple(build_doubt(build, hazard, can_fail=build.key not in printed) for build in builds)


def cell_hazard(builds: Sequence[Build], cell: Cell) -> Hazard:
    """Chance of a stop per layer from the cell's record, its builds taken to be as high as these on average."""
    layers = [b.profile.layers for b in builds]
    return hazard_of(cell.failures, float(np.mean(layers)) if layers else 1.0)


def build_doubt(build: Build, hazard: Hazard, *, can_fail: bool = True) -> BuildDoubt:
    """Spread of the print, range of the cooling, chance to stop, and what stops at evenly spread heights leave."""
    early, likely, late = (s / 60 for s in build.cooling.opening_s)
    return BuildDoubt(
        key=build.key,
        print_sigma=build.print_time.relative_sigma,
        cool_min=(min(early, likely), likely, max(likely, late)),
        fails=1.0 - float(hazard.survives(build.profile.layers)) if can_fail else 0.0,
        stops=stop_points(build) if can_fail else (),
    )


def stop_points(build: Build, points: int = int(STOP_POINTS.value)) -> tuple[StopPoint, ...]:
    """Stops in the middle of equal shares of the layers."""
    layers = build.profile.layers
    return tuple(stop_point(build, int((q + 0.5) * layers / points)) for q in range(points))


def stop_point(build: Build, layer: int) -> StopPoint:
    """What a stop after so many finished layers leaves, and what printing the rest again takes.

    The remake is as high as its share of the height of all pieces, and at least as its tallest piece; its layers take
    as long as the average layer of the build. Rough, and late rather than early.
    """
    at = layer * build.profile.layer_mm
    owed = [p for p in build.nest.placements if p.z_max_mm > at + 1e-6]
    heights = {p.piece: p.z_max_mm - p.z_min_mm for p in build.nest.placements}
    rest = sum(heights[p.piece] for p in owed) / max(sum(heights.values()), 1e-9)
    whole = max(build.nest.height_mm, 1e-9)
    height = min(1.0, max([rest, *(heights[p.piece] / whole for p in owed)]))
    total, layer_s = build.print_time.total_s, build.print_time.layer_s
    fixed = max(total - float(layer_s.sum()), 0.0)
    return StopPoint(
        printed_share=min(1.0, (build.print_time.warm_up_s + float(layer_s[:layer].sum())) / total),
        height_share=min(1.0, at / whole),
        remake_share=(fixed + height * float(layer_s.sum())) / total,
        remake_height_share=height,
        incomplete=frozenset(p.line for p in owed),
    )


def start_pieces(line: OrderLine) -> int:
    """How many pieces to start so that enough are good with `promise.overmake_confidence`."""
    return pieces_to_start(line.quantity, PIECE_YIELD.value, OVERMAKE_CONFIDENCE.value)


def line_doubts(lines: Sequence[OrderLine]) -> tuple[LineDoubt, ...]:
    """The chance that is left of coming up short when the advised number is started."""
    return tuple(
        LineDoubt(line.line, 1.0 - enough_chance(start_pieces(line), line.quantity, PIECE_YIELD.value))
        for line in lines
    )


def _line(lines: Sequence[OrderLine], number: int) -> OrderLine | None:
    return next((line for line in lines if line.line == number), None)
