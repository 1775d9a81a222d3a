"""From placed minutes to tasks with names and instants."""

from __future__ import annotations

from cakewright.model.plan import Task, TaskKind
from cakewright.schedule.calendars import instant_of, words
from cakewright.schedule.decode import Placed
from cakewright.schedule.instance import Instance


def make_tasks(instance: Instance, placed: Placed) -> tuple[Task, ...]:
    """All tasks in order of time; nothing that lasts no time is listed."""
    writer = _Writer(instance)
    for b in range(len(instance.builds)):
        _build_tasks(writer, placed, b)
    for k in range(len(instance.baskets)):
        _basket_tasks(writer, placed, k)
    for i in range(len(instance.lines)):
        _bench_tasks(writer, placed, i)
    return tuple(sorted(writer.tasks, key=lambda t: (t.start, t.end, t.kind, t.build, t.lines, t.label)))


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
    loads, lifts, unpacks, cleans = (int(x) for x in placed.by[b])
    door = load + job.load_min
    printed = door + job.print_min[machine]
    cold = printed + job.cool_min
    until = words(instance.origin, cold, instance.cell.zone)
    writer.add(TaskKind.LOAD, key, lines, load, door, person=loads, machine=machine, chamber=chamber)
    writer.add(TaskKind.PRINT, key, lines, door, printed, machine=machine, chamber=chamber)
    writer.add(TaskKind.COOL, key, lines, printed, cold, chamber=chamber, label=f"may be opened from {until}")
    writer.add(TaskKind.UNLOAD, key, lines, lift, lift + job.unload_min, person=lifts, machine=machine, chamber=chamber)
    writer.add(
        TaskKind.UNPACK,
        key,
        lines,
        unpack,
        unpack + job.unpack_min,
        person=unpacks,
        chamber=chamber,
        station=int(placed.station[b]),
    )
    writer.add(TaskKind.CLEAN, key, lines, clean, clean + job.clean_min, person=cleans, chamber=chamber)


def _basket_tasks(writer: _Writer, placed: Placed, k: int) -> None:
    instance, a = writer.instance, writer.instance.arrays
    basket = instance.baskets[k]
    build = basket.builds[0] if len(basket.builds) == 1 else ""
    for s, step in zip(range(a.step_at[k], a.step_at[k + 1]), basket.finish.steps, strict=True):
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


def _bench_tasks(writer: _Writer, placed: Placed, i: int) -> None:
    instance, a = writer.instance, writer.instance.arrays
    line = instance.lines[i]
    build = line.builds[0] if len(line.builds) == 1 else ""
    inspected = 0
    for op in range(a.op_at[i], a.op_at[i + 1]):
        minutes, start = int(a.op_hands[op]), int(placed.op_start[op])
        kind = TaskKind.INSPECT if inspected < line.inspect_min else TaskKind.PACK
        inspected += minutes
        writer.add(kind, build, (line.line,), start, start + minutes, person=int(placed.op_by[op]))
