"""Tasks by name, and what comes before one in its own work: a build's steps, a basket's baths, a line's bench."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from cakewright.app.begun_tasks import BENCH
from cakewright.errors import InputError
from cakewright.model.plan import Task, TaskKind, WeekPlan

WORD = {
    TaskKind.LOAD: "load", TaskKind.PRINT: "print", TaskKind.COOL: "cool", TaskKind.UNLOAD: "lift",
    TaskKind.UNPACK: "unpack", TaskKind.CLEAN: "clean", TaskKind.TEST: "test", TaskKind.RESULT: "result",
    TaskKind.CHANGE: "change", TaskKind.SERVICE: "service", TaskKind.CLEAN_DOWN: "clean-down",
    TaskKind.INSPECT: "inspect", TaskKind.PACK: "pack",
}  # fmt: skip
_BEFORE = {
    TaskKind.LOAD: (),
    TaskKind.PRINT: (),
    TaskKind.UNLOAD: (TaskKind.SERVICE, TaskKind.CHANGE, TaskKind.LOAD),
    TaskKind.UNPACK: (TaskKind.SERVICE, TaskKind.CHANGE, TaskKind.LOAD, TaskKind.UNLOAD),
}
_OUT = (*_BEFORE[TaskKind.UNPACK], TaskKind.CLEAN_DOWN, TaskKind.UNPACK)  # everything until a build is unpacked
_BENCH_AFTER = (TaskKind.INSPECT, TaskKind.PACK)


def task_names(plan: WeekPlan) -> dict[str, Task]:
    """Every task of a plan under its name: 'B3/load', 'basket 2/1', 'L07/inspect/1', in order of time."""
    names: dict[str, Task] = {}
    counts: dict[str, int] = {}
    for task in sorted(plan.schedule.tasks, key=lambda t: (t.start, t.end, t.kind, t.label)):
        name = chain_name(task)
        if task.kind in BENCH or task.kind in _BENCH_AFTER:
            counts[name] = counts.get(name, 0) + 1
            name = f"{name}/{counts[name]}"
        names.setdefault(name, task)
    return names


def task_name(plan: WeekPlan, task: Task) -> str:
    """The name under which `named_task` finds the task again."""
    return next(name for name, other in task_names(plan).items() if other == task)


def named_task(plan: WeekPlan, name: str) -> Task:
    """The task of that name; without a number the first of several. InputError when there is none."""
    names = task_names(plan)
    task = names.get(name) or names.get(f"{name}/1")
    if task is None:
        begin = name.partition("/")[0]
        near = ", ".join(n for n in names if n.partition("/")[0] == begin) or ", ".join(list(names)[:6])
        raise InputError(f"there is no task {name[:40]!r} in plan {plan.version}", remedy=f"use one of: {near}")
    return task


def chain_name(task: Task) -> str:
    """What a task belongs to and its kind: 'B3/load', 'basket 2', 'L07/pack'."""
    if task.kind in BENCH:
        return task.label.partition(":")[0]
    if task.kind in _BENCH_AFTER:
        return f"L{task.lines[0]:02d}/{WORD[task.kind]}"
    return f"{task.build}/{WORD[task.kind]}"


def moved_together(plan: WeekPlan, task: Task) -> tuple[Task, ...]:
    """The task and, for a bath that several baskets share, the same run of the other baskets."""
    if task.kind is not TaskKind.FINISH:
        return (task,)
    run = (task.start, task.end, task.station, task.people, task.label.partition(":")[2])
    return tuple(
        t
        for t in plan.schedule.tasks
        if t.kind is TaskKind.FINISH and (t.start, t.end, t.station, t.people, t.label.partition(":")[2]) == run
    )


def before_it(plan: WeekPlan, task: Task) -> tuple[Task, ...]:
    """Everything that comes before a task in its own work, as planned, in order of time."""
    if task.kind in BENCH or task.kind in _BENCH_AFTER:
        found = _before_bench(plan, task)
    else:
        kinds = _BEFORE.get(task.kind, _OUT)
        found = {t for t in plan.schedule.of_build(task.build) if t.kind in kinds}
    return tuple(sorted(found - {task}, key=lambda t: (t.start, t.end)))


def _before_bench(plan: WeekPlan, task: Task) -> set[Task]:
    """Unpacking of all builds, the baskets, and the bench work before it."""
    baskets = [t for t in plan.schedule.tasks if t.kind in BENCH]
    mates = set(task.lines)
    if task.kind in _BENCH_AFTER:
        own = [t for t in baskets if set(t.lines) & set(task.lines)]
        found = set(own) | _bench_before(plan, task)
        mates |= {n for t in own for n in t.lines}
    else:
        basket = chain_name(task)
        found = {t for t in baskets if chain_name(t) == basket and (t.start, t.end) < (task.start, task.end)}
    tests = (TaskKind.TEST, TaskKind.RESULT) if task.kind is TaskKind.PACK else ()
    return found | _of_builds(plan, mates, (*_OUT, *tests))


def _bench_before(plan: WeekPlan, task: Task) -> set[Task]:
    return {
        t
        for t in plan.schedule.tasks
        if t.kind in _BENCH_AFTER and t.lines == task.lines and (t.start, t.end) < (task.start, task.end)
    }


def _of_builds(plan: WeekPlan, lines: Iterable[int], kinds: Collection[TaskKind]) -> set[Task]:
    keys = {b.key for n in lines for b in plan.builds_of(n)}
    return {t for t in plan.schedule.tasks if t.build in keys and t.kind in kinds}
