"""A build has stopped: what is whole, what is lost, what becomes of the powder, and which ways out there are.

Nothing here changes anything: `failure_desk` answers, `accept_recovery` (in `recover`) acts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from cakewright.app.plan_costs import staffed_build_minutes
from cakewright.app.progress import Progress as Tell
from cakewright.app.progress import quiet
from cakewright.app.promise_dates import stop_point
from cakewright.app.replan import Replanned, jobs_of, replan, weighted_late_min
from cakewright.app.stop_build import AfterStop, PieceFate, after_stop
from cakewright.app.stopped_heat import opening_at, stopped_opening
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.cell import Cell
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.schedule.doubts import StopPoint
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.sources import stop as numbers
from cakewright.sources.promise import REACTION_MIN
from cakewright.sources.reference import Reference
from cakewright.store.schedule import Progress

AGAIN = "R"  # what a remake carries behind the key of the build it repeats


class Cause(StrEnum):
    """Why a build stopped, in the words of the person who found it."""

    POWER = "power cut"
    RECOATER = "recoater hit a piece"
    POWDER = "powder ran out"
    LASER = "laser or mirrors"
    HEAT = "heating or temperature reading"
    FOREIGN = "foreign matter or wrong powder"
    HAND = "stopped by hand"


@dataclass(frozen=True, slots=True)
class CauseRule:
    """What a cause can have touched. `all_doubtful`: even pieces far below the stop are looked at before they leave."""

    margin: Reference
    all_doubtful: bool
    quarantine: str
    powder: str
    powder_blocked: bool


RULES = {
    Cause.POWER: CauseRule(
        numbers.MARGIN_POWER, False,
        "inspect what ends near the stop; let the cake cool as it is, do not open it early",
        "goes back as used powder; note the stop with the blend", False),
    Cause.RECOATER: CauseRule(
        numbers.MARGIN_RECOATER, False,
        "look for marks and torn layers on pieces near the stop; find the piece that was hit",
        "goes back as used powder after sieving: crumbs of the piece are in it", False),
    Cause.POWDER: CauseRule(
        numbers.MARGIN_POWDER, False,
        "bend or weigh a piece that ends near the stop: the last layers may be thin",
        "goes back as used powder", False),
    Cause.LASER: CauseRule(
        numbers.MARGIN_LASER, True,
        "all pieces are held until one from the middle and one from below have been tested for strength",
        "goes back as used powder", False),
    Cause.HEAT: CauseRule(
        numbers.MARGIN_HEAT, True,
        "all pieces are held until sizes and strength of a sample are measured",
        "is held until its melt flow is measured: it was at an unknown temperature", True),
    Cause.FOREIGN: CauseRule(
        numbers.MARGIN_FOREIGN, True,
        "all pieces are held; decide with the person responsible for quality which may be used",
        "is blocked with everything it touched: machine feed, overflow, sieve. It is not blended again", True),
    Cause.HAND: CauseRule(
        numbers.MARGIN_HAND, False, "inspect what ends near the stop", "goes back as used powder", False),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class PowderAfterStop:
    """Where the powder of a stopped build is, kg. `not_spread` is still in the feed and not aged."""

    not_spread_kg: float
    in_cake_kg: float
    in_pieces_kg: float
    scrap_kg: float
    word: str
    is_blocked: bool


@dataclass(frozen=True, eq=False)
class Recovery:
    """One way out. `money` in the cell's currency is what it costs beyond the plan; `value_not_made` what is given up.

    `weighted_late_h` counts all lines of the plan; `made` is the week it leads to, before anybody accepts it.
    """

    key: str
    title: str
    text: str
    money: float
    value_not_made: float
    late: tuple[int, ...]
    weighted_late_h: float
    made: Replanned


@dataclass(frozen=True, eq=False)
class FailureDesk:
    """The answer. `value_lost` is the planned cost of pieces to be made again, `value_held` of pieces in quarantine."""

    after: AfterStop
    cause: Cause
    rule: CauseRule
    held: tuple[str, ...]
    value_lost: float
    value_held: float
    powder: PowderAfterStop
    at: datetime
    recoveries: tuple[Recovery, ...]


def failure_desk(
    plan: WeekPlan,
    key: str,
    layer: int,
    cause: Cause,
    *,
    now: datetime,
    margin_mm: float | None = None,
    progress: Sequence[Progress] = (),
    told: Tell = quiet,
) -> FailureDesk:
    """What a stop after `layer` finished layers at `now` means and two or three ways out, the best first.

    InputError for a layer the build does not have, or when the build has not begun by `now` as far as the plan and what
    was noted tell: before its start, ask the slider on its page.
    """
    build = _build(plan, key)
    rule = RULES[cause]
    after = after_stop(plan, build, layer, float(rule.margin) if margin_mm is None else margin_mm)
    stopped = stopped_plan(plan, build, after, now)
    case = _Case(plan, stopped, build, after, stop_point(build, after.layer), now, progress)
    recoveries = _recoveries(case, told)
    price = _piece_values(plan)
    held = [p for p, _, fate in after.fates
            if fate is PieceFate.DOUBTFUL or (rule.all_doubtful and fate is PieceFate.WHOLE)]  # fmt: skip
    line_of = {p: n for p, n, _ in after.fates}
    return FailureDesk(
        after, cause, rule, tuple(held),
        value_lost=sum(price.get(n, 0.0) for p, n, f in after.fates if f in {PieceFate.HALF, PieceFate.NOT_BEGUN}),
        value_held=sum(price.get(line_of[p], 0.0) for p in held),
        powder=powder_after(plan, build, after, rule), at=now, recoveries=recoveries,
    )  # fmt: skip


def powder_after(plan: WeekPlan, build: Build, after: AfterStop, rule: CauseRule) -> PowderAfterStop:
    """Powder by where it is: layers not spread stay in the feed, spread layers are in the cake (shares by height)."""
    material = plan.cell.material(build.material)
    share = after.layer / max(after.layers, 1)
    spread = build.powder.charge_kg * share
    made = {PieceFate.WHOLE: 1.0, PieceFate.DOUBTFUL: 1.0, PieceFate.HALF: 0.0, PieceFate.NOT_BEGUN: 0.0}
    part_of = {p.piece: p.part_key for p in build.nest.placements}
    volume = sum(made[f] * plan.parts[part_of[p]].measures.volume_cm3 for p, _, f in after.fates)
    pieces = volume * material.sintered_density_g_cm3 / 1000
    scrap = after.sintered_in_scrap_cm3 * material.sintered_density_g_cm3 / 1000
    loose = max(spread - pieces - scrap, 0.0)
    return PowderAfterStop(build.powder.charge_kg - spread, loose, pieces, scrap, rule.powder, rule.powder_blocked)


# --- the week with the stop in it -----------------------------------------------------------------------------------


def check_has_begun(plan: WeekPlan, build: Build, now: datetime) -> None:
    """InputError when the print of a build has not begun by `now`, as far as the plan tells."""
    printing = next((t for t in plan.schedule.of_build(build.key) if t.kind is TaskKind.PRINT), None)
    if printing is None or printing.start >= now:
        raise InputError(
            f"{build.key} has not begun by {now:%Y-%m-%d %H:%M} UTC",
            remedy="note when it was loaded, or ask what a stop would mean on the page of the build",
            where=f"build {build.key}",
        )


def check_stop(plan: WeekPlan, build: Build, layer: int, now: datetime, margin_mm: float | None) -> None:
    """InputError for a stop that cannot be meant: no such layer, a margin below zero, a print that has not begun."""
    after_stop(plan, build, layer, margin_mm)
    check_has_begun(plan, build, now)


def stopped_plan(plan: WeekPlan, build: Build, after: AfterStop, now: datetime) -> WeekPlan:
    """The plan with the print ended at `now` and the cake cooling by its share of the height; what follows is open."""
    check_has_begun(plan, build, now)
    tasks = {t.kind: t for t in plan.schedule.of_build(build.key)}
    cool = timedelta(minutes=_stopped_cool_min(build, after, plan.cell))
    mine: list[Task] = []
    for kind in (TaskKind.LOAD, TaskKind.PRINT, TaskKind.COOL):
        task = tasks.get(kind)
        if task and kind is TaskKind.PRINT:
            mine.append(replace(task, end=now))
        elif task and kind is TaskKind.COOL:
            mine.append(replace(task, start=now, end=now + cool, label="cools after the stop"))
        elif task:
            mine.append(task)
    rest = [t for t in plan.schedule.tasks if t.build != build.key or t.kind not in _OF_BUILD]
    rest = [t for t in rest if not set(t.lines) & set(build.lines) or t.kind in _OF_BUILD or t.end <= now]
    schedule = replace(plan.schedule, tasks=tuple(sorted([*rest, *mine], key=lambda t: (t.start, t.end))))
    return replace(plan, schedule=schedule)


_OF_BUILD = (TaskKind.LOAD, TaskKind.PRINT, TaskKind.COOL, TaskKind.UNLOAD, TaskKind.UNPACK, TaskKind.CLEAN)


def _stopped_cool_min(build: Build, after: AfterStop, cell: Cell) -> int:
    return max(1, round(stopped_opening(build, after, cell)[1] / 60))


@dataclass(frozen=True, eq=False)
class _Case:
    """What every way out starts from."""

    plan: WeekPlan
    stopped: WeekPlan
    build: Build
    after: AfterStop
    point: StopPoint
    now: datetime
    progress: Sequence[Progress]

    def again(self, jobs: Sequence[BuildJob], wishes: Sequence[LineJob]) -> Replanned:
        """The rest of the week with this work in it."""
        work = (_with_stop(jobs, self.build, self.after, self.plan.cell), wishes)
        return replan(self.stopped, self.now, progress=self.progress, work=work, against=self.plan)

    def way(self, made: Replanned, key: str, title: str, text: str, money: float, given_up: float = 0.0) -> Recovery:
        """A way out with what it does to the dates."""
        promises = made.plan.promises
        late = tuple(p.line for p in promises if p.is_late)
        return Recovery(key, title, text, money, given_up, late, weighted_late_min(self.plan, promises) / 60, made)

    @property
    def owed(self) -> list[int]:
        """The line of every piece that is half made or not begun."""
        return [n for _, n, f in self.after.fates if f in {PieceFate.HALF, PieceFate.NOT_BEGUN}]


def _recoveries(case: _Case, told: Tell) -> tuple[Recovery, ...]:
    """Two or three ways out: those that make everything first, then by money and weighted lateness."""
    ways = [_at_once, _with_next, _last, _give_up] if case.owed else [_give_up]
    found = []
    for n, way in enumerate(ways):
        told("trying ways out", n, len(ways))
        if (answer := way(case)) is not None:
            found.append(answer)
    hour = case.plan.cell.rates.hands_per_h  # what a weighted hour of lateness is taken to cost: an hour of hands
    ranked = sorted(found, key=lambda r: (r.value_not_made > 0, r.weighted_late_h * hour + r.money))
    return tuple(ranked[:3])


def _at_once(case: _Case) -> Recovery | None:
    title = "Make the missing pieces again at once"
    text = "a build of its own, loaded as soon as a machine and a chamber are free"
    return _own_build(case, case.now + _reaction(), "again-now", title, text)


def _last(case: _Case) -> Recovery | None:
    loads = [t.start for t in case.plan.schedule.tasks if t.kind is TaskKind.LOAD and t.start > case.now]
    if not loads:
        return None  # there is nothing to wait for
    title = "Make them again after everything that is planned"
    text = "a build of its own behind the others: no other line waits for it"
    return _own_build(case, max(loads) + timedelta(minutes=1), "again-last", title, text)


def _own_build(case: _Case, release: datetime, key: str, title: str, text: str) -> Recovery:
    plan, build = case.plan, case.build
    jobs, wishes, _ = jobs_of(plan)
    job = next(j for j in jobs if j.key == build.key)
    again = remake_job(job, plan, build, case.after, case.point, release)
    made = case.again([*jobs, again], _owing(wishes, build, case.after, again.key))
    machine = plan.cell.machine(build.machine)
    hours = again.print_min.get(build.machine, min(again.print_min.values())) / 60
    hands = staffed_build_minutes(machine, plan.cell) / 60 * plan.cell.rates.hands_per_h
    return case.way(made, key, title, text, hours * machine.rate_per_h + hands + _powder_money(case))


def _with_next(case: _Case) -> Recovery | None:
    plan, build = case.plan, case.build
    host = _host(plan, build, case.point, case.now)
    if host is None:
        return None
    jobs, wishes, _ = jobs_of(plan)
    own = next(j for j in jobs if j.key == build.key)
    share = max(case.point.remake_share - _fixed_share(build), 0.0)
    more = {m: round(minutes * share) for m, minutes in own.print_min.items()}
    higher = 1 + case.point.remake_height_share * build.nest.height_mm / host.nest.height_mm
    jobs = [_longer(j, more, higher) if j.key == host.key else j for j in jobs]
    made = case.again(jobs, _owing(wishes, build, case.after, host.key))
    rate = plan.cell.machine(host.machine).rate_per_h
    text = f"they go into {host.key}, which is not loaded yet and has the height; it prints longer and is nested anew"
    money = more.get(build.machine, 0) / 60 * rate + _powder_money(case)
    return case.way(made, f"with-{host.key}", f"Put them into {host.key}", text, money)


def _longer(job: BuildJob, more_min: Mapping[str, int], higher: float) -> BuildJob:
    prints = {m: minutes + more_min.get(m, 0) for m, minutes in job.print_min.items()}
    return replace(job, print_min=prints, cool_min=round(job.cool_min * higher))


def _give_up(case: _Case) -> Recovery | None:
    jobs, wishes, _ = jobs_of(case.plan)
    price = _piece_values(case.plan)
    title = "Deliver what is whole and make nothing again" if case.owed else "Nothing has to be made again"
    text = "the customers of the missing pieces must agree" if case.owed else "every piece is whole; inspect before use"
    given_up = sum(price.get(n, 0.0) for n in case.owed)
    return case.way(case.again(jobs, wishes), "give-up", title, text, 0.0, given_up)


def remake_job(
    job: BuildJob, plan: WeekPlan, build: Build, after: AfterStop, point: StopPoint, release: datetime
) -> BuildJob:
    """What making the missing pieces again asks of the cell, before they are really nested."""
    owed = sum(f in {PieceFate.HALF, PieceFate.NOT_BEGUN} for _, _, f in after.fates)
    rates = plan.cell.rates
    again_layers = round(build.profile.layers * point.remake_height_share)
    return replace(
        job,
        key=build.key + AGAIN,
        print_min={m: max(1, round(minutes * point.remake_share)) for m, minutes in job.print_min.items()},
        cool_min=max(1, round(opening_at(build, again_layers, plan.cell)[1] / 60)),
        unpack_min=max(1, round(rates.unpack_min_per_build + owed * rates.unpack_s_per_piece / 60)),
        release=release,
        pinned_machine=None,
    )


def _with_stop(jobs: Sequence[BuildJob], build: Build, after: AfterStop, cell: Cell) -> list[BuildJob]:
    cool = _stopped_cool_min(build, after, cell)
    return [
        replace(j, cool_min=cool, minimum_cool_in_machine_min=min(j.minimum_cool_in_machine_min, cool))
        if j.key == build.key
        else j
        for j in jobs
    ]


def _owing(wishes: Sequence[LineJob], build: Build, after: AfterStop, where: str) -> list[LineJob]:
    """Lines that miss pieces wait for the build `where`; those that have none in the stopped one wait for it only."""
    owed = {n.line for n in after.lines if n.again}
    some = {n.line for n in after.lines if n.whole + n.doubtful}
    return [_waiting_for(w, build.key, where, keeps=w.line in some) if w.line in owed else w for w in wishes]


def _waiting_for(wish: LineJob, stopped: str, where: str, *, keeps: bool) -> LineJob:
    kept = [b for b in wish.builds if (b != stopped or keeps) and b != where]
    return replace(wish, builds=(*kept, where))


def _host(plan: WeekPlan, build: Build, point: StopPoint, now: datetime) -> Build | None:
    """The next build of the same powder and chamber that is not loaded and has the height to take the pieces."""
    usable = plan.cell.chamber_type(build.chamber_type).usable_height_mm
    loads = {t.build: t.start for t in plan.schedule.tasks if t.kind is TaskKind.LOAD}
    more = point.remake_height_share * build.nest.height_mm
    fit = [
        b
        for b in plan.builds
        if (b.material, b.chamber_type) == (build.material, build.chamber_type)
        and loads.get(b.key, now) > now + _reaction()
        and b.nest.height_mm + more <= usable
    ]
    return min(fit, key=lambda b: loads[b.key], default=None)


def _fixed_share(build: Build) -> float:
    return max(0.0, 1.0 - float(build.print_time.layer_s.sum()) / build.print_time.total_s)


def _powder_money(case: _Case) -> float:
    price = case.plan.cell.material(case.build.material).virgin_price_per_kg
    return case.build.powder.virgin_kg * case.point.remake_height_share * price


def _piece_values(plan: WeekPlan) -> dict[int, float]:
    """Planned cost of one piece of each line."""
    return {c.line: c.total / plan.line(c.line).quantity for c in plan.costs}


def _reaction() -> timedelta:
    return timedelta(minutes=REACTION_MIN.value)


def _build(plan: WeekPlan, key: str) -> Build:
    for build in plan.builds:
        if build.key == key:
            return build
    raise InputError(f"there is no build {key}", remedy=f"use one of: {', '.join(b.key for b in plan.builds)}")
