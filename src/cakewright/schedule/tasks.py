"""From placed minutes to tasks with names and instants."""

from __future__ import annotations

from typing import Any

from cakewright.model.cell import FinishStep
from cakewright.model.plan import Task, TaskKind
from cakewright.schedule.baskets import Basket
from cakewright.schedule.calendars import instant_of, minutes_after, words
from cakewright.schedule.instance import Instance
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed


def make_tasks(instance: Instance, placed: Placed) -> tuple[Task, ...]:
    """All tasks in order of time, the kept ones as they were given; nothing that lasts no time is listed."""
    writer = _Writer(instance)
    for b in range(len(instance.builds)):
        _build_tasks(writer, placed, b)
    _machine_tasks(writer, placed)
    for k in range(len(instance.baskets)):
        _basket_tasks(writer, placed, k)
    for i in range(len(instance.lines)):
        _bench_tasks(writer, placed, i)
    tasks = [*writer.tasks, *instance.kept.tasks]
    return tuple(sorted(tasks, key=lambda t: (t.start, t.end, t.kind, t.build, t.lines, t.label)))


class _Writer:
    """Collects tasks; turns minutes into instants and rows into names."""

    def __init__(self, instance: Instance) -> None:
        self.instance = instance
        self.tasks: list[Task] = []

    def add(
        self,
        kind: TaskKind,
        build: str,
        lines: tuple[int, ...],
        start: int,
        end: int,
        *,
        person: int = -1,
        machine: str = "",
        chamber: int = -1,
        station: int = -1,
        label: str = "",
    ) -> None:
        """File one task unless it lasts no time."""
        if end <= start:
            return
        name = self.instance.name_of_row
        self.tasks.append(
            Task(
                kind,
                build,
                lines,
                instant_of(self.instance.origin, start),
                instant_of(self.instance.origin, end),
                machine,
                name(chamber),
                name(station),
                (name(person),) if person >= 0 else (),
                label,
            )
        )


def _build_tasks(writer: _Writer, placed: Placed, b: int) -> None:
    instance = writer.instance
    job = instance.builds[b]
    key, lines = job.key, tuple(ln.line for ln in instance.lines if job.key in ln.builds)
    machine, chamber = instance.machines[placed.machine[b]].name, int(placed.chamber[b])
    load, lift, unpack, clean = (int(x) for x in placed.at[b])
    door, lifted, unpacked, cleaned = (int(x) for x in placed.end[b])
    loads, lifts, unpacks, cleans = (int(x) for x in placed.by[b])
    printed, cold = int(placed.printed[b]), int(placed.cold[b])
    until = words(instance.origin, cold, instance.cell.zone)
    station = int(placed.station[b])

    def add(kind: TaskKind, start: int, end: int, person: int = -1, **more: Any) -> None:
        if (key, kind) not in instance.kept.of_build:
            writer.add(kind, key, lines, start, end, person=person, chamber=chamber, **more)

    add(TaskKind.LOAD, load, door, loads, machine=machine)
    add(TaskKind.PRINT, door, printed, machine=machine)
    add(TaskKind.COOL, printed, cold, label=f"may be opened from {until}")
    add(TaskKind.UNLOAD, lift, lifted, lifts, machine=machine)
    add(TaskKind.UNPACK, unpack, unpacked, unpacks, station=station)
    add(TaskKind.CLEAN, clean, cleaned, cleans)
    if instance.arrays.kept_at[b, 2] == UNSET and placed.clean_down[b] > 0:
        begins = unpack - int(placed.clean_down[b])
        writer.add(TaskKind.CLEAN_DOWN, key, lines, begins, unpack, person=unpacks, station=station)
    if job.test_min and (key, TaskKind.RESULT) not in instance.kept.of_build:
        test, tester, result = (int(x) for x in placed.test[b])
        tested = result - job.test_wait_min
        if (key, TaskKind.TEST) not in instance.kept.of_build:
            writer.add(TaskKind.TEST, key, lines, test, tested, person=tester)
        writer.add(TaskKind.RESULT, key, lines, tested, result)


def _machine_tasks(writer: _Writer, placed: Placed) -> None:
    """Changes of material and services, just before the loading that needs them; kept ones are there already."""
    instance, a = writer.instance, writer.instance.arrays
    for m, machine in enumerate(instance.machines):
        loaded = int(a.machine_material[m])
        stays = [b for b in range(len(instance.builds)) if placed.machine[b] == m]
        for b in sorted(stays, key=lambda b: int(placed.at[b, 0])):
            job, load = instance.builds[b], int(placed.at[b, 0])
            lines = tuple(ln.line for ln in instance.lines if job.key in ln.builds)
            if a.material[b] != loaded and a.kept_at[b, 0] == UNSET:
                begins, label = load - machine.changeover_min, f"to {job.material}"
                writer.add(TaskKind.CHANGE, job.key, lines, begins, load, machine=machine.name, label=label)
            if placed.serviced[b] >= 0:
                begins = int(placed.serviced[b])
                writer.add(TaskKind.SERVICE, job.key, lines, begins, begins + machine.service_min, machine=machine.name)
            loaded = int(a.material[b])


def _basket_tasks(writer: _Writer, placed: Placed, k: int) -> None:
    instance, a = writer.instance, writer.instance.arrays
    basket = instance.baskets[k]
    build = basket.builds[0] if len(basket.builds) == 1 else ""
    for s, step in zip(range(a.step_at[k], a.step_at[k + 1]), basket.finish.steps, strict=True):
        if a.kept_step[s, 0] > UNSET:
            _rest_of_kept(writer, basket, step, [int(x) for x in a.kept_step[s]], int(placed.step_station[s]))
            continue
        start, station = int(placed.step_start[s]), int(placed.step_station[s])
        hands, end = start + int(a.step_hands[s]), start + int(a.step_run[s])
        together = (placed.step_station == station) & (placed.step_start == start)
        shared = ", shared bath" if together.sum() > 1 else ""
        label = f"{basket.name}: {step.station_kind}{shared}"
        writer.add(
            TaskKind.FINISH, build, basket.lines, start, hands,
            person=int(placed.step_by[s]), station=station, label=label,
        )  # fmt: skip
        writer.add(TaskKind.FINISH, build, basket.lines, hands, end, station=station, label=f"{label} runs by itself")
        writer.add(TaskKind.WAIT, build, basket.lines, end, end + step.wait_min, label=f"{basket.name}: dries or cures")


def _rest_of_kept(writer: _Writer, basket: Basket, step: FinishStep, times: list[int], station: int) -> None:
    """What follows by itself on a kept step whose hands are done: the bath runs on, pieces dry."""
    start, end, over = times
    origin = writer.instance.origin
    kept = [t for t in writer.instance.kept.of_basket[basket.name] if minutes_after(origin, t.start) >= start]
    hands = next(t for t in kept if t.kind is TaskKind.FINISH)
    done = max(minutes_after(origin, t.end) for t in kept if minutes_after(origin, t.end) <= over)
    if done < end:
        writer.add(
            TaskKind.FINISH, hands.build, basket.lines, done, end, station=station,
            label=f"{hands.label} runs by itself",
        )  # fmt: skip
    if step.wait_min and done < over:
        writer.add(
            TaskKind.WAIT, hands.build, basket.lines, over - step.wait_min, over,
            label=f"{basket.name}: dries or cures",
        )  # fmt: skip


def _bench_tasks(writer: _Writer, placed: Placed, i: int) -> None:
    instance, a = writer.instance, writer.instance.arrays
    line = instance.lines[i]
    build = line.builds[0] if len(line.builds) == 1 else ""
    inspected = 0
    for op in range(a.op_at[i], a.op_at[i + 1]):
        minutes, start = int(a.op_hands[op]), int(placed.op_start[op])
        kind = TaskKind.INSPECT if inspected < line.inspect_min else TaskKind.PACK
        inspected += minutes
        if a.kept_op[op, 0] > UNSET:
            continue
        writer.add(kind, build, (line.line,), start, start + minutes, person=int(placed.op_by[op]))
