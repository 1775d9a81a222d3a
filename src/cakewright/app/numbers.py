"""The week in numbers: cost by line and build, planned against actual, variances, lost hours, dates kept, waste."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from cakewright.app.actuals import (
    BuildRecord,
    Compared,
    LineRecord,
    Records,
    build_records,
    line_records,
    planned_needs,
    records_of,
)
from cakewright.app.kept_promises import KeptPromises, kept_promises
from cakewright.app.machine_hours import MachineHours, machine_hours
from cakewright.app.plan_costs import plan_costs
from cakewright.app.powder_books import look
from cakewright.app.powder_month import month_books
from cakewright.app.remake import scrap_kg
from cakewright.cost.actuals import FamilyResult, LineActual, by_family, promise_hit_rate
from cakewright.cost.variance import Use, Variance, split_variance
from cakewright.model.build import Build
from cakewright.model.cell import Cell
from cakewright.model.plan import LineCost, TaskKind, WeekPlan
from cakewright.physics.energy import energy_use
from cakewright.store import KeptOffer, Store

MACHINE, VIRGIN, HANDS = "machine hours", "virgin powder", "hands"
RESOURCES = (MACHINE, VIRGIN, HANDS)
Prices = Mapping[tuple[int, str], float]


@dataclass(frozen=True, slots=True)
class ResourceVariance:
    """Actual minus planned cost of one resource, over the lines for which it was recorded (None: for none).

    `left_out` are lines without a record, or with no good piece. `planned` and `actual` are their costs.
    """

    resource: str
    lines: tuple[int, ...]
    left_out: tuple[int, ...]
    planned: float
    actual: float
    split: Variance | None


@dataclass(frozen=True, slots=True)
class OnTime:
    """Lines of the plan that came due or are packed: kept of known, and those that nobody noted as packed yet."""

    kept: int
    known: int
    open: int

    @property
    def share(self) -> float | None:
        """Kept over known; None while nothing is known."""
        return self.kept / self.known if self.known else None


@dataclass(frozen=True, slots=True)
class BuildNumbers:
    """A build in money, hours and energy. `kwh` is computed; `actual_kwh` by the recorded hours. No meter is read."""

    record: BuildRecord
    cost: float
    pieces: int
    parts_kg: float
    kwh: float
    actual_kwh: float | None
    gas_m3: float
    is_measured: bool


@dataclass(frozen=True, slots=True)
class Waste:
    """Of one material, from the powder books in the time of the plan: kg shipped in parts, kg thrown away."""

    material: str
    shipped_kg: float
    waste_kg: float

    @property
    def per_kg(self) -> float | None:
        """kg of waste for each kg in parts; None when no parts are booked."""
        return self.waste_kg / self.shipped_kg if self.shipped_kg > 0 else None


@dataclass(frozen=True, slots=True)
class Priced:
    """What a line costs after the fact, as far as it was recorded, and its price when an offer or order names one."""

    line: int
    planned: float
    actual: float
    is_recorded: bool
    is_whole: bool
    price: float | None


@dataclass(frozen=True, eq=False)
class WeekNumbers:
    """Everything about a plan after the fact. `families` are those of lines with a price and a record."""

    plan: WeekPlan
    lines: tuple[LineRecord, ...]
    builds: tuple[BuildNumbers, ...]
    priced: tuple[Priced, ...]
    families: tuple[FamilyResult, ...]
    variances: tuple[ResourceVariance, ...]
    hours: MachineHours
    on_time: OnTime
    promises: KeptPromises
    bins: tuple[tuple[float, float, int], ...]
    waste: tuple[Waste, ...]


def week_numbers(store: Store, plan: WeekPlan, now: datetime, rates: Cell | None = None) -> WeekNumbers:
    """Close a plan against what was written down by `now`.

    `rates` is the cell whose prices hold today (default: the plan's own): where they differ there is a price variance.
    """
    records = records_of(store, plan)
    lines = line_records(plan, records)
    then, today = prices_of(plan, plan.cell), prices_of(plan, rates or plan.cell)
    priced = _priced(store, plan, lines, then, today)
    kept = store.schedule.kept_promises()
    return WeekNumbers(
        plan=plan,
        lines=lines,
        builds=_build_numbers(plan, build_records(plan, records)),
        priced=priced,
        families=by_family(_with_price(plan, lines, priced)),
        variances=tuple(_variance(lines, what, then, today) for what in RESOURCES),
        hours=machine_hours(plan, records, now),
        on_time=_on_time(plan, records, now),
        promises=kept_promises(kept, now),
        bins=promise_hit_rate(
            [(k.on_time_probability, k.ready is not None and k.ready <= k.due_by) for k in kept
             if k.on_time_probability is not None and (k.ready is not None or k.due_by < now)]
        ),
        waste=_waste(store, plan, now),
    )  # fmt: skip


# --- variances ------------------------------------------------------------------------------------------------------


def prices_of(plan: WeekPlan, cell: Cell) -> dict[tuple[int, str], float]:
    """Price of one hour, kg or minute for each line and resource, by the rates of `cell`.

    A line printed on machines of several rates pays their mean by its planned hours. What `cell` does not name any
    more keeps the rate of the plan.
    """
    rate = {m.name: m.rate_per_h for m in (*plan.cell.machines, *cell.machines)}
    virgin = {m.name: m.virgin_price_per_kg for m in (*plan.cell.materials, *cell.materials)}
    hours: dict[int, list[tuple[float, float]]] = {}
    for (build, line), need in planned_needs(plan).items():
        hours.setdefault(line, []).append((need.machine, rate[plan.build(build).machine]))
    found: dict[tuple[int, str], float] = {}
    for line, spent in hours.items():
        total = math.fsum(h for h, _ in spent)
        found[line, MACHINE] = math.fsum(h * r for h, r in spent) / total if total > 0 else spent[0][1]
        found[line, VIRGIN] = virgin[plan.line(line).material]
        found[line, HANDS] = cell.rates.hands_per_h / 60
    return found


def _variance(lines: Sequence[LineRecord], what: str, then: Prices, today: Prices) -> ResourceVariance:
    before, after, left = [], [], []
    for r in lines:
        figure = _figure(r, what)
        lost = int(r.scrap.actual or 0)
        if figure.actual is None or r.pieces - lost < 1 or figure.counterpart < 0 or figure.actual < 0:
            left.append(r.line)
            continue
        before.append(Use(r.line, r.pieces, r.pieces, figure.counterpart, then[r.line, what]))
        after.append(Use(r.line, r.pieces - lost, r.pieces, figure.actual, today[r.line, what]))
    return ResourceVariance(
        what, tuple(u.line for u in before), tuple(left), float(sum(u.cost for u in before)),
        float(sum(u.cost for u in after)), split_variance(before, after) if before else None,
    )  # fmt: skip


def _figure(record: LineRecord, what: str) -> Compared:
    return {MACHINE: record.machine_h, VIRGIN: record.virgin_kg, HANDS: record.hands_min}[what]


# --- money ----------------------------------------------------------------------------------------------------------


def _priced(
    store: Store, plan: WeekPlan, lines: Sequence[LineRecord], then: Prices, today: Prices
) -> tuple[Priced, ...]:
    """Planned cost, changed by what was recorded at today's rates; the price of the quote that became the order."""
    offers = store.offers()
    prices = {line.line: _price(line.order, line.part, offers) for line in plan.orders.lines}
    planned = {c.line: c.total for c in plan.costs}
    found = []
    for r in lines:
        if r.line not in planned:
            continue
        figures = [(_figure(r, what), what) for what in RESOURCES]
        more = math.fsum(
            f.actual * today[r.line, what] - f.counterpart * then[r.line, what]
            for f, what in figures if f.actual is not None
        )  # fmt: skip
        found.append(
            Priced(r.line, planned[r.line], planned[r.line] + more, any(f.actual is not None for f, _ in figures),
                   all(f.is_whole for f, _ in figures), prices[r.line])
        )  # fmt: skip
    return tuple(found)


def _price(order: str, part: str, offers: Sequence[KeptOffer]) -> float | None:
    return next((float(k.offer.likely) for k in offers if order == k.key and part == k.offer.part), None)


def _with_price(plan: WeekPlan, lines: Sequence[LineRecord], priced: Sequence[Priced]) -> list[LineActual]:
    money = {p.line: p for p in priced}
    found = []
    for r in lines:
        p = money.get(r.line)
        if p is None or p.price is None or not p.is_recorded:
            continue
        h, kg, hands = r.machine_h, r.virgin_kg, r.hands_min
        found.append(
            LineActual(r.line, plan.parts[r.family].name, r.pieces, h.counterpart, h.actual or 0.0, kg.counterpart,
                       kg.actual or 0.0, hands.counterpart, hands.actual or 0.0, int(r.scrap.actual or 0), p.actual,
                       p.price)
        )  # fmt: skip
    return found


def _build_numbers(plan: WeekPlan, records: Sequence[BuildRecord]) -> tuple[BuildNumbers, ...]:
    return tuple(_one_build(plan, plan.build(r.build), r) for r in records)


def _one_build(plan: WeekPlan, build: Build, record: BuildRecord) -> BuildNumbers:
    machine = plan.cell.machine(build.machine)
    use = energy_use(build.print_time, machine, build.powder.in_parts_kg)
    hours = build.print_time.hours - build.print_time.warm_up_s / 3600
    actual = None
    if record.actual_h is not None and hours > 0:
        printed = max(0.0, record.actual_h - build.print_time.warm_up_s / 3600)
        actual = use.warm_up_kwh + use.printing_kwh * printed / hours
    here = [line for line in plan.orders.lines if line.line in build.lines and build.pieces_of(line.line)]
    costs: Sequence[LineCost] = plan_costs([build], here, plan.parts, plan.part_of_line, plan.cell) if here else ()
    cost = math.fsum(c.total for c in costs)
    return BuildNumbers(record, cost, build.pieces, build.powder.in_parts_kg, use.kwh, actual, use.gas_m3,
                        use.is_measured)  # fmt: skip


# --- dates and powder -----------------------------------------------------------------------------------------------


def _on_time(
    plan: WeekPlan,
    records: Records,
    now: datetime,
) -> OnTime:
    packed = {line: ended for (kind, _, line), (_, ended) in records.said.items() if kind is TaskKind.PACK}
    known = [(p, packed.get(p.line)) for p in plan.promises if packed.get(p.line) is not None or p.due_by < now]
    kept = sum(ready is not None and ready <= p.due_by for p, ready in known)
    return OnTime(kept, len(known), sum(packed.get(p.line) is None for p in plan.promises))


def _waste(store: Store, plan: WeekPlan, now: datetime) -> tuple[Waste, ...]:
    view = look(store)
    if view.is_empty or not plan.start < now:
        return ()
    accounts = [
        (m, month_books(view, m, plan.start, now, scrap_kg=scrap_kg(store, m, plan.start, now)).account)
        for m in sorted({b.material for b in plan.builds})
    ]
    return tuple(Waste(m, a.shipped_kg, a.waste_kg) for m, a in accounts)
