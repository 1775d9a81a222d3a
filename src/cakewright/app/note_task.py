"""Note what happened to a task, for every page and command that does; a held line is not packed."""

from __future__ import annotations

from datetime import datetime

from cakewright.app.hold_lines import refuse_held
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.store import Store


def note_task(
    store: Store, plan: WeekPlan, *, kind: TaskKind, build: str = "", line: int | None = None,
    started: datetime | None = None, ended: datetime | None = None, at: datetime, by: str,
) -> int:  # fmt: skip
    """Note when a task really began or ended; the record's number.

    InputError for a task that the plan does not have, and for packing while a line of it is held, with the reason.
    """
    if kind is TaskKind.PACK and (started or ended):
        lines = (line,) if line is not None else plan.build(build).lines if build in _keys(plan) else ()
        for number in lines:
            refuse_held(store, plan, number)
    return store.schedule.note_progress(
        plan=plan.version, kind=kind, build=build, line=line, started=started, ended=ended, at=at, by=by
    )


def _keys(plan: WeekPlan) -> set[str]:
    return {b.key for b in plan.builds}
