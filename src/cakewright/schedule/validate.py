"""An independent judge: does a schedule keep every rule of the cell?

It shares no code with the solvers: it works on instants and tasks, not on minutes and arrays, and converts shifts
to UTC by itself. It is called on every schedule before anybody sees it. Each broken rule is a Finding.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from types import MappingProxyType

from cakewright.findings import Finding, Severity
from cakewright.model.cell import Cell, FinishStep, Person, Station
from cakewright.model.plan import Schedule, Task, TaskKind
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.validate_hours import on_shift, somebody_in, week_counts
from cakewright.schedule.validate_limits import check_limits

_SKILL = {
    TaskKind.LOAD: "start",
    TaskKind.UNLOAD: "start",
    TaskKind.UNPACK: "unpack",
    TaskKind.CLEAN: "unpack",
    TaskKind.CLEAN_DOWN: "unpack",
    TaskKind.TEST: "inspect",
    TaskKind.INSPECT: "inspect",
    TaskKind.PACK: "pack",
}
_BENCH = {TaskKind.FINISH, TaskKind.WAIT, TaskKind.INSPECT, TaskKind.PACK}
_EMPTY = {TaskKind.CHANGE, TaskKind.SERVICE}
_MINUTE = timedelta(minutes=1)


def validate(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    schedule: Schedule,
    frozen: Sequence[Task] = (),
    unavailable: Mapping[str, Sequence[tuple[datetime, datetime]]] = MappingProxyType({}),
) -> tuple[Finding, ...]:
    """Every rule that the schedule breaks; empty when it can be carried out as written.

    `frozen` tasks are facts: they must be there as they are, and their own times and people are not questioned, but
    nothing else may collide with them. In the windows of `unavailable` a name may only be used by what was begun.
    """
    judge = _Judge(cell, builds, lines, schedule, frozen)
    judge.kept_and_out_of_use(unavailable)
    judge.one_thing_at_a_time()
    judge.people_are_there()
    for job in builds:
        judge.build(job)
    judge.machines_are_held_until_lifted_out()
    judge.chambers_are_held_until_clean()
    judge.baskets()
    for line in lines:
        judge.line(line)
    judge.nothing_else()
    check_limits(cell, builds, lines, schedule.tasks, judge.frozen, schedule.start, judge.broken)
    return tuple(judge.findings)


def validate_places(
    cell: Cell, builds: Sequence[BuildJob], lines: Sequence[LineJob], schedule: Schedule, frozen: Sequence[Task] = ()
) -> tuple[Finding, ...]:
    """Every broken rule of people, stations, machines, chambers, materials, services, closures, utilities, powder.

    For a week as it went: durations are what they were, so only the builds are held against their own.
    """
    judge = _Judge(cell, builds, lines, schedule, frozen)
    judge.one_thing_at_a_time()
    judge.people_are_there()
    for job in builds:
        judge.build(job)
    judge.machines_are_held_until_lifted_out()
    judge.chambers_are_held_until_clean()
    check_limits(cell, builds, lines, schedule.tasks, judge.frozen, schedule.start, judge.broken)
    return tuple(judge.findings)


class _Judge:
    """Collects broken rules."""

    def __init__(
        self,
        cell: Cell,
        builds: Sequence[BuildJob],
        lines: Sequence[LineJob],
        schedule: Schedule,
        frozen: Sequence[Task] = (),
    ) -> None:
        self.frozen = frozenset(frozen)
        self.cell, self.builds, self.lines, self.schedule = cell, builds, lines, schedule
        self.findings: list[Finding] = []
        self.person = {p.name: p for p in cell.people}
        self.station = {s.name: s for s in cell.stations}
        self.chamber = {c.name: c for c in cell.chambers}
        self.machine = {m.name: m for m in cell.machines}
        self.of_build: dict[tuple[str, TaskKind], list[Task]] = defaultdict(list)
        for task in schedule.tasks:
            if task.kind not in _BENCH:
                self.of_build[task.build, task.kind].append(task)

    def broken(self, code: str, message: str, where: str) -> None:
        """File one broken rule."""
        self.findings.append(
            Finding(f"schedule.{code}", Severity.BLOCKING, message, where, "do not use this schedule; plan again")
        )

    def kept_and_out_of_use(self, unavailable: Mapping[str, Sequence[tuple[datetime, datetime]]]) -> None:
        """Every frozen task is there; nothing new uses what is out of use."""
        for task in self.frozen - set(self.schedule.tasks):
            self.broken(
                "frozen-moved", f"the frozen task {task.start} to {task.end} is not in the schedule", _where(task)
            )
        begun = {t.build for t in self.frozen if t.build and t.kind not in _BENCH | _EMPTY}
        stays: dict[tuple[str, str], list[Task]] = defaultdict(list)
        for task in self.schedule.tasks:
            for name in {task.machine, task.chamber} - {""}:
                if task.build not in begun and task.kind not in _EMPTY:
                    stays[task.build, name].append(task)
            for name in (*task.people, task.station):
                if task not in self.frozen:
                    self._outside(name, task.start, task.end, unavailable.get(name, ()), _where(task))
        for (key, name), tasks in stays.items():
            start, end = min(t.start for t in tasks), max(t.end for t in tasks)
            self._outside(name, start, end, unavailable.get(name, ()), f"build {key}")

    def _outside(
        self, name: str, start: datetime, end: datetime, windows: Iterable[tuple[datetime, datetime]], where: str
    ) -> None:
        for begins, ends in windows:
            if start < ends and begins < end:
                self.broken("out-of-use", f"{name} is out of use from {begins} to {ends}", where)

    # --- people, stations -----------------------------------------------------------------------------

    def one_thing_at_a_time(self) -> None:
        """No person and no station does two things at once; every name exists; nothing starts too early."""
        for task in self.schedule.tasks:
            where = _where(task)
            early = task.start < self.schedule.start and task not in self.frozen
            if early or task.end <= task.start:
                self.broken("wrong-times", f"runs from {task.start} to {task.end}", where)
            for what, name, known in (
                ("machine", task.machine, self.machine),
                ("chamber", task.chamber, self.chamber),
                ("station", task.station, self.station),
            ):
                if name and name not in known:
                    self.broken("unknown-name", f"{what} {name!r} is not in the cell", where)
        tasks = self._shared_runs_once()
        for name in self.person:
            self._apart("person-twice", f"{name} would do", [t for t in tasks if name in t.people])
        for name in self.station:
            self._apart("station-twice", f"{name} would hold", [t for t in tasks if t.station == name])

    def _shared_runs_once(self) -> list[Task]:
        """All tasks, but baskets of one finish in one bath at one time count as one, if the bath holds them."""
        by_line = {line.line: line for line in self.lines}
        runs: dict[tuple[object, ...], list[Task]] = defaultdict(list)
        for task in self.schedule.tasks:
            finishes = {by_line[n].finish for n in task.lines if n in by_line}
            same = (task.start, task.end, task.station, task.people, task.label.partition(":")[2], *finishes)
            alone = task.kind is not TaskKind.FINISH or not any(_runs_by_itself(s) for f in finishes for s in f.steps)
            runs[(id(task),) if alone else same].append(task)
        for run in runs.values():
            station = self.station.get(run[0].station)
            if station and station.capacity_l > 0 and run[0].kind is TaskKind.FINISH:
                self._bath_holds(run, station, by_line)
        return [run[0] for run in runs.values()]

    def _bath_holds(self, run: list[Task], station: Station, by_line: dict[int, LineJob]) -> None:
        """Pieces of a line are spread evenly over its baskets; rounding is in favour of the schedule."""
        members = [by_line[n] for task in run for n in task.lines if n in by_line]
        finishing = [t for t in self.schedule.tasks if t.kind is TaskKind.FINISH]
        litres = 0.0
        for m in members:
            baskets = {t.label.partition(":")[0] for t in finishing if m.line in t.lines}
            litres += m.litres * (m.pieces // max(1, len(baskets))) / m.pieces
        known = all(m.litres > 0 for m in members)
        if (known and litres > station.capacity_l + 1e-6) or (len(run) > 1 and not known):
            self.broken("overfull", f"{station.name} would hold {litres:.1f} l", _where(run[0]))

    def _apart(self, code: str, who: str, tasks: Iterable[Task]) -> None:
        for first, second in pairwise(sorted(tasks, key=lambda t: t.start)):
            if second.start < first.end:
                self.broken(code, f"{who} {_where(first)} and {_where(second)} at {second.start}", _where(second))

    def people_are_there(self) -> None:
        """Whoever does something has the skill and is on shift, outside breaks, for all of it."""
        for task in self.schedule.tasks:
            for name in () if task in self.frozen else task.people:
                person = self.person.get(name)
                if person is None:
                    self.broken("unknown-name", f"person {name!r} is not in the cell", _where(task))
                    continue
                if task.kind in _SKILL and _SKILL[task.kind] not in person.skills:
                    self.broken("missing-skill", f"{name} has no skill {_SKILL[task.kind]!r}", _where(task))
                elif task.kind in _SKILL:
                    self._trained(person, _SKILL[task.kind], task, _where(task))
                if not on_shift(self.cell, person, task.start, task.end):
                    self.broken("off-shift", f"{name} is not in from {task.start} to {task.end}", _where(task))

    def _trained(self, person: Person, skill: str, task: Task, where: str) -> None:
        last = person.last_day(skill)
        if last is not None and not on_shift(self.cell, person, task.start, task.end, last):
            self.broken("training-ended", f"the training of {person.name} for {skill!r} ends on {last}", where)

    # --- builds ---------------------------------------------------------------------------------------

    def _the(self, job: BuildJob, kind: TaskKind, minutes: int, hands: bool) -> Task | None:
        found = self.of_build[job.key, kind]
        if minutes == 0 and not found:
            return None
        if len(found) != 1:
            self.broken("missing-task", f"{len(found)} tasks '{kind}', expected one", f"build {job.key}")
            return None
        task = found[0]
        if task in self.frozen:
            return task
        if task.end - task.start != minutes * _MINUTE:
            self.broken("wrong-duration", f"lasts {task.end - task.start}, expected {minutes} min", _where(task))
        if hands and len(task.people) != 1:
            self.broken("nobody-assigned", f"{len(task.people)} people, expected one", _where(task))
        return task

    def build(self, job: BuildJob) -> None:
        """One build: right machine and chamber, right durations, in the right order."""
        where = f"build {job.key}"
        prints = self.of_build[job.key, TaskKind.PRINT]
        machine = self.machine.get(prints[0].machine) if prints else None
        begun = any(t in self.frozen for kind in set(TaskKind) - _EMPTY for t in self.of_build[job.key, kind])
        if machine is None or (machine.name not in job.print_min and not begun):
            self.broken("wrong-machine", "is printed by no machine that can", where)
            return
        suits_machine = machine.takes(job.material) and machine.chamber_type == job.chamber_type
        if not begun and not (suits_machine and job.pinned_machine in {None, machine.name}):
            self.broken("wrong-machine", f"machine {machine.name} does not suit it or it is pinned elsewhere", where)
        load = self._the(job, TaskKind.LOAD, job.load_min, True)
        run = self._the(job, TaskKind.PRINT, job.print_min.get(machine.name, 0), False)
        cool = self._the(job, TaskKind.COOL, job.cool_min, False)
        lift = self._the(job, TaskKind.UNLOAD, job.unload_min, True)
        unpack = self._the(job, TaskKind.UNPACK, job.unpack_min, True)
        clean = self._the(job, TaskKind.CLEAN, job.clean_min, True)
        if run is None:
            return
        begins = load or run
        if begins.start < job.release and begins not in self.frozen:
            self.broken("too-early", f"starts {begins.start}, released {job.release}", where)
        if load and load.end != run.start and run not in self.frozen:
            self.broken("wrong-order", "the print does not start when loading ends", where)
        if cool and cool.start != run.end and cool not in self.frozen:
            self.broken("wrong-order", "cooling does not start at the print end", where)
        out = run.end + job.minimum_cool_in_machine_min * _MINUTE
        if lift and lift.start < out and lift not in self.frozen:
            self.broken("too-hot", f"lifted out {lift.start}, not before {out}", where)
        cold = cool.end if cool else run.end + job.cool_min * _MINUTE
        open_from = max(cold, lift.end if lift else run.end)
        if unpack and unpack.start < open_from and unpack not in self.frozen:
            self.broken("too-hot", f"opened {unpack.start}, not before {open_from}", where)
        if clean and clean.start < (unpack.end if unpack else open_from) and clean not in self.frozen:
            self.broken("wrong-order", "the chamber is cleaned before it is unpacked", where)
        for task in (load, run, lift):
            if task and task.machine != machine.name:
                self.broken("wrong-machine", f"{task.kind} on {task.machine or 'no machine'}", where)
        chambers = {t.chamber for t in (load, run, cool, lift, unpack, clean) if t}
        suits = [c for c in (self.chamber.get(n) for n in chambers) if c and c.type == job.chamber_type]
        if len(chambers) != 1 or not suits or not suits[0].takes(job.material):
            self.broken("wrong-chamber", f"chamber {', '.join(sorted(chambers)) or 'none'} does not suit it", where)
        if unpack:
            self._at_station(unpack, "unpack", job.material)

    def _at_station(self, task: Task, kind: str, material: str) -> None:
        station = self.station.get(task.station)
        if station is None or station.kind != kind or (station.materials and material not in station.materials):
            self.broken(
                "wrong-station", f"{task.station or 'no station'} does not do {kind} of {material}", _where(task)
            )

    def machines_are_held_until_lifted_out(self) -> None:
        """Nothing else is on a machine from loading until somebody has lifted the chamber out."""
        for name in self.machine:
            on_it = [t for t in self.schedule.tasks if t.machine == name]
            self._held("machine-twice", name, [t for t in on_it if t.kind not in _EMPTY])

    def chambers_are_held_until_clean(self) -> None:
        """Nothing else is in a chamber from loading until it is unpacked and clean."""
        for name in self.chamber:
            self._held("chamber-twice", name, [t for t in self.schedule.tasks if t.chamber == name])

    def _held(self, code: str, name: str, tasks: list[Task]) -> None:
        stays: dict[str, tuple[datetime, datetime]] = {}
        for task in tasks:
            start, end = stays.get(task.build, (task.start, task.end))
            stays[task.build] = (min(start, task.start), max(end, task.end))
        in_order = sorted((start, end, build) for build, (start, end) in stays.items())
        for (_, end, first), (start, _, second) in pairwise(in_order):
            if start < end:
                self.broken(
                    code, f"{name} still holds {first} until {end} when {second} comes {start}", f"build {second}"
                )

    # --- lines ----------------------------------------------------------------------------------------

    def _unpacked(self, line: LineJob) -> datetime:
        ends = [
            t.end
            for key in line.builds
            for kind in (TaskKind.PRINT, TaskKind.COOL, TaskKind.UNLOAD, TaskKind.UNPACK)
            for t in self.of_build[key, kind]
        ]
        return max(ends, default=self.schedule.start)

    def baskets(self) -> None:
        """Baskets follow the steps of one finish, at the right stations and days, for long enough."""
        by_line = {line.line: line for line in self.lines}
        material = {job.key: job.material for job in self.builds}
        tasks: dict[str, list[Task]] = defaultdict(list)
        for task in self.schedule.tasks:
            if task.kind in {TaskKind.FINISH, TaskKind.WAIT}:
                tasks[task.label.partition(":")[0]].append(task)
        self.basket_end: dict[int, datetime] = {}
        self.basket_count: dict[frozenset[int], int] = defaultdict(int)
        spent: dict[tuple[int, ...], list[float]] = {}
        for name, own in tasks.items():
            numbers = own[0].lines
            members = [by_line[n] for n in numbers if n in by_line]
            if not members or any(t.lines != numbers for t in own) or len({m.finish for m in members}) != 1:
                self.broken("mixed-basket", f"{name} holds lines {numbers} of different finishes or none", name)
                continue
            began = max(self._unpacked(m) for m in members)
            used = self._walk(name, sorted(own, key=lambda t: (t.start, t.end)), members[0].finish.steps, began,
                              material[members[0].builds[0]])  # fmt: skip
            for m in members:
                self.basket_end[m.line] = max(self.basket_end.get(m.line, began), *(t.end for t in own))
            before = spent.get(numbers, [0.0] * len(used))
            spent[numbers] = [x + y for x, y in zip(before, used, strict=True)]
        self._enough_time(spent, by_line)

    def _walk(
        self, name: str, own: list[Task], steps: Sequence[FinishStep], began: datetime, material: str
    ) -> list[float]:
        """Follow one basket through its steps; minutes spent on handling pieces in each step."""
        handling = []
        at = began
        queue = list(own)
        for step in steps:
            parts = []
            if queue and queue[0].kind is TaskKind.FINISH:
                parts.append(queue.pop(0))
                runs_on = 0 < step.staffed_min < step.minutes
                if runs_on and queue and queue[0].kind is TaskKind.FINISH and not queue[0].people:
                    parts.append(queue.pop(0))
            if not parts:
                if step.minutes or step.wait_min or step.per_piece_s:
                    self.broken("missing-task", f"the step {step.station_kind} is missing", name)
                handling.append(0.0)
                continue
            start, end = parts[0].start, parts[-1].end
            if parts[0] in self.frozen:  # how it was done is a fact; its handling counts as done
                handling.append(math.inf)
                at, queue = self._after_fact(step, end, queue)
                continue
            if start < at:
                self.broken("wrong-order", f"{step.station_kind} starts {start}, not possible before {at}", name)
            if len(parts) == 2 and (parts[0].end != parts[1].start or parts[0].station != parts[1].station):
                self.broken("wrong-order", f"{step.station_kind} is interrupted", name)
            self._at_station(parts[0], step.station_kind, material)
            self._finish_hands(name, step, parts)
            extra = (end - start) / _MINUTE - step.minutes
            if extra < 0:
                self.broken("wrong-duration", f"{step.station_kind} lasts {end - start}", name)
            handling.append(extra)
            at = end
            if step.wait_min:
                wait = queue.pop(0) if queue and queue[0].kind is TaskKind.WAIT else None
                if wait is None or wait.start < end or wait.end - wait.start != step.wait_min * _MINUTE:
                    self.broken("missing-task", f"no {step.wait_min} min wait after {step.station_kind}", name)
                else:
                    at = wait.end
        if queue:
            self.broken("surplus-task", f"{len(queue)} tasks too many", name)
        return handling

    def _after_fact(self, step: FinishStep, end: datetime, queue: list[Task]) -> tuple[datetime, list[Task]]:
        """When a frozen step has dried or cured, and the tasks that follow."""
        if step.wait_min and queue and queue[0].kind is TaskKind.WAIT:
            return queue[0].end, queue[1:]
        return end + step.wait_min * _MINUTE, queue

    def _finish_hands(self, name: str, step: FinishStep, parts: list[Task]) -> None:
        first = parts[0]
        until = first.end if first.people else first.start + _MINUTE
        days = {t.astimezone(self.cell.zone).date() for t in (first.start, until - _MINUTE)}
        in_week = all(week_counts(day, step.every_weeks, step.first_day) for day in days)
        if not in_week or (step.weekdays and not {day.weekday() for day in days} <= set(step.weekdays)):
            planned = ", ".join(map(str, sorted(days)))
            self.broken("wrong-weekday", f"{step.station_kind} is not run on {planned}", name)
        if step.watched and not somebody_in(self.cell, step.skill, first.start, parts[-1].end):
            self.broken("unwatched", f"{step.station_kind} runs while nobody is in", name)
        if not step.staffed_min:
            return
        total = (parts[-1].end - first.start) / _MINUTE
        needed = min(step.staffed_min + total - step.minutes, total)
        if len(first.people) != 1 or (first.end - first.start) / _MINUTE < needed:
            self.broken("nobody-assigned", f"{step.station_kind} needs hands for {needed} min", name)
        for person in (self.person[p] for p in first.people if p in self.person):
            if step.skill not in person.skills:
                self.broken("missing-skill", f"{person.name} has no skill {step.skill!r}", name)
            else:
                self._trained(person, step.skill, first, name)

    def _enough_time(self, spent: dict[tuple[int, ...], list[float]], by_line: dict[int, LineJob]) -> None:
        """Handling time over linked baskets must cover every piece of their lines."""
        groups: list[tuple[set[int], list[float]]] = []
        for numbers, used in spent.items():
            lines, total = set(numbers), list(used)
            for other in [g for g in groups if g[0] & lines]:
                lines |= other[0]
                total = [x + y for x, y in zip(total, other[1], strict=True)]
                groups.remove(other)
            groups.append((lines, total))
        for lines, total in groups:
            pieces = sum(by_line[n].pieces for n in lines)
            for step, minutes in zip(by_line[min(lines)].finish.steps, total, strict=True):
                if minutes < math.floor(step.per_piece_s * pieces / 60):
                    self.broken(
                        "wrong-duration", f"{step.station_kind}: {minutes} min for {pieces} pieces", f"lines {lines}"
                    )

    def line(self, line: LineJob) -> None:
        """One line: finished, then inspected, then packed, each for long enough."""
        where = f"line {line.line}"
        own = [t for t in self.schedule.tasks if t.lines == (line.line,)]
        inspect = [t for t in own if t.kind is TaskKind.INSPECT]
        pack = [t for t in own if t.kind is TaskKind.PACK]
        if not line.builds:
            if own:
                self.broken("surplus-task", "has tasks but is in no build", where)
            return
        if (
            line.finish.steps
            and line.line not in self.basket_end
            and any(s.minutes or s.wait_min or s.per_piece_s for s in line.finish.steps)
        ):
            self.broken("missing-task", f"finish {line.finish.name} is missing", where)
        at = max(self._unpacked(line), self.basket_end.get(line.line, self.schedule.start))
        for tasks, minutes, what in ((inspect, line.inspect_min, "inspection"), (pack, line.pack_min, "packing")):
            new = [t for t in tasks if t not in self.frozen]
            planned = sum((t.end - t.start for t in new), timedelta())
            if planned > minutes * _MINUTE or (planned < minutes * _MINUTE and len(new) == len(tasks)):
                self.broken("wrong-duration", f"{what} does not add up to {minutes} min", where)
            if any(len(t.people) != 1 for t in new):
                self.broken("nobody-assigned", f"{what} needs one person", where)
            if any(t.start < at for t in new):
                self.broken("wrong-order", f"{what} starts before {at}", where)
            self._apart("wrong-order", "the line would be in", tasks)
            at = max((t.end for t in tasks), default=at)

    def nothing_else(self) -> None:
        """No task for a build or a line that was not asked for."""
        keys = {job.key for job in self.builds}
        numbers = {line.line for line in self.lines}
        for (key, kind), tasks in self.of_build.items():
            if tasks and key not in keys:
                self.broken("surplus-task", f"'{kind}' for a build that was not asked for", f"build {key}")
        for task in self.schedule.tasks:
            if not set(task.lines) <= numbers:
                self.broken("surplus-task", f"names lines {task.lines}, not all asked for", _where(task))


def _runs_by_itself(step: FinishStep) -> bool:
    return step.per_piece_s <= 0 and step.staffed_min < step.minutes


def _where(task: Task) -> str:
    what = f"build {task.build}" if task.build else f"lines {', '.join(map(str, task.lines))}"
    return f"{task.kind} of {what}"
