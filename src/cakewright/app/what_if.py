"""What if: a rush order, another chamber, a night shift, a machine down. The effect as a table; nothing is kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

from cakewright.app.promise_dates import build_doubts, line_doubts
from cakewright.app.replan import Replanned, jobs_of, replan, weighted_late_min
from cakewright.errors import InputError
from cakewright.model.cell import Cell, Chamber, Person, Shift
from cakewright.model.plan import LinePromise, WeekPlan
from cakewright.schedule.difference import Difference, difference
from cakewright.schedule.doubts import BuildDoubt
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.simulate import simulate
from cakewright.stopping import Stop
from cakewright.store.schedule import Progress

RUSH = "RUSH"
RUSH_RUNS = 300
NIGHT = Shift((0, 1, 2, 3, 4), time(22), time(6))


@dataclass(frozen=True, slots=True)
class MachineDown:
    """A machine, chamber, station or person that is out of use from `start` to `end`."""

    name: str
    start: datetime
    end: datetime

    @property
    def words(self) -> str:
        """As a headline."""
        return f"{self.name} is out of use for {(self.end - self.start) / timedelta(hours=1):.0f} h"


@dataclass(frozen=True, slots=True)
class MoreChambers:
    """`count` more chambers of a type for a material; empty words: those of the first chamber."""

    count: int = 1
    type: str = ""
    material: str = ""

    @property
    def words(self) -> str:
        """As a headline."""
        return "one more chamber" if self.count == 1 else f"{self.count} more chambers"


@dataclass(frozen=True, slots=True)
class NightShift:
    """Somebody who may load, lift out, unpack and clean on weekday nights, 22:00 to 06:00."""

    people: int = 1
    shift: Shift = NIGHT

    @property
    def words(self) -> str:
        """As a headline."""
        return "a night shift" if self.people == 1 else f"a night shift of {self.people}"


@dataclass(frozen=True, slots=True)
class RushOrder:
    """An order that must go first: print hours, pieces and finish of one build that holds nothing else.

    Or a line of the plan made urgent when `line` names it; the rest is then not looked at.
    """

    print_hours: float = 8.0
    pieces: int = 10
    material: str = ""
    finish: str = ""
    due: datetime | None = None
    line: int | None = None

    @property
    def words(self) -> str:
        """As a headline."""
        return f"L{self.line:02d} goes first" if self.line else f"a rush order of {self.print_hours:g} print hours"


Change = MachineDown | MoreChambers | NightShift | RushOrder
URGENT = 50.0  # weight of what must go first, against 1 to about 4 of the classes


@dataclass(frozen=True, slots=True)
class Figures:
    """A week in numbers. `expected_late` is the mean number of late lines in simulated weeks."""

    late_lines: int
    weighted_late_h: float
    expected_late: float
    last_ready: datetime | None


@dataclass(frozen=True, eq=False)
class WhatIf:
    """The answer: both weeks in numbers, who loses and who gains how much, and the new week itself."""

    question: str
    before: Figures
    after: Figures
    rush_ready: datetime | None
    made: Replanned

    @property
    def losers(self) -> tuple[tuple[int, int], ...]:
        """(line, minutes later), the largest loss first."""
        moves = [(m.line, m.minutes) for m in self.made.difference.lines if m.minutes and m.minutes > 0 and m.line > 0]
        return tuple(sorted(moves, key=lambda m: (-m[1], m[0])))

    @property
    def winners(self) -> tuple[tuple[int, int], ...]:
        """(line, minutes earlier), the largest gain first."""
        moves = [(m.line, -m.minutes) for m in self.made.difference.lines if m.minutes and m.minutes < 0 and m.line > 0]
        return tuple(sorted(moves, key=lambda m: (-m[1], m[0])))


def what_if(
    plan: WeekPlan,
    change: Change,
    *,
    now: datetime,
    progress: Sequence[Progress] = (),
    stop: Callable[[], Stop] | None = None,
    runs: int = RUSH_RUNS,
) -> WhatIf:
    """The rest of the week from `now` with one thing changed, against the plan as it is.

    Both weeks are simulated with the same dice. What has begun stays. InputError when the change names something
    that is not there.
    """
    check_change(plan, change)
    jobs, wishes, _ = jobs_of(plan)
    cell, out = plan.cell, {}
    if isinstance(change, MachineDown):
        out = {change.name: [(change.start, change.end)]}
    elif isinstance(change, MoreChambers):
        cell = _with_chambers(cell, change)
    elif isinstance(change, NightShift):
        cell = _with_night(cell, change)
    else:
        jobs, wishes = _with_rush(plan, jobs, wishes, change, now)
    changed = replace(plan, cell=cell)
    made = replan(changed, now, progress=progress, unavailable=out, stop=stop, work=(jobs, wishes), steady_min=0.0)
    same = replan(plan, now, progress=progress, stop=stop)
    before = figures(same.plan, same.plan.promises, *jobs_of(plan)[:2], runs=runs)
    rush = next((p.ready for p in made.plan.promises if p.line == _rush_line(change)), None)
    due = {p.line: p.due_by for p in plan.promises}
    ordered = tuple(replace(p, due_by=due[p.line]) for p in made.plan.promises if p.line in due)
    made = replace(made, difference=_told(plan, made, ordered))
    after = figures(made.plan, ordered, jobs, wishes, runs=runs, out=out)
    return WhatIf(change.words, before, after, rush, made)


def check_change(plan: WeekPlan, change: Change) -> None:
    """InputError when a change names something that is not there: said before anybody waits for the answer."""
    cell = plan.cell
    known = [x.name for group in (cell.machines, cell.chambers, cell.stations, cell.people) for x in group]
    if isinstance(change, MachineDown):
        if change.name not in known:
            raise InputError(f"the cell has no {change.name}", remedy=f"name one of: {', '.join(known)}", where="name")
        if not change.start < change.end:
            raise InputError(f"{change.name} is out of use for no time", remedy="give an end after the start")
    if (
        isinstance(change, RushOrder)
        and change.line is not None
        and not any(change.line in b.lines for b in plan.builds)
    ):
        raise InputError(f"line {change.line} is in no build of this plan", remedy="name a line that is planned")


def _told(plan: WeekPlan, made: Replanned, ordered: Sequence[LinePromise]) -> Difference:
    """What moves, lines against their own due days; an urgent order has none and is never called late."""
    new = [replace(p, due_by=p.ready) for p in made.plan.promises if p.line < 1 and p.ready]
    return difference(plan.schedule, made.plan.schedule, plan.promises, [*ordered, *new], plan.cell.zone)


def figures(
    plan: WeekPlan,
    promises: Sequence[LinePromise],
    jobs: Sequence[BuildJob],
    wishes: Sequence[LineJob],
    *,
    runs: int,
    out: Mapping[str, Sequence[tuple[datetime, datetime]]] | None = None,
) -> Figures:
    """A week in numbers; the simulation takes the urgent order like a build of average doubt."""
    origin = plan.schedule.start
    closed = {
        name: [(int((a - origin).total_seconds() // 60), int((b - origin).total_seconds() // 60)) for a, b in spans]
        for name, spans in (out or {}).items()
    }
    known = {b.key: b for b in build_doubts(plan.builds, plan.cell, plan.schedule)}
    doubts = [known.get(j.key) or BuildDoubt(j.key, 0.0, (j.cool_min, j.cool_min, j.cool_min)) for j in jobs]
    weeks = simulate(plan.cell, jobs, wishes, plan.schedule, doubts, line_doubts(plan.orders.lines), runs=runs,
                     seed=plan.seed, closed=closed)  # fmt: skip
    chances = [weeks.on_time(p.line, p.due_by) for p in promises if p.ready is not None and p.line in weeks.lines]
    return Figures(
        late_lines=sum(p.is_late for p in promises),
        weighted_late_h=weighted_late_min(plan, promises) / 60,
        expected_late=sum(1 - c for c in chances) + sum(p.ready is None for p in promises),
        last_ready=max((p.ready for p in promises if p.ready), default=None),
    )


def _with_chambers(cell: Cell, change: MoreChambers) -> Cell:
    first = cell.chambers[0]
    kind, material = change.type or first.type, change.material or first.material
    cell.chamber_type(kind)
    cell.material(material)
    if change.count < 1:
        raise InputError(f"{change.count} more chambers", remedy="give at least one")
    more = tuple(Chamber(f"new chamber {i + 1}", kind, material) for i in range(change.count))
    return replace(cell, chambers=(*cell.chambers, *more))


def _with_night(cell: Cell, change: NightShift) -> Cell:
    if change.people < 1:
        raise InputError(f"a night shift of {change.people}", remedy="give at least one person")
    more = tuple(Person(f"night {i + 1}", ("start", "unpack"), (change.shift,)) for i in range(change.people))
    return replace(cell, people=(*cell.people, *more))


def _rush_line(change: Change) -> int:
    return (change.line or -1) if isinstance(change, RushOrder) else 0


def _with_rush(
    plan: WeekPlan, jobs: list[BuildJob], wishes: list[LineJob], change: RushOrder, now: datetime
) -> tuple[list[BuildJob], list[LineJob]]:
    """The order as one build and one line of overwhelming weight; a line of the plan just gets the weight."""
    if change.line is not None:
        urgent = [replace(w, weight=URGENT, due_by=now) if w.line == change.line else w for w in wishes]
        return jobs, urgent
    if not change.print_hours > 0 or change.pieces < 1:
        raise InputError(
            f"{change.print_hours:g} print hours for {change.pieces} pieces", remedy="give both above zero"
        )
    material = change.material or plan.cell.materials[0].name
    alike = [j for j in jobs if j.material == material]
    machines = plan.cell.machines_for(material)
    if not machines or not alike:
        raise InputError(f"no build of this plan is of {material}", remedy="name a material that is planned this week")
    minutes = round(60 * change.print_hours)
    pattern = min(alike, key=lambda j: abs(min(j.print_min.values()) - minutes))
    share = minutes / min(pattern.print_min.values())
    rush = replace(
        pattern, key=RUSH, print_min=dict.fromkeys(pattern.print_min, minutes), pinned_machine=None,
        cool_min=max(pattern.minimum_cool_in_machine_min, round(pattern.cool_min * min(1.0, share))),
        unpack_min=round(plan.cell.rates.unpack_min_per_build
                         + change.pieces * plan.cell.rates.unpack_s_per_piece / 60), release=now,
    )  # fmt: skip
    finish = plan.cell.finish(change.finish) if change.finish else plan.cell.finishes[0]
    bench = max(1, round(change.pieces * plan.cell.rates.count_s_per_piece / 60))
    line = LineJob(-1, (RUSH,), finish, change.pieces, bench, max(1, round(plan.cell.rates.pack_min_per_line)),
                   change.due or now, URGENT)  # fmt: skip
    return [*jobs, rush], [*wishes, line]
