"""Simulated weeks: the plan run a thousand times with prints, cooling, hands, failures and remakes as they fall.

Each run replays the plan's tasks with its own durations (`runs`). A build that stops holds machine and chamber until
it is lifted out and cleaned; the lines that miss pieces wait for its remake, which is loaded on the first machine and
chamber that are free, before what was planned later. The runs share their dice (`doubts.throw`), so two what-ifs
differ by what was changed, not by luck.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import NamedTuple

import numpy as np

from cakewright.model.cell import Cell
from cakewright.model.plan import LinePromise, Schedule
from cakewright.schedule.calendars import Span, instant_of, minutes_after
from cakewright.schedule.course import Course, Names, horizon_of, make_course
from cakewright.schedule.doubts import (
    ATTEMPTS,
    BuildDoubt,
    Dice,
    LineDoubt,
    hands_factors,
    print_factors,
    throw,
    triangular,
)
from cakewright.schedule.instance import BoolArray, FloatArray, IntArray
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.realized import realized_week
from cakewright.schedule.runs import Fate, Scratch, Stops, run_weeks
from cakewright.sources.promise import HANDS_SIGMA, REACTION_MIN


@dataclass(frozen=True, eq=False)
class Weeks:
    """What happened in every run. `ready_min`: (runs, lines) minutes after `origin`; `failed`: (runs, builds).

    `lines` and `builds` name the columns. A line that found no place before the end of the calendar is ready at
    `horizon_min`: its late quantiles are then too early.
    """

    origin: datetime
    horizon_min: int
    lines: tuple[int, ...]
    builds: tuple[str, ...]
    ready_min: IntArray
    failed: BoolArray

    def quantile(self, line: int, share: float) -> datetime:
        """The instant by which the line is ready in so large a share of the runs (order statistic, rounded up)."""
        return instant_of(self.origin, int(_quantile(self.ready_min[:, self.lines.index(line)], share)))

    def on_time(self, line: int, due_by: datetime) -> float:
        """Share of the runs in which the line is ready by `due_by`."""
        return float((self.ready_min[:, self.lines.index(line)] <= minutes_after(self.origin, due_by)).mean())


def _quantile(minutes: IntArray, share: float) -> int:
    ordered = np.sort(minutes)
    return int(ordered[min(len(ordered), max(1, int(np.ceil(share * len(ordered) - 1e-9)))) - 1])


def simulate(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    schedule: Schedule,
    build_doubts: Sequence[BuildDoubt],
    line_doubts: Sequence[LineDoubt] = (),
    *,
    runs: int,
    seed: int,
    closed: Mapping[str, Sequence[Span]] | None = None,
    hands_sigma: float = float(HANDS_SIGMA),
    failing: str | None = None,
) -> Weeks:
    """Run the planned week `runs` times.

    `failing` makes that build stop in every run, at evenly spread heights, and every other build come out at its first
    try: what its failure alone would do. `closed` as for the plan itself.
    """
    cast = _cast(cell, builds, lines, schedule, build_doubts, line_doubts, closed)
    return _played(cast, schedule, _fate(cast, runs, seed, hands_sigma, failing))


def simulate_failing(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    schedule: Schedule,
    build_doubts: Sequence[BuildDoubt],
    failing: Sequence[str],
    *,
    runs: int,
    seed: int,
) -> list[Weeks]:
    """For each of some builds, the weeks of `simulate` in which it fails; the plan is laid out once for all of them."""
    if not failing:
        return []
    cast = _cast(cell, builds, lines, schedule, build_doubts, (), None)
    return [_played(cast, schedule, _fate(cast, runs, seed, float(HANDS_SIGMA), key)) for key in failing]


def simulated_week(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    schedule: Schedule,
    build_doubts: Sequence[BuildDoubt],
    *,
    runs: int,
    run: int,
    seed: int,
    hands_sigma: float = float(HANDS_SIGMA),
) -> tuple[tuple[BuildJob, ...], Schedule]:
    """Run number `run` of `simulate` as builds with their real durations and tasks on the calendar."""
    cast = _cast(cell, builds, lines, schedule, build_doubts, (), None)
    fate = _fate(cast, runs, seed, hands_sigma, None)
    one = Fate._make(x[run : run + 1] for x in fate)
    week = _scratch(cast.course)
    _played(cast, schedule, one, week)
    return realized_week(cell, builds, schedule, cast.course, cast.names, week)


class _Cast(NamedTuple):
    """The plan as arrays, and what may go otherwise in it."""

    course: Course
    names: Names
    doubts: Sequence[BuildDoubt]
    shorts: FloatArray  # (lines,) chance to come up short
    stops: Stops


def _cast(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    schedule: Schedule,
    build_doubts: Sequence[BuildDoubt],
    line_doubts: Sequence[LineDoubt],
    closed: Mapping[str, Sequence[Span]] | None,
) -> _Cast:
    course, names = make_course(cell, builds, lines, schedule, ATTEMPTS, closed)
    doubts = {d.key: d for d in build_doubts}
    of_build = [doubts.get(b.key) or BuildDoubt(b.key, 0.0, (b.cool_min,) * 3) for b in builds]
    short = {d.line: d.short for d in line_doubts}
    shorts = np.array([short.get(n, 0.0) for n in names.lines], dtype=np.float64)
    return _Cast(course, names, of_build, shorts, _stops(of_build, names))


def _fate(cast: _Cast, runs: int, seed: int, hands_sigma: float, failing: str | None) -> Fate:
    """What every run has in store."""
    names, doubts = cast.names, cast.doubts
    dice = throw(names.builds, names.lines, runs, seed)
    fails = np.array([d.fails for d in doubts])
    if failing is not None:
        dice, fails = _forced(dice, names.builds.index(failing)), np.zeros(len(fails))
    points = cast.stops.printed.shape[1]
    return Fate(
        printing=print_factors(dice, np.array([d.print_sigma for d in doubts])),
        fails=dice.fails < fails[None, :, None],
        stop=np.minimum(dice.stops * points, points - 1).astype(np.int64),
        hands=hands_factors(dice.hands, hands_sigma),
        cool=triangular(dice.cooling, np.array([d.cool_min for d in doubts], dtype=np.float64).reshape(-1, 3)),
        line_hands=hands_factors(dice.line_hands, hands_sigma),
        short=dice.short < cast.shorts[None, :],
    )


def _played(cast: _Cast, schedule: Schedule, fate: Fate, week: Scratch | None = None) -> Weeks:
    """Every run of a fate; `week` keeps what happened in the last of them."""
    course, names = cast.course, cast.names
    ready = np.empty((len(fate.fails), len(names.lines)), dtype=np.int64)
    horizon = horizon_of(schedule)
    run_weeks(course, week or _scratch(course), fate, cast.stops, int(REACTION_MIN.value), horizon, _longest(course),
              ready)  # fmt: skip
    return Weeks(schedule.start, horizon, names.lines, names.builds, ready, fate.fails[:, :, 0])


def simulated_promises(promises: Sequence[LinePromise], weeks: Weeks, fails: Mapping[str, Weeks],
                       builds_of: Mapping[int, Sequence[str]]) -> tuple[LinePromise, ...]:  # fmt: skip
    """The promises with P50, P90, the chance to be on time, and when the line is ready if a build of its own fails.

    `fails` holds the weeks in which one build fails, by its key; `if_fails` is their 90 % point for the worst of a
    line's builds.
    """
    made = []
    for promise in promises:
        if promise.ready is None or promise.line not in weeks.lines:
            made.append(promise)
            continue
        worst = [fails[key].quantile(promise.line, 0.9) for key in builds_of[promise.line] if key in fails]
        made.append(
            replace(
                promise,
                p50=weeks.quantile(promise.line, 0.5),
                p90=weeks.quantile(promise.line, 0.9),
                on_time_probability=weeks.on_time(promise.line, promise.due_by),
                if_fails=max(worst, default=None),
            )
        )
    return tuple(made)


def _forced(dice: Dice, b: int) -> Dice:
    """Dice by which build `b` stops at its first try, at evenly spread heights, and nothing else does."""
    never, stops = np.ones_like(dice.fails), dice.stops.copy()
    runs = len(never)
    stops[:, b, 0] = (np.arange(runs) + 0.5) / runs
    never[:, b, 0] = -1.0
    return replace(dice, fails=never, stops=stops)


def _longest(course: Course) -> IntArray:
    """Longest stretch of anybody who may start, and of anybody who may unpack."""
    return np.array([course.longest[may].max(initial=0) for may in (course.may_start, course.may_unpack)])


def _scratch(course: Course) -> Scratch:
    b, n, lines = len(course.machine), len(course.preds), course.node_lines.shape[1]
    slots = b * ATTEMPTS

    def row(*shape: int) -> IntArray:
        return np.zeros(shape, dtype=np.int64)

    events = 2 * slots + n + 8
    return Scratch(
        busy=np.empty_like(course.busy), used=np.empty_like(course.used), machine_free=row(course.printing.shape[1]),
        chamber_free=row(course.chamber_ok.shape[1]), loaded=row(course.printing.shape[1]),
        since=row(course.printing.shape[1]), machine=row(slots), chamber=row(slots), station=row(slots),
        load=row(slots), printed=row(slots), cold=row(slots), end=row(slots), at=row(slots, 4), till=row(slots, 4),
        by=row(slots, 4), down=row(slots), change=row(slots), service=row(slots), tries=row(b), left=row(n),
        ready=row(n), node_at=row(n), node_till=row(n, 3), node_by=row(n), node_where=row(n), key=row(events),
        rank=row(events), what=row(events), parked=np.zeros(slots, dtype=np.bool_), last_end=row(lines),
    )  # fmt: skip


def _stops(doubts: Sequence[BuildDoubt], names: Names) -> Stops:
    """The stop points as arrays (builds, points); a build with fewer points repeats them."""
    most = max([1, *(len(d.stops) for d in doubts)])
    shape = (len(doubts), most)
    one = np.ones(shape)
    incomplete = np.ones((*shape, len(names.lines)), dtype=np.bool_)
    stops = Stops(one, one.copy(), one.copy(), one.copy(), incomplete)
    for b, doubt in enumerate(doubts):
        for q in range(most if doubt.stops else 0):
            point = doubt.stops[q * len(doubt.stops) // most]
            stops.printed[b, q], stops.height[b, q] = point.printed_share, point.height_share
            stops.again[b, q], stops.again_height[b, q] = point.remake_share, point.remake_height_share
            stops.incomplete[b, q] = [line in point.incomplete for line in names.lines]
    return stops
