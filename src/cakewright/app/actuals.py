"""Planned against actual of each line, from what was written down. What nobody wrote down is not recorded."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from cakewright.app.contain import REMAKE, mistakes
from cakewright.app.finish_baskets import basket_runs
from cakewright.app.nested_inside import credited
from cakewright.app.plan_costs import cost_one_build, line_share
from cakewright.app.powder_books import look
from cakewright.model.build import Build
from cakewright.model.cell import Cell
from cakewright.model.plan import LineCost, Task, TaskKind, WeekPlan
from cakewright.powder.ledger import ContainerKind, Ledger
from cakewright.store import PieceState, Store, last_words
from cakewright.store.schedule import Progress

HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
OF_BUILD = (TaskKind.LOAD, TaskKind.UNLOAD, TaskKind.UNPACK, TaskKind.CLEAN)
OF_LINE = (TaskKind.INSPECT, TaskKind.PACK)
GONE = (PieceState.MISSING, PieceState.BROKEN)


@dataclass(frozen=True, slots=True)
class Compared:
    """One figure of one line. `planned` is the whole of it, `counterpart` the plan of what was recorded.

    `actual` is what was recorded (None: nothing was), from `recorded` of `of` builds, tasks or pieces.
    """

    planned: float
    counterpart: float
    actual: float | None
    recorded: int
    of: int

    @property
    def change(self) -> float | None:
        """Actual minus planned, over the same builds, tasks or pieces."""
        return None if self.actual is None else self.actual - self.counterpart

    @property
    def is_whole(self) -> bool:
        """True when everything of it was recorded."""
        return self.recorded == self.of > 0


@dataclass(frozen=True, slots=True)
class LineRecord:
    """A line's machine hours, kg of virgin powder, person minutes and scrap pieces, planned and actual.

    `pieces` were started. Person minutes are those of loading, lifting out, unpacking, cleaning, inspecting and
    packing, and of finishing steps done by hand whose basket was noted. Of a build, a line bears its planned share of
    what was recorded.
    """

    line: int
    family: str
    pieces: int
    machine_h: Compared
    virgin_kg: Compared
    hands_min: Compared
    scrap: Compared


@dataclass(frozen=True, slots=True)
class BuildRecord:
    """A build: print hours and virgin kg planned and recorded (None: not recorded), and whether it stopped."""

    build: str
    planned_h: float
    actual_h: float | None
    planned_kg: float
    actual_kg: float | None
    is_stopped: bool


@dataclass(frozen=True, slots=True)
class Records:
    """Everything written down about one plan: tasks, stops (build to instant), virgin kg, pieces lost, pieces seen.

    `baskets`: when a line was in a finishing station, by station and line.
    """

    said: Mapping[tuple[TaskKind, str, int | None], tuple[datetime | None, datetime | None]]
    stops: Mapping[str, datetime]
    virgin_kg: Mapping[str, float]
    gone: frozenset[str]
    seen: frozenset[str]
    baskets: Mapping[tuple[str, int], tuple[datetime, datetime]] = field(default_factory=dict)

    def span(self, kind: TaskKind, build: str, line: int | None = None) -> tuple[datetime, datetime] | None:
        """When a task really began and ended; None unless both are known. A stop ends a print."""
        began, ended = self.said.get((kind, build, line), (None, None))
        if kind is TaskKind.PRINT and build in self.stops:
            ended = self.stops[build]
        return (began, ended) if began and ended and began <= ended else None


def records_of(store: Store, plan: WeekPlan) -> Records:
    """Read what was noted about a plan: tasks, stops, powder charges, pieces, decisions about nonconformances."""
    words = {}
    for build in plan.builds:
        words.update(last_words(store.piece_records(plan.version, build.key)))
    judged = [m.record.piece for m in mistakes(store, plan)
              if m.decision is not None and m.decision.data["decision"] == REMAKE]  # fmt: skip
    stops = {s.build: s.stopped for s in store.schedule.stops() if s.plan == plan.version}
    return Records(
        said=_said(store.schedule.progress_of(plan.version)),
        stops=stops,
        virgin_kg=_virgin_of_builds(store, plan),
        gone=frozenset(p for p, w in words.items() if w.state in GONE) | frozenset(judged),
        seen=frozenset(words) | frozenset(judged),
        baskets={(str(run.begun.data["station"]), n): (run.begun.at, run.ended.at)
                 for run in basket_runs(store, plan) if run.ended for n in run.lines},
    )  # fmt: skip


def line_records(plan: WeekPlan, records: Records) -> tuple[LineRecord, ...]:
    """Planned and actual of every line that is in a build."""
    needs, room, tasks = planned_needs(plan), _room(plan), _tasks_of(plan)
    return tuple(
        _line_record(plan, line.line, records, needs, room, tasks)
        for line in plan.orders.lines
        if any((b.key, line.line) in needs for b in plan.builds_of(line.line))
    )


def build_records(plan: WeekPlan, records: Records) -> tuple[BuildRecord, ...]:
    """Planned and actual of every build."""
    return tuple(
        BuildRecord(
            b.key, b.print_time.hours, _hours(records, b), b.powder.virgin_kg, records.virgin_kg.get(b.key),
            b.key in records.stops,
        )
        for b in plan.builds
    )  # fmt: skip


def planned_needs(plan: WeekPlan) -> dict[tuple[str, int], LineCost]:
    """What each line takes of each build by the rule of the costs, in hours, kg and minutes instead of money.

    The same rule at a price of one: machine in hours, powder in kg of virgin powder, hands in minutes.
    """
    cell, seen, found = _unit_prices(plan.cell), set[int](), {}
    for build in plan.builds:
        here = [x for x in plan.orders.lines if x.line in build.lines and build.pieces_of(x.line)]
        shares = [
            line_share(x, len(build.pieces_of(x.line)), plan.parts[plan.part_of_line[x.line]], cell,
                       is_first=x.line not in seen)
            for x in here
        ]  # fmt: skip
        if shares:
            found.update({(build.key, c.line): c for c in cost_one_build(build, shares, cell, plan.parts)})
        seen |= {x.line for x in here}
    return found


def _unit_prices(cell: Cell) -> Cell:
    return replace(
        cell,
        machines=tuple(replace(m, rate_per_h=1.0) for m in cell.machines),
        materials=tuple(replace(m, virgin_price_per_kg=1.0) for m in cell.materials),
        rates=replace(cell.rates, hands_per_h=HOUR / MINUTE),
    )


def _line_record(
    plan: WeekPlan,
    line: int,
    records: Records,
    needs: Mapping[tuple[str, int], LineCost],
    room: Mapping[tuple[str, int], float],
    tasks: Mapping[str | int, list[Task]],
) -> LineRecord:
    builds = [b for b in plan.builds_of(line) if (b.key, line) in needs]
    hours = [needs[b.key, line].machine for b in builds]
    kg = [needs[b.key, line].powder_in_parts + needs[b.key, line].refresh_burden for b in builds]
    factor_h = [_factor(_hours(records, b), b.print_time.hours) for b in builds]
    factor_kg = [_factor(records.virgin_kg.get(b.key), b.powder.virgin_kg) for b in builds]
    pieces = [p.piece for b in builds for p in b.pieces_of(line)]
    known = [p for p in pieces if p in records.seen]
    extra = max(0, len(pieces) - plan.line(line).quantity)
    scrap = Compared(extra, 0, sum(p in records.gone for p in known) if known else None, len(known), len(pieces))
    return LineRecord(line, plan.part_of_line[line], len(pieces), _scaled(hours, factor_h), _scaled(kg, factor_kg),
                      _hands(plan, line, builds, records, room, tasks), scrap)  # fmt: skip


def _hours(records: Records, build: Build) -> float | None:
    span = records.span(TaskKind.PRINT, build.key)
    return None if span is None else (span[1] - span[0]) / HOUR


def _factor(actual: float | None, planned: float) -> float | None:
    return actual / planned if actual is not None and planned > 0 else None


def _scaled(planned: Sequence[float], factors: Sequence[float | None]) -> Compared:
    """A line bears its planned share of what its builds really took."""
    pairs = [(p, f) for p, f in zip(planned, factors, strict=True) if f is not None]
    actual = math.fsum(p * f for p, f in pairs) if pairs else None
    return Compared(math.fsum(planned), math.fsum(p for p, _ in pairs), actual, len(pairs), len(planned))


def _tasks_of(plan: WeekPlan) -> dict[str | int, list[Task]]:
    """The tasks on a build by its key, and those on lines by the number of each."""
    found: dict[str | int, list[Task]] = defaultdict(list)
    for t in plan.schedule.tasks:
        for key in (t.build,) if t.kind in OF_BUILD else t.lines:
            found[key].append(t)
    return found


def _hands(
    plan: WeekPlan, line: int, builds: Sequence[Build], records: Records, room: Mapping[tuple[str, int], float],
    tasks: Mapping[str | int, list[Task]],
) -> Compared:  # fmt: skip
    """Person minutes: those of the build by the room the line takes in it, those of the line as they are."""
    mine: list[tuple[float, Task, tuple[datetime, datetime] | None]] = []
    keys: tuple[str | int, ...] = (*(b.key for b in builds), line)
    for t in (t for key in keys for t in tasks.get(key, [])):
        if t.kind in OF_BUILD:
            mine.append((room[t.build, line], t, records.span(t.kind, t.build)))
        elif t.kind in OF_LINE:
            mine.append((1.0 / len(t.lines), t, records.span(t.kind, "", line) or records.span(t.kind, t.build)))
        elif (t.station, line) in records.baskets and _is_by_hand(plan, t, line):
            mine.append((1.0 / len(t.lines), t, records.baskets[t.station, line]))
    known = [(share * max(1, len(t.people)), t, span) for share, t, span in mine if span]
    return Compared(
        math.fsum(share * max(1, len(t.people)) * ((t.end - t.start) / MINUTE) for share, t, _ in mine),
        math.fsum(share * ((t.end - t.start) / MINUTE) for share, t, _ in known),
        math.fsum(share * ((span[1] - span[0]) / MINUTE) for share, _, span in known) if known else None,
        len(known),
        len(mine),
    )


def _is_by_hand(plan: WeekPlan, task: Task, line: int) -> bool:
    """True for a finishing step that somebody does from its beginning to its end, such as blasting."""
    kind = next((s.kind for s in plan.cell.stations if s.name == task.station), "")
    steps = [s for s in plan.cell.finish(plan.line(line).finish).steps if s.station_kind == kind]
    return task.kind is TaskKind.FINISH and bool(task.people) and any(s.staffed_min >= s.minutes for s in steps)


def _room(plan: WeekPlan) -> dict[tuple[str, int], float]:
    """Share of each line in the envelopes of its build."""
    found: dict[tuple[str, int], float] = {}
    lines = {line.line: line for line in plan.orders.lines}
    for build in plan.builds:
        shares = [
            line_share(lines[n], len(build.pieces_of(n)), plan.parts[plan.part_of_line[n]], plan.cell, is_first=False)
            for n in build.lines if build.pieces_of(n)
        ]  # fmt: skip
        net = credited(build, shares, plan.parts, plan.cell.nesting.clearance_mm)
        envelope = {s.line: s.envelope_mm3 for s in net}
        total = math.fsum(envelope.values())
        found.update({(build.key, n): mm3 / total for n, mm3 in envelope.items()})
    return found


def _said(notes: Sequence[Progress]) -> dict[tuple[TaskKind, str, int | None], tuple[datetime | None, datetime | None]]:
    """The last word about each task: a new beginning takes an older end back, 'not begun' takes back both."""
    found: dict[tuple[TaskKind, str, int | None], tuple[datetime | None, datetime | None]] = {}
    for n in notes:
        key = (n.kind, n.build, n.line)
        began = found.get(key, (None, None))[0]
        found[key] = (n.started or (began if n.ended else None), n.ended)
    return found


def _virgin_of_builds(store: Store, plan: WeekPlan) -> dict[str, float]:
    """Virgin kg in the charge of each build, from the ledger; builds that were never charged are left out."""
    books = look(store).books
    share = _virgin_shares(books.ledger)
    found = {}
    for build in plan.builds:
        charge = books.container_of(plan.version, build.key, ContainerKind.CHARGE)
        poured = [m for m in books.ledger.movements() if m.target == charge] if charge else []
        if poured:
            found[build.key] = math.fsum(m.grams * share(m.source) for m in poured) / 1000
    return found


def _virgin_shares(ledger: Ledger) -> Callable[[str], float]:
    """Share of virgin powder in what was ever put into a container: drums are all virgin, blends as mixed."""
    into: dict[str, list[tuple[str, int]]] = {}
    for m in ledger.movements():
        into.setdefault(m.target, []).append((m.source, m.grams))

    def share(key: str, on_the_way: frozenset[str] = frozenset()) -> float:
        kind = ledger.container(key).kind
        if kind in (ContainerKind.VIRGIN, ContainerKind.SUPPLIER):
            return 1.0
        if kind is not ContainerKind.BLEND or key in on_the_way:
            return 0.0
        sources = [(s, g) for s, g in into.get(key, ()) if s not in on_the_way]
        total = sum(grams for _, grams in sources)
        return math.fsum(g * share(s, on_the_way | {key}) for s, g in sources) / total if total else 0.0

    return share
