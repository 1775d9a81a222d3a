"""The invented week with a class that wants specimens: the clips of line 5 are the bars."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from cakewright.app import run_build
from cakewright.app.start_labels import do_without
from cakewright.model.plan import Task, TaskKind, WeekPlan
from tests.documents.world import START, week

NOW = START + timedelta(hours=1)


def week_with_bars() -> WeekPlan:
    """Class standard asks for a test; line 5 (six upright clips in B1) is flagged as specimens, B2 has none."""
    plan = week()
    classes = tuple(
        replace(c, specimen_min=30, specimen_wait_min=600) if c.name == "standard" else c for c in plan.cell.classes
    )
    lines = tuple(
        replace(line, flags=("witness",), quality_class="draft") if line.line == 5 else line
        for line in plan.orders.lines
    )
    at = lambda h: START + timedelta(hours=h)  # noqa: E731
    more = (
        Task(TaskKind.TEST, "B1", (), at(28.75), at(29.25), people=("Mira",)),
        Task(TaskKind.RESULT, "B1", (), at(29.25), at(39.25)),
        *(Task(TaskKind.PACK, "", (n,), at(51), at(51.5), people=("Mira",)) for n in (1, 2, 3)),
    )
    return replace(
        plan,
        cell=replace(plan.cell, classes=classes),
        orders=replace(plan.orders, lines=lines),
        schedule=replace(plan.schedule, tasks=(*plan.schedule.tasks, *more)),
        version=1,
        made_by="Mira",
    )


def hold_labels(store, plan, build, by="Jon"):
    """The chamber is held against the build; the cell keeps no powder books, so a name stands for its can."""
    chamber = next(t.chamber for t in plan.schedule.of_build(build.key) if t.chamber)
    run_build.scan(store, plan, build, chamber, by=by, at=NOW)
    do_without(store, plan, build, "powder", reason="no powder books are kept", by=by, at=NOW)


def make_ready(store, plan, build, by="Jon"):
    """Released, every check fine, labels held: it may start."""
    run_build.release(store, plan, build, by=by, at=NOW)
    for point in run_build.run_state(store, plan, build).checks:
        run_build.say_check(store, plan, build, point.key, by=by, at=NOW)
    hold_labels(store, plan, build, by)
