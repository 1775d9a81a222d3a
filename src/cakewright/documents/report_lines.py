"""The answer first: what is late, what is missing, what must not start; then the table of lines."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from cakewright.documents.render import css_colour, line_tints
from cakewright.documents.tables import line_state
from cakewright.documents.verdicts import stop_reasons
from cakewright.documents.words import count, day, due, duration, kg, moment, money
from cakewright.findings import Severity
from cakewright.model.order import OrderLine
from cakewright.model.plan import LinePromise, WeekPlan


@dataclass(frozen=True, slots=True)
class LineRow:
    """One order line as the table shows it; every value is text."""

    key: str
    name: str
    order: str
    quantity: str
    state: str
    mark: str
    late_by: str
    due: str
    ready: str
    p50: str
    p90: str
    chance: str
    builds: tuple[str, ...]
    price: str
    reason: str
    remedy: str
    colour: str
    if_fails: str = ""
    start: str = ""


@dataclass(frozen=True, slots=True)
class Summary:
    """The head of the report."""

    headline: str
    late: tuple[LineRow, ...]
    missing: tuple[LineRow, ...]
    partly: tuple[str, ...]
    stops: tuple[tuple[str, tuple[str, ...]], ...]
    figures: tuple[tuple[str, str], ...]
    doubts: int


_MARKS = {"on time": "●", "late": "▲", "set aside": "✕", "not planned": "✕"}


def line_rows(plan: WeekPlan) -> tuple[LineRow, ...]:
    """All lines: missing ones first, then late ones, then by due day."""
    rank = {"set aside": 0, "not planned": 0, "late": 1, "on time": 2}
    ordered = sorted(plan.orders.lines, key=lambda ln: (rank[line_state(plan, ln.line)], ln.due, ln.line))
    colours = {n: css_colour(c) for n, c in line_tints(plan).items()}
    return tuple(_row(plan, line, colours[line.line]) for line in ordered)


def _row(plan: WeekPlan, line: OrderLine, colour: str) -> LineRow:
    zone = plan.cell.zone
    state = line_state(plan, line.line)
    promise = next((p for p in plan.promises if p.line == line.line), None)
    cost = next((c for c in plan.costs if c.line == line.line), None)
    aside = next((s for s in plan.set_aside if s.line == line.line), None)
    chance = None if promise is None else promise.on_time_probability
    return LineRow(
        key=line.key,
        name=line.title,
        order=" · ".join(x for x in (line.order, line.customer) if x),
        quantity=str(line.quantity),
        state=state,
        mark=_MARKS[state],
        late_by=_late_by(promise),
        due=_due(plan, line, promise),
        ready=_when(promise.ready, zone) if promise else "",
        p50=_when(promise.p50, zone) if promise else "",
        p90=_when(promise.p90, zone) if promise else "",
        chance="" if chance is None else f"{100 * chance:.0f} %",
        builds=tuple(b.key for b in plan.builds_of(line.line)),
        price="" if cost is None else money(cost.total, plan.cell.rates.currency),
        reason=aside.reason if aside else (promise.reason if promise else "no date was computed"),
        remedy=aside.remedy if aside else "",
        colour=colour,
        if_fails=_when(promise.if_fails, zone) if promise else "",
        start=_start(line, promise),
    )


def _start(line: OrderLine, promise: LinePromise | None) -> str:
    """How many pieces to start when that is more than were ordered."""
    more = promise is not None and promise.start_pieces is not None and promise.start_pieces > line.quantity
    return f"start {promise.start_pieces}" if promise is not None and more else ""


def _when(instant: datetime | None, zone: ZoneInfo) -> str:
    return "" if instant is None else moment(instant, zone)


def _due(plan: WeekPlan, line: OrderLine, promise: LinePromise | None) -> str:
    zone = plan.cell.zone
    if promise is not None:
        return due(promise.due_by, zone)
    return day(datetime(line.due.year, line.due.month, line.due.day, tzinfo=zone), zone)


def _late_by(promise: LinePromise | None) -> str:
    if promise is None or not promise.is_late:
        return ""
    if promise.ready is None:
        return "no date"
    seconds = (promise.ready - promise.due_by).total_seconds()
    days, rest = divmod(seconds, 86_400)
    return f"by {int(days)} d {round(rest / 3600)} h" if days else f"by {duration(seconds)}"


def summary(plan: WeekPlan, rows: tuple[LineRow, ...]) -> Summary:
    """What somebody must know who reads only ten lines."""
    late = tuple(r for r in rows if r.state == "late")
    missing = tuple(r for r in rows if r.state in ("set aside", "not planned"))
    stops = tuple((b.key, tuple(s.split("– ", 1)[-1] for s in stop_reasons(b))) for b in plan.builds if stop_reasons(b))
    doubts = sum(f.severity is not Severity.NOTE for f in plan.findings)
    return Summary(_headline(rows, late, missing), late, missing, _partly(plan), stops, _figures(plan), doubts)


def _headline(rows: tuple[LineRow, ...], late: tuple[LineRow, ...], missing: tuple[LineRow, ...]) -> str:
    good = len(rows) - len(late) - len(missing)
    if good == len(rows):
        return f"All {count(len(rows), 'line')} are on time." if len(rows) != 1 else "The line is on time."
    said = [f"{good} of {count(len(rows), 'line')} on time"]
    if late:
        said.append(f"{len(late)} late")
    if missing:
        said.append(f"{len(missing)} not in the plan")
    return ", ".join(said) + "."


def _partly(plan: WeekPlan) -> tuple[str, ...]:
    """Lines of which some pieces found no place."""
    said = []
    for line in plan.orders.lines:
        placed = sum(len(b.pieces_of(line.line)) for b in plan.builds)
        if 0 < placed < line.quantity:
            why = next((x.reason for b in plan.builds for x in b.nest.left_out if x.line == line.line), "")
            said.append(f"{line.key} {line.title}: {placed} of {line.quantity} placed" + (f" ({why})" if why else ""))
    return tuple(said)


def _figures(plan: WeekPlan) -> tuple[tuple[str, str], ...]:
    pieces = sum(b.pieces for b in plan.builds)
    hours = sum(b.print_time.hours for b in plan.builds)
    charge = sum(b.powder.charge_kg for b in plan.builds)
    virgin = sum(b.powder.virgin_kg for b in plan.builds)
    surplus = sum(b.powder.surplus_kg for b in plan.builds)
    cost = sum(c.total for c in plan.costs)
    return (
        (str(len(plan.builds)), "build" if len(plan.builds) == 1 else "builds"),
        (f"{pieces} of {plan.orders.pieces}", "pieces placed"),
        (f"{hours:.0f} h", "machine time"),
        (kg(charge), f"charge, {kg(virgin)} of it virgin"),
        (f"{surplus:+.2f} kg", "used powder after the week"),
        (money(cost, plan.cell.rates.currency), "cost of the lines"),
    )
