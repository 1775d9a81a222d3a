"""Where are my parts: the stage of each line of one order, said so that it may be told to the customer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cakewright.errors import InputError
from cakewright.model.plan import LinePromise, Task, TaskKind, WeekPlan
from cakewright.store.schedule import Progress

SAID = {
    TaskKind.LOAD: "machine is being prepared",
    TaskKind.PRINT: "being printed",
    TaskKind.COOL: "cooling down",
    TaskKind.UNLOAD: "cooling down",
    TaskKind.UNPACK: "being taken out of the powder",
    TaskKind.FINISH: "in finishing",
    TaskKind.WAIT: "in finishing",
    TaskKind.TEST: "specimens are being tested",
    TaskKind.RESULT: "specimens are being tested",
    TaskKind.INSPECT: "being inspected",
    TaskKind.PACK: "being packed",
}
WAITING, PACKED, UNPLANNED = "waiting for its place in a machine", "packed", "no date yet: we shall call"


@dataclass(frozen=True, slots=True)
class LineStage:
    """One line as its customer may see it. `noted` says whether somebody confirmed the stage, not only the plan."""

    line: int
    title: str
    quantity: int
    due: str
    stage: str
    noted: bool
    promise: LinePromise | None


def order_stages(
    plan: WeekPlan, order: str, at: datetime, progress: tuple[Progress, ...] = ()
) -> tuple[str, tuple[LineStage, ...]]:
    """The customer of `order` and the stage of each of its lines at the moment `at`.

    A stage is what was noted last, or else what the plan has begun by then. InputError for an unknown order.
    """
    lines = [line for line in plan.orders.lines if line.order == order]
    if not lines:
        raise InputError(f"there is no order {order[:40]!r}", remedy="choose one on the page of papers", where="order")
    dates = {p.line: p for p in plan.promises}
    stages = []
    for line in lines:
        stage, noted = _stage(plan, line.line, at, progress)
        stages.append(LineStage(line.line, line.title, line.quantity, line.due.isoformat(), stage, noted,
                                dates.get(line.line)))  # fmt: skip
    return lines[0].customer, tuple(stages)


def _stage(plan: WeekPlan, line: int, at: datetime, progress: tuple[Progress, ...]) -> tuple[str, bool]:
    mine = sorted(
        (t for t in plan.schedule.tasks if line in t.lines and t.kind in SAID), key=lambda t: (t.start, t.end)
    )
    if not mine:
        return UNPLANNED, False
    said = {(p.kind, p.build, p.line): p for p in progress}
    begun = [(t, *_times(t, line, said)) for t in mine]
    noted = [(t, ended) for t, started, ended, known in begun if known and started is not None and started <= at]
    if noted:
        task, ended = noted[-1]
        later = [t for t in mine if t.start >= task.end and t.start <= at] if ended is not None and ended <= at else []
        if later:
            return _word(later[-1], at), False
        return (PACKED if task.kind is TaskKind.PACK and ended is not None else SAID[task.kind]), True
    by_plan = [t for t in mine if t.start <= at and (t.kind, *_about(t, line)) not in said]
    return (_word(by_plan[-1], at), False) if by_plan else (WAITING, False)


def _word(task: Task, at: datetime) -> str:
    return PACKED if task.kind is TaskKind.PACK and task.end <= at else SAID[task.kind]


def _times(
    task: Task, line: int, said: dict[tuple[TaskKind, str, int | None], Progress]
) -> tuple[datetime | None, datetime | None, bool]:
    note = said.get((task.kind, *_about(task, line)))
    return (None, None, False) if note is None else (note.started, note.ended, True)


def _about(task: Task, line: int) -> tuple[str, int | None]:
    return ("", line) if task.kind in {TaskKind.INSPECT, TaskKind.PACK} else (task.build, None)
