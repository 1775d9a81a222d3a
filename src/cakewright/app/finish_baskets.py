"""Finishing baskets: what lies in one together, what must not, what fits, and when it began and ended."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import keep
from cakewright.app.plan_build import bulk_litres
from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.parts.marks import marks_for
from cakewright.parts.signature import LookAlike
from cakewright.safety import Caution, Work, cautions_for, cautions_of
from cakewright.schedule.baskets import portions
from cakewright.store import Store

MEDIA = "glass or silica (common practice)"
_BATHS = ("dye", "smooth", "bath", "vapour", "seal", "coat")
_PAIR = re.compile(r"lines (\d+) and (\d+)")


@dataclass(frozen=True, slots=True)
class Share:
    """So many pieces of a line in one basket; `litres` is None when the size of its part is not known."""

    line: int
    pieces: int
    litres: float | None
    is_delicate: bool


@dataclass(frozen=True, slots=True)
class Confusable:
    """Two lines that nobody tells apart by eye, callipers or scale; `how` is mirror, near or same."""

    first: int
    second: int
    how: str
    message: str


@dataclass(frozen=True, slots=True)
class BasketStep:
    """One step of a basket: where and when it is planned, which room the station has, what protects people.

    `company` are lines of other baskets that are in the same bath at the same time.
    """

    kind: str
    station: str
    start: datetime
    end: datetime
    capacity_l: float
    cautions: tuple[Caution, ...]
    company: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Run:
    """A basket that was begun: the record of its start, and of its end when there is one."""

    begun: FloorRecord
    ended: FloorRecord | None

    @property
    def lines(self) -> tuple[int, ...]:
        """Lines that really went in."""
        return tuple(int(n) for n in str(self.begun.data.get("lines", "")).split() if n.isdigit())


@dataclass(frozen=True, slots=True)
class PlannedBasket:
    """What the plan puts into one basket, what speaks against it, how to split it, what was begun."""

    name: str
    finish: str
    material: str
    builds: tuple[str, ...]
    shares: tuple[Share, ...]
    steps: tuple[BasketStep, ...]
    confusable: tuple[Confusable, ...]
    split: tuple[tuple[int, ...], ...]
    runs: tuple[Run, ...]

    @property
    def litres(self) -> float | None:
        """Bulk volume of everything in it; None when the size of one part is not known."""
        known = [s.litres for s in self.shares if s.litres is not None]
        return sum(known) if len(known) == len(self.shares) else None

    @property
    def too_full(self) -> tuple[str, ...]:
        """Stations that hold less than the basket takes."""
        litres = self.litres or 0.0
        return tuple(s.station for s in self.steps if 0 < s.capacity_l < litres - 1e-9)

    @property
    def is_mixed(self) -> bool:
        """True when fragile parts would lie among sturdy ones."""
        return 0 < len(self.delicate) < len(self.shares)

    @property
    def delicate(self) -> tuple[int, ...]:
        """Lines of fragile parts."""
        return tuple(s.line for s in self.shares if s.is_delicate)


def confusables(plan: WeekPlan) -> tuple[Confusable, ...]:
    """Pairs of lines that are hard to tell apart, as the plan found them."""
    found = []
    for f in plan.findings:
        pair = _PAIR.fullmatch(f.where)
        if f.code.startswith("identity.") and pair:
            found.append(Confusable(int(pair[1]), int(pair[2]), f.code.partition(".")[2], f.message))
    return tuple(found)


def finish_baskets(store: Store, plan: WeekPlan) -> tuple[PlannedBasket, ...]:
    """The baskets of a plan in the order of their first step; lines whose finish has no step lie in none."""
    groups = _groups(plan)
    pairs = confusables(plan)
    runs = basket_runs(store, plan)
    together = _same_bath(groups)
    parts_of = _portions(plan, groups)
    litres = _litres(plan, {n for (_, lines) in groups for n in lines})
    found = []
    for (name, lines), tasks in groups.items():
        shares = tuple(_share(plan, n, parts_of[name, n], litres) for n in lines)
        steps = tuple(_step(plan, t, together) for t in tasks)
        company = {other for s in steps for other in s.company}
        hits = tuple(p for p in pairs if _meet(p, set(lines), company))
        finishes = dict.fromkeys(plan.line(n).finish for n in lines)
        materials = dict.fromkeys(plan.line(n).material for n in lines)
        builds = tuple(b.key for b in plan.builds if set(b.lines) & set(lines))
        mine = tuple(r for r in runs if r.begun.data.get("basket") == name)
        groups_of = apart(lines, hits, {s.line for s in shares if s.is_delicate})
        found.append(PlannedBasket(name, ", ".join(finishes), ", ".join(materials), builds, shares, steps, hits,
                                   groups_of, mine))  # fmt: skip
    return tuple(sorted(found, key=lambda b: (b.steps[0].start, b.name)))


def apart(
    lines: Sequence[int], pairs: Iterable[Confusable], delicate: Collection[int] = ()
) -> tuple[tuple[int, ...], ...]:  # fmt: skip
    """The lines in as few groups as keep every confusable pair apart, and fragile lines from sturdy ones."""
    meet = {(p.first, p.second) for p in pairs if p.first in lines and p.second in lines}
    meet |= {(a, b) for a in lines for b in lines if a in delicate and b not in delicate}
    here = [LookAlike(str(a), str(b), "same", "") for a, b in sorted(meet)]
    group_of = marks_for(here)
    groups: dict[int, list[int]] = {}
    for line in lines:
        groups.setdefault(group_of.get(str(line), 0), []).append(line)
    return tuple(tuple(groups[g]) for g in sorted(groups))


def basket_runs(store: Store, plan: WeekPlan) -> tuple[Run, ...]:
    """Every basket that was begun under a plan, in order of time."""
    records = store.floor.records(plan=plan.version, kind=FloorKind.BASKET)
    ends = {str(r.data["of"]): r for r in records if r.data.get("deed") == "end"}
    return tuple(Run(r, ends.get(r.uid)) for r in records if r.data.get("deed") != "end")


def start_basket(
    store: Store,
    plan: WeekPlan,
    name: str,
    lines: Sequence[int],
    *,
    by: str,
    at: datetime,
    station: str,
    bath: str = "",
    media: str = "",
    kept_apart: str = "",
    uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:
    """A basket goes into a station with these lines.

    InputError for a strange basket, line or station, for more litres than the station holds, and for confusable
    lines, or fragile and sturdy ones, together unless `kept_apart` says how they are kept apart (net bag, mark).
    """
    require(store, by, Step.FINISH, at.date())
    basket = next((b for b in finish_baskets(store, plan) if b.name == name), None)
    if basket is None:
        raise InputError(
            f"plan {plan.version} has no basket {name[:40]!r}", remedy="choose one on the page", where=name
        )
    step = next((s for s in basket.steps if s.station == station), None)
    if step is None:
        known = ", ".join(dict.fromkeys(s.station for s in basket.steps))
        raise InputError(f"{name} does not go to {station[:40]!r}", remedy=f"one of: {known}", where=name)
    shares = [s for s in basket.shares if s.line in set(lines)]
    if len(shares) != len(set(lines)) or not shares:
        raise InputError(f"lines {', '.join(map(str, lines)) or 'none'} are not what {name} holds",
                         remedy=f"tick some of: {', '.join(str(s.line) for s in basket.shares)}")  # fmt: skip
    _refuse_confusable(basket, {s.line for s in shares}, kept_apart)
    _refuse_mixed(basket, {s.line for s in shares}, kept_apart)
    litres = sum(s.litres or 0.0 for s in shares)
    if 0 < step.capacity_l < litres - 1e-9:
        raise InputError(f"{litres:.1f} l do not fit into {station}, which holds {step.capacity_l:g} l",
                         remedy="tick fewer lines and run it twice", where=name)  # fmt: skip
    data: dict[str, Value] = {
        "deed": "start", "basket": name, "lines": " ".join(str(s.line) for s in shares), "finish": basket.finish,
        "station": station, "step": step.kind, "bath": bath.strip(), "media": media.strip(),
        "litres": round(litres, 2), "capacity_l": step.capacity_l, "pieces": sum(s.pieces for s in shares),
        "kept_apart": kept_apart.strip(),
    }  # fmt: skip
    build = basket.builds[0] if len(basket.builds) == 1 else ""
    return keep(store, plan, FloorKind.BASKET, data, by=by, at=at, build=build, uid=uid, kept_at=kept_at)


def end_basket(
    store: Store, plan: WeekPlan, of: str, *, by: str, at: datetime, found: str = "", uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """The basket begun with record `of` is out again; `found` is what was seen. InputError when it is not running."""
    require(store, by, Step.FINISH, at.date())
    run = next((r for r in basket_runs(store, plan) if r.begun.uid == of), None)
    if run is None:
        raise InputError("that basket was never begun", remedy="note its start first", where=of[:40])
    if run.ended is not None and run.ended.uid != uid:
        raise InputError(f"{run.begun.data['basket']} is out since {run.ended.at:%Y-%m-%d %H:%M} UTC",
                         remedy="nothing to do")  # fmt: skip
    data: dict[str, Value] = {"deed": "end", "of": of, "basket": run.begun.data["basket"], "found": found.strip()}
    return keep(store, plan, FloorKind.BASKET, data, by=by, at=at, build=run.begun.build, uid=uid, kept_at=kept_at)


def last_in(store: Store, plan: WeekPlan) -> dict[str, FloorRecord]:
    """The last basket that each station had: another colour in the bath wants a change first."""
    return {str(r.begun.data.get("station", "")): r.begun for r in basket_runs(store, plan)}


def _refuse_confusable(basket: PlannedBasket, chosen: set[int], kept_apart: str) -> None:
    wrong = [p for p in basket.confusable if {p.first, p.second} <= chosen]
    if wrong and not kept_apart.strip():
        p = wrong[0]
        raise InputError(
            f"lines {p.first} and {p.second} are hard to tell apart and would lie together: {p.message}",
            remedy="run them one after the other, or say how they are kept apart (net bag, mark)", where=basket.name,
        )  # fmt: skip


def _refuse_mixed(basket: PlannedBasket, chosen: set[int], kept_apart: str) -> None:
    fragile = sorted(chosen & set(basket.delicate))
    if fragile and set(fragile) != chosen and not kept_apart.strip():
        raise InputError(
            f"fragile parts of line {', '.join(map(str, fragile))} would lie among sturdy ones",
            remedy="run them by themselves, or say how they are kept apart (net bag, insert)", where=basket.name,
        )  # fmt: skip


def _groups(plan: WeekPlan) -> dict[tuple[str, tuple[int, ...]], list[Task]]:
    """Finishing tasks with hands by basket; what runs by itself belongs to the step before it."""
    found: dict[tuple[str, tuple[int, ...]], list[Task]] = {}
    tasks = sorted((t for t in plan.schedule.tasks if t.kind is TaskKind.FINISH), key=lambda t: t.start)
    for task in tasks:
        lines = tuple(n for n in task.lines if plan.cell.finish(plan.line(n).finish).steps)
        name = task.label.partition(":")[0] or f"{task.station} of {task.build or 'several builds'}"
        if lines and not (task.label.endswith("runs by itself") and (name, lines) in found):
            found.setdefault((name, lines), []).append(task)
    return found


def _portions(plan: WeekPlan, groups: Iterable[tuple[str, tuple[int, ...]]]) -> dict[tuple[str, int], int]:
    """Pieces of each line in each basket: a line too large for one is spread evenly, as the schedule does it."""
    names: dict[int, list[str]] = {}
    for name, lines in groups:
        for line in lines:
            names.setdefault(line, []).append(name)
    found: dict[tuple[str, int], int] = {}
    for line, baskets in names.items():
        quantity = plan.line(line).quantity
        longest = -(-quantity // len(baskets))
        counts = [*portions(quantity, longest), *([0] * len(baskets))]
        found |= {(name, line): count for name, count in zip(baskets, counts, strict=False)}
    return found


def _litres(plan: WeekPlan, numbers: set[int]) -> dict[int, float]:
    known = [plan.line(n) for n in sorted(numbers) if n in plan.part_of_line]
    return bulk_litres(known, plan.parts, plan.part_of_line, plan.cell.nesting.clearance_mm)


def _share(plan: WeekPlan, line: int, pieces: int, litres: Mapping[int, float]) -> Share:
    part = plan.parts.get(plan.part_of_line.get(line, ""))
    whole = litres.get(line)
    each = None if whole is None else whole * pieces / plan.line(line).quantity
    return Share(line, pieces, each, bool(part and part.is_delicate))


def _same_bath(groups: Mapping[tuple[str, tuple[int, ...]], list[Task]]) -> dict[tuple[str, datetime], set[int]]:
    found: dict[tuple[str, datetime], set[int]] = {}
    for (_, lines), tasks in groups.items():
        for task in tasks:
            found.setdefault((task.station, task.start), set()).update(lines)
    return found


def _step(plan: WeekPlan, task: Task, together: Mapping[tuple[str, datetime], set[int]]) -> BasketStep:
    station = next((s for s in plan.cell.stations if s.name == task.station), None)
    kind = task.label.partition(": ")[2].partition(",")[0] or (station.kind if station else "")
    kind = kind.removesuffix(" runs by itself")
    others = together[task.station, task.start] - set(task.lines)
    capacity = station.capacity_l if station else 0.0
    return BasketStep(kind, task.station, task.start, task.end, capacity, _cautions(kind), tuple(sorted(others)))


def _cautions(kind: str) -> tuple[Caution, ...]:
    if "blast" in kind:
        return cautions_of(Work.BLAST)
    if any(word in kind for word in _BATHS):
        return cautions_of(Work.BATH)
    return cautions_for(TaskKind.FINISH)


def _meet(pair: Confusable, lines: set[int], company: set[int]) -> bool:
    ends = {pair.first, pair.second}
    return bool(ends & lines) and ends <= lines | company
