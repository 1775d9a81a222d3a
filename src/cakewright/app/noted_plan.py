"""A plan as it is known to have gone: tasks that somebody noted stand where they really were, the rest as planned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.store.schedule import Progress

Work = tuple[TaskKind, str, int | None]


def as_noted(plan: WeekPlan, progress: Sequence[Progress], at: datetime) -> WeekPlan:
    """The plan with noted begins and ends at an instant; what nobody spoke of is taken as planned.

    A task that began at another hour takes as long as planned; one that was noted as not begun cannot begin before
    `at`. Nothing that follows is moved: planning again does that.
    """
    said = {(p.kind, p.build, p.line): p for p in progress if p.at <= at}
    if not said:
        return plan
    tasks = tuple(_moved(task, _word(task, said), at) for task in plan.schedule.tasks)
    return replace(plan, schedule=replace(plan.schedule, tasks=tasks))


def _word(task: Task, said: Mapping[Work, Progress]) -> Progress | None:
    of_line = next((w for n in task.lines if (w := said.get((task.kind, "", n))) is not None), None)
    return said.get((task.kind, task.build, None)) or said.get((task.kind, task.build, _only(task))) or of_line


def _only(task: Task) -> int | None:
    return task.lines[0] if len(task.lines) == 1 else None


def _moved(task: Task, word: Progress | None, at: datetime) -> Task:
    if word is None:
        return task
    lasts = task.end - task.start
    if word.started is None and word.ended is None:
        start = max(task.start, at)
        return replace(task, start=start, end=start + lasts)
    start = word.started or min(task.start, word.ended or task.start)
    return replace(task, start=start, end=word.ended or start + lasts)
