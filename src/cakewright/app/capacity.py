"""What would another machine, more chambers, a second shift or less virgin powder bring, and how full should builds be?

Every set-up of the cell is put to the planner of dates with the builds of the plan as they are: nests, hours, heat
and batching stay, so a set-up is shown at its least (a planner that may nest anew can only do better).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

from cakewright.app.capacity_prices import WeekPrices, usual_prices
from cakewright.app.plan_costs import plan_costs
from cakewright.app.progress import Progress, quiet
from cakewright.app.replan import jobs_of, weighted_late_min
from cakewright.cost.capacity import CapacityRow, Scenario, compare_capacity
from cakewright.cost.failure import failure_interval, failure_probability
from cakewright.cost.use import Salvage, UseLaw, hazard_of
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.cell import Cell, Chamber, Machine, Person, Shift
from cakewright.model.plan import LinePromise, Schedule, WeekPlan
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.stopping import MaxSteps, Stop

SECOND_SHIFT = Shift((0, 1, 2, 3, 4), time(14), time(22))
STEPS = 300
LOWER = 0.8  # share of the refresh ratio in the question about less virgin powder
CURVE_POINTS = 40
NOTICED = 0.01  # share by which throughput must grow to be called more


@dataclass(frozen=True, slots=True)
class SetUp:
    """A cell with one thing changed. `refresh_share` multiplies every refresh ratio.

    `added_per_week` is what the change itself costs; None when nobody gave its price.
    """

    name: str
    cell: Cell
    refresh_share: float = 1.0
    added_per_week: float | None = 0.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """A set-up in figures.

    `kg_per_week` is the mass of the parts over the time from the start to the last line packed; `cost` the cost of
    all lines in the cell's currency, without what was added, which costs `added_per_week`. `row` compares both
    together with the present, by the week; None when the price of what was added is not known. `ships_more`: at
    least a hundredth more than at present, so that the price of each extra kilogram means something.
    """

    name: str
    late_lines: int
    weighted_late_h: float
    last_ready: datetime
    weeks: float
    kg_per_week: float
    cost: float
    added_per_week: float | None = 0.0
    row: CapacityRow | None = None
    ships_more: bool = False


@dataclass(frozen=True, slots=True)
class UsePlot:
    """Cost of a full chamber's worth of good parts by how full builds are, for one failure probability."""

    name: str
    failure: float
    points: tuple[tuple[float, float], ...]
    best: float
    best_cost: float
    full_cost: float


def busiest_machine(plan: WeekPlan) -> Machine:
    """The machine with most builds of the plan: the one that would get a twin."""
    return max(plan.cell.machines, key=lambda m: sum(b.machine == m.name for b in plan.builds))


def prices_of(plan: WeekPlan) -> WeekPrices:
    """What a week of the usual additions costs by the cell's own rates; a chamber has none."""
    return usual_prices(plan.cell, busiest_machine(plan).name, SECOND_SHIFT)


def set_ups(plan: WeekPlan, prices: WeekPrices | None = None) -> tuple[SetUp, ...]:
    """The present and the usual questions: a machine, two chambers, a second shift, less virgin powder.

    `prices` default to the cell's own rates.
    """
    cell, price = plan.cell, prices or prices_of(plan)
    first = busiest_machine(plan)
    kind = next(c for c in cell.chambers if c.type == first.chamber_type)
    twin = replace(first, name="another machine", hours_since_service=0.0)
    skills = tuple(sorted({s for p in cell.people for s in p.skills}))
    second = Person("second shift", skills, (SECOND_SHIFT,))
    return (
        SetUp("as it is", cell),
        SetUp(f"another machine like {first.name}", replace(cell, machines=(*cell.machines, twin)),
              added_per_week=price.machine),
        SetUp("two more chambers", replace(cell, chambers=(*cell.chambers, *_more_chambers(kind, 2))),
              added_per_week=None if price.chamber is None else 2 * price.chamber),
        SetUp("a second shift, one person 14:00 to 22:00", replace(cell, people=(*cell.people, second)),
              added_per_week=price.shift),
        SetUp(f"refresh ratios lower by {1 - LOWER:.0%}".replace("%", " %"), cell, LOWER),
    )  # fmt: skip


def _more_chambers(like: Chamber, count: int) -> tuple[Chamber, ...]:
    return tuple(replace(like, name=f"new chamber {i + 1}") for i in range(count))


def ask_capacity(
    plan: WeekPlan, asked: Sequence[SetUp] | None = None, *, stop: Callable[[], Stop] | None = None,
    told: Progress = quiet,
) -> tuple[Outcome, ...]:  # fmt: skip
    """Each set-up through the same planner from the start of the plan, the present first.

    The old schedule is offered to every set-up too, as the weeks in which it is still possible can only gain: the
    better of the present answer and the new one is told when the set-up only adds something.
    """
    if not plan.builds:
        raise InputError("the plan has no build", remedy="choose a plan with builds", where="plan")
    setups = set_ups(plan) if asked is None else tuple(asked)
    base: tuple[Schedule, tuple[LinePromise, ...]] | None = None
    found = []
    for n, one in enumerate(setups):
        told("putting set-ups on the calendar", n, len(setups), one.name)
        answer = _dates(plan, one.cell, stop)
        if base is not None and weighted_late_min(plan, base[1]) < weighted_late_min(plan, answer[1]):
            answer = base
        base = base or answer
        found.append(_outcome(plan, one, answer[1]))
    return _compared(found)


def _compared(found: Sequence[Outcome]) -> tuple[Outcome, ...]:
    """Each outcome beside the first one, by the week and with its own price."""
    enough = (1 + NOTICED) * found[0].kg_per_week
    found = [replace(o, ships_more=o.kg_per_week >= enough) for o in found]
    priced = [(o, _scenario(o)) for o in found]
    present = priced[0][1]
    if present is None:
        return tuple(found)
    rows = {row.name: row for row in compare_capacity(present, [s for _, s in priced[1:] if s is not None])}
    return tuple(replace(o, row=rows.get(o.name)) for o in found)


def _scenario(o: Outcome) -> Scenario | None:
    if o.added_per_week is None:
        return None
    return Scenario(o.name, o.kg_per_week, o.late_lines, o.cost / o.weeks + o.added_per_week)


def _dates(plan: WeekPlan, cell: Cell, stop: Callable[[], Stop] | None) -> tuple[Schedule, tuple[LinePromise, ...]]:
    jobs, wishes, _ = jobs_of(replace(plan, cell=cell))
    rule = stop() if stop else MaxSteps(STEPS)
    return plan_schedule(cell, jobs, wishes, start=plan.schedule.start, stop=rule, seed=plan.seed)


def _outcome(plan: WeekPlan, one: SetUp, promises: Sequence[LinePromise]) -> Outcome:
    last = max(p.ready for p in promises if p.ready is not None)
    kg = math.fsum(b.powder.in_parts_kg for b in plan.builds)
    weeks = (last - plan.schedule.start) / timedelta(weeks=1)
    builds = [_refreshed(b, one.refresh_share) for b in plan.builds]
    cell = _asking_less(plan.cell, one.refresh_share)
    costs = plan_costs(builds, plan.orders.lines, plan.parts, plan.part_of_line, cell)
    return Outcome(
        one.name, sum(p.is_late for p in promises), weighted_late_min(plan, promises) / 60, last, weeks, kg / weeks,
        math.fsum(c.total for c in costs), one.added_per_week,
    )  # fmt: skip


def _refreshed(build: Build, share: float) -> Build:
    """The build with less virgin powder in the same charge; more of it is used powder, and stock is drawn down."""
    p = build.powder
    virgin = p.virgin_kg * share
    powder = replace(p, virgin_kg=virgin, used_kg=p.charge_kg - virgin, refresh_ratio=p.refresh_ratio * share,
                     surplus_kg=p.surplus_kg - (p.virgin_kg - virgin))  # fmt: skip
    return replace(build, powder=powder)


def _asking_less(cell: Cell, share: float) -> Cell:
    return replace(cell, classes=tuple(replace(c, refresh_ratio=c.refresh_ratio * share) for c in cell.classes))


def warn_of_ratio(plan: WeekPlan, share: float = LOWER) -> tuple[str, ...]:
    """Builds whose used powder would not last at the lower ratio: it takes more used powder than comes back."""
    return tuple(b.key for b in plan.builds if b.powder.refresh_ratio * share < b.powder.break_even_ratio)


def use_plots(plan: WeekPlan, salvage: Salvage = Salvage.NOTHING) -> tuple[UsePlot, ...]:
    """Cost against use of the chamber at the cell's own failure record, and at the ends of what it can mean (95 %).

    Fixed and full cost are the mean of the plan's builds scaled to a full chamber: hands and warm-up are spent
    whatever is in it, hours after the warm-up and powder grow with height. A failed build costs its spending; what
    a late line costs on top is not known and left out, so the true best use is at most what is shown.
    """
    record = plan.cell.failures
    low, high = failure_interval(record.failed, record.builds)
    likely = failure_probability(record.failed, record.builds)
    fixed, full = _fixed_and_full(plan)
    named = (("the record at its best", low), ("the record", likely), ("the record at its worst", min(high, 0.99)))
    return tuple(_use_plot(name, p, UseLaw(fixed, full, hazard_of(p), salvage=salvage)) for name, p in named)


def _use_plot(name: str, failure: float, law: UseLaw) -> UsePlot:
    uses = [(i + 1) / CURVE_POINTS for i in range(CURVE_POINTS)]
    best = law.best_use()
    points = tuple((u, law.unit_cost(u)) for u in uses)
    return UsePlot(name, failure, points, best, law.unit_cost(best), law.unit_cost(1.0))


def _fixed_and_full(plan: WeekPlan) -> tuple[float, float]:
    """Mean over the builds of what is spent whatever is in a build, and of the rest scaled to a full chamber."""
    if not plan.builds:
        raise InputError("the plan has no build", remedy="choose a plan with builds", where="plan")
    fixed, full = [], []
    for b in plan.builds:
        machine, chamber = plan.cell.machine(b.machine), plan.cell.chamber_type(b.chamber_type)
        clean = chamber.clean_min + plan.cell.rates.unpack_min_per_build
        hands = (machine.load_min + machine.unload_min + clean) / 60 * plan.cell.rates.hands_per_h
        set_up = b.print_time.warm_up_s + b.print_time.end_s
        fixed.append(hands + set_up / 3600 * machine.rate_per_h)
        growing = (b.print_time.total_s - set_up) / 3600 * machine.rate_per_h
        growing += b.powder.virgin_kg * plan.cell.material(b.material).virgin_price_per_kg
        full.append(growing * chamber.usable_height_mm / max(b.nest.height_mm, 1e-9))
    return math.fsum(fixed) / len(fixed), math.fsum(full) / len(full)
