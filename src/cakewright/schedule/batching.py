"""Which lines go into which build: search over assignments against a quick picture of the week.

A build is as tall as its tallest piece or as its volume needs, whichever is more; height costs print time, cooling
time and the hour at which somebody must be there. So a chamber filled to the top is usually late: the search prices
a build against lateness and lets the number of builds follow.

The picture of the week knows machines, chambers, staffed hours and one queue at the bench; it knows no nest. After
nesting, call again with `too_much` for sets that did not fit, or with a corrected `packing_factor`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from cakewright.errors import DoesNotFitError, InputError
from cakewright.model.cell import Cell
from cakewright.schedule.batch_search import Week, draw, empty_picture, evaluate, search
from cakewright.schedule.calendars import instant_of, merge, person_spans, words
from cakewright.schedule.instance import START, BoolArray, FloatArray, IntArray, origin_of
from cakewright.sources.schedule import BATCH_CHUNK_STEPS, BATCH_SPLIT_FILL, EARLINESS_WEIGHT
from cakewright.stopping import Stop
from cakewright.units import MIN_PER_H, MM3_PER_L

_WEEK_H = 168.0


@dataclass(frozen=True, slots=True)
class BatchLine:
    """An order line before it is in a build.

    `envelope_l` is the volume of all its pieces, each grown by the clearance, and `solid_l` their sintered volume;
    `min_height_mm` is the least height in which a piece can stand. `bench_min` is hands after unpacking.
    """

    line: int
    pieces: int
    envelope_l: float
    solid_l: float
    min_height_mm: float
    release: datetime
    due_by: datetime
    weight: float
    quality_class: str = ""
    bench_min: float = 0.0


@dataclass(frozen=True, slots=True)
class BatchSpace:
    """What one machine offers: inner base, usable height, and print hours = fixed + per mm + per litre of solid.

    `cool_hours` maps a build height in mm to the hours from print end until the cake may be opened.
    """

    machine: str
    base_x_mm: float
    base_y_mm: float
    usable_height_mm: float
    fixed_h: float
    hours_per_mm: float
    hours_per_solid_l: float
    cool_hours: Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Batch:
    """Lines proposed for one build, in the order in which the builds should start.

    `pieces` gives for each line how many of its pieces; only a line too big for one chamber is in several batches.
    `machine` is where the picture of the week saw it end soonest.
    """

    lines: tuple[int, ...]
    estimated_height_mm: float
    reason: str
    line_reasons: tuple[tuple[int, str], ...]
    pieces: tuple[tuple[int, int], ...] = field(default=())
    machine: str = ""


def staffed_hours(
    cell: Cell, start: datetime, days: int = 35, skill: str = START
) -> tuple[tuple[datetime, datetime], ...]:
    """Spans in which at least one person with the skill is there, from `start` on."""
    origin = origin_of(start)
    minutes = days * 24 * MIN_PER_H
    spans = [
        span
        for person in cell.people
        if skill in person.skills
        for span in person_spans(person, cell.holidays, cell.zone, origin, minutes)
    ]
    return tuple((instant_of(origin, a), instant_of(origin, b)) for a, b in merge(spans))


def propose_batches(
    lines: Sequence[BatchLine],
    spaces: Sequence[BatchSpace],
    chambers: int,
    packing_factor: float | Mapping[int, float],
    build_price: float,
    *,
    start: datetime,
    stop: Stop,
    seed: int,
    hours: Sequence[tuple[datetime, datetime]] = (),
    too_much: Sequence[frozenset[int]] = (),
    zone_name: str = "UTC",
) -> tuple[Batch, ...]:
    """Batches of lines of one material, in starting order.

    Parameters
    ----------
    packing_factor
        Litres of chamber for each litre of envelope: one number, or one for each line (learned from nests).
        Above 1 as a rule; below 1 when pieces nest into each other.
    build_price
        What one more build costs, in weighted hours of lateness: powder, machine, hands.
    hours
        Staffed spans (see `staffed_hours`), repeated weekly past their end; empty means always staffed.
    too_much
        Sets of lines that a nest has shown not to fit together.

    Raises DoesNotFitError when a single piece fits no chamber, InputError when there is nothing to choose from.
    """
    if not spaces or chambers < 1:
        raise InputError("there is no machine or no chamber to fill", remedy="give at least one space and one chamber")
    if not lines:
        return ()
    portions = _portions(lines, spaces, packing_factor, too_much)
    week = _week(portions, spaces, chambers, build_price, start, hours, too_much)
    rng = np.random.default_rng(seed)
    best = _first(portions, week)
    steps, chunk = 0, int(BATCH_CHUNK_STEPS.value)
    best_cost = evaluate(week, best)
    current = best.copy()
    while not stop(steps, best_cost):
        best_cost = search(week, current, best, best_cost, rng.random((chunk, 6)))
        steps += chunk
    return _describe(portions, spaces, week, best, start, zone_name)


@dataclass(frozen=True, slots=True)
class _Portion:
    line: BatchLine
    pieces: int
    need_mm3: float  # chamber volume it takes

    @property
    def share(self) -> float:
        return self.pieces / self.line.pieces


def _portions(
    lines: Sequence[BatchLine],
    spaces: Sequence[BatchSpace],
    packing_factor: float | Mapping[int, float],
    too_much: Sequence[frozenset[int]],
) -> list[_Portion]:
    """Whole lines; a line too big for a chamber in equal portions."""
    portions = []
    for line in lines:
        factor = packing_factor if isinstance(packing_factor, int | float) else packing_factor[line.line]
        fitting = [s for s in spaces if s.usable_height_mm >= line.min_height_mm]
        if not fitting:
            raise DoesNotFitError(
                f"needs {line.min_height_mm:.0f} mm of height, the chambers offer "
                f"{max(s.usable_height_mm for s in spaces):.0f} mm",
                remedy="allow another orientation, or split the part",
                where=f"line {line.line}",
            )
        room = max(s.base_x_mm * s.base_y_mm * s.usable_height_mm for s in fitting)
        need = line.envelope_l * MM3_PER_L * factor
        n = 1 if need <= room else int(np.ceil(need / (room * BATCH_SPLIT_FILL.value)))
        if frozenset({line.line}) in too_much:
            n = max(2, n)
        n = min(n, line.pieces)
        counts = [line.pieces * (i + 1) // n - line.pieces * i // n for i in range(n)]
        # one piece that fits by itself fits, whatever the factor says
        portions += [_Portion(line, count, min(room, need * count / line.pieces)) for count in counts]
    return portions


def _week(
    portions: Sequence[_Portion],
    spaces: Sequence[BatchSpace],
    chambers: int,
    build_price: float,
    start: datetime,
    hours: Sequence[tuple[datetime, datetime]],
    too_much: Sequence[frozenset[int]],
) -> Week:
    def after(instant: datetime) -> float:
        return (instant - start) / timedelta(hours=1)

    tallest = int(max(s.usable_height_mm for s in spaces)) + 2
    cool = np.array([[s.cool_hours(float(h)) for h in range(tallest)] for s in spaces])
    base = np.array([s.base_x_mm * s.base_y_mm for s in spaces])
    usable = np.array([s.usable_height_mm for s in spaces])
    fixed = np.array([s.fixed_h for s in spaces])
    per_mm = np.array([s.hours_per_mm for s in spaces])
    per_l = np.array([s.hours_per_solid_l for s in spaces])
    longest = float((fixed + per_mm * usable + cool.max(axis=1)).max())
    until = (longest + 24.0) * (len(portions) + 1) + max(0.0, *(after(p.line.release) for p in portions))
    spans = _repeat([(after(a), after(b)) for a, b in hours], until)
    return Week(
        need=_floats(p.need_mm3 for p in portions),
        solid=_floats(p.line.solid_l * p.share for p in portions),
        height=_floats(p.line.min_height_mm for p in portions),
        release=_floats(max(0.0, after(p.line.release)) for p in portions),
        due=_floats(after(p.line.due_by) for p in portions),
        weight=_floats(p.line.weight * p.share for p in portions),
        bench=_floats(p.line.bench_min * p.share / MIN_PER_H for p in portions),
        by_due=np.argsort([after(p.line.due_by) for p in portions], kind="stable").astype(np.int64),
        base=base,
        usable=usable,
        fixed=fixed,
        per_mm=per_mm,
        per_l=per_l,
        cool=cool,
        chambers=chambers,
        build_price=float(build_price),
        earliness=float(EARLINESS_WEIGHT.value),
        span_start=_floats(a for a, _ in spans),
        span_end=_floats(b for _, b in spans),
        too_much=_no_goods(portions, too_much),
    )


def _no_goods(portions: Sequence[_Portion], too_much: Sequence[frozenset[int]]) -> BoolArray:
    """(sets, portions) membership; a single line that was too much is split instead."""
    sets = [s for s in too_much if len(s) > 1]
    table = np.zeros((len(sets), len(portions)), dtype=np.bool_)
    for i, members in enumerate(sets):
        table[i] = [p.line.line in members for p in portions]
    return table[table.any(axis=1)] if sets else table


def _repeat(spans: Sequence[tuple[float, float]], until: float) -> list[tuple[float, float]]:
    """Spans from now on; the last week of them is repeated until the end of the picture."""
    if not spans:
        return [(0.0, max(until, 1.0) * 10)]
    ends = max(b for _, b in spans)
    pattern = [(a, b) for a, b in spans if b > ends - _WEEK_H] if ends > _WEEK_H else list(spans)
    weeks = int(max(0.0, until - ends) // _WEEK_H) + 2
    period = _WEEK_H if ends > _WEEK_H else _WEEK_H * np.ceil(ends / _WEEK_H)
    more = [(a + period * (i + 1), b + period * (i + 1)) for i in range(weeks) for a, b in pattern]
    return sorted({*((a, b) for a, b in spans), *((max(a, ends), b) for a, b in more if b > ends)})


def _first(portions: Sequence[_Portion], week: Week) -> IntArray:
    """Earliest due date first, a new build whenever the next portion does not fit."""
    slots = np.zeros(len(portions), dtype=np.int64)
    room = float((week.base * week.usable).max())
    slot, filled = 0, 0.0
    trial = slots.copy()
    for k, i in enumerate(week.by_due):
        trial[i] = slot
        members = [j for j in week.by_due[: k + 1] if trial[j] == slot]
        blocked = any(all(j in members for j in np.flatnonzero(row)) for row in week.too_much)
        if members[:-1] and (filled + week.need[i] > room or blocked):
            slot += 1
            filled = 0.0
        trial[i] = slot
        filled += week.need[i]
    slots[:] = trial
    if not np.isfinite(evaluate(week, slots)):
        slots[week.by_due] = np.arange(len(portions))
    return slots


def _floats(values: object) -> FloatArray:
    return np.array(list(values), dtype=np.float64)  # type: ignore[call-overload]


def _describe(
    portions: Sequence[_Portion],
    spaces: Sequence[BatchSpace],
    week: Week,
    slots: IntArray,
    start: datetime,
    zone_name: str,
) -> tuple[Batch, ...]:
    picture = empty_picture(len(slots))
    draw(week, slots, picture)
    zone = ZoneInfo(zone_name)

    def said(hour: float) -> str:
        return words(start, round(hour * MIN_PER_H), zone)

    batches = []
    for slot in np.unique(slots):
        members = [i for i in week.by_due if slots[i] == slot]
        height = float(picture.tall[slot])
        base = float(week.base[picture.machine[slot]])
        need = float(sum(week.need[i] for i in members))
        tallest = max(members, key=lambda i: week.height[i])
        by_piece = week.height[tallest] >= need / base
        first = portions[members[0]].line
        sets = f"line {portions[tallest].line.line} is the tallest" if by_piece else "the volume sets the height"
        reason = (
            f"{len(members)} lines, about {height:.0f} mm ({sets}): print from {said(picture.load[slot])} to "
            f"{said(picture.printed[slot])}, out of the cake {said(picture.cold[slot])}; "
            f"line {first.line} is due first, {said(week.due[members[0]])}"
        )
        line_reasons: dict[int, str] = {}
        for i in members:
            rest = max((week.height[j] for j in members if j != i), default=0.0)
            saved = height - max(rest, (need - week.need[i]) / base)
            ready, due = picture.ready[i], week.due[i]
            space = "adds no height" if saved < 0.5 else f"adds {saved:.0f} mm"
            date = f"ready about {said(ready)}, due {said(due)}" + (", late" if ready > due else "")
            line_reasons[portions[i].line.line] = f"{space}; {date}"
        counts: dict[int, int] = {}
        for i in members:
            counts[portions[i].line.line] = counts.get(portions[i].line.line, 0) + portions[i].pieces
        batches.append(
            Batch(
                tuple(sorted(counts)),
                height,
                reason,
                tuple(sorted(line_reasons.items())),
                tuple(sorted(counts.items())),
                spaces[picture.machine[slot]].machine,
            )
        )
    return tuple(batches)
