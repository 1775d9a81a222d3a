"""Note what happened to a task, for every page and command that does.

A held line is not packed, and a print has not begun before its labels were held against it or somebody did without.
"""

from __future__ import annotations

from datetime import datetime

from cakewright.app.hold_lines import refuse_held
from cakewright.app.start_labels import do_without, label_blocks, label_states
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.store import Store


def note_task(
    store: Store, plan: WeekPlan, *, kind: TaskKind, build: str = "", line: int | None = None,
    started: datetime | None = None, ended: datetime | None = None, at: datetime, by: str, without: str = "",
) -> int:  # fmt: skip
    """Note when a task really began or ended; the record's number.

    `without` is the reason for which a print began without the label of its chamber or powder can held against it.
    InputError for a task that the plan does not have, for packing while a line of it is held, with the reason, and
    for a print whose labels are wrong, or missing without a reason.
    """
    if kind is TaskKind.PACK and (started or ended):
        lines = (line,) if line is not None else plan.build(build).lines if build in _keys(plan) else ()
        for number in lines:
            refuse_held(store, plan, number)
    if kind is TaskKind.PRINT and (started or ended) and build in _keys(plan):
        _pass_labels(store, plan, build, without, by=by, at=at)
    return store.schedule.note_progress(
        plan=plan.version, kind=kind, build=build, line=line, started=started, ended=ended, at=at, by=by
    )


def labels_open(store: Store, plan: WeekPlan, build: str) -> tuple[str, ...]:
    """What the labels of a build still lack before its print may be noted as begun; () when that was noted before."""
    begun = any(n.build == build and n.kind is TaskKind.PRINT and n.started
                for n in store.schedule.progress_of(plan.version))  # fmt: skip
    return () if begun else label_blocks(store.floor.records(plan=plan.version, build=build))


def _pass_labels(store: Store, plan: WeekPlan, build: str, without: str, *, by: str, at: datetime) -> None:
    """The gate that a start asks too: labels, or a name with a reason for each that was not held."""
    if not labels_open(store, plan, build):
        return
    if without.strip():
        for state in label_states(store.floor.records(plan=plan.version, build=build)):
            if not state.is_right and state.without is None:
                do_without(store, plan, plan.build(build), state.what, reason=without, by=by, at=at)
    left = labels_open(store, plan, build)
    if left:
        raise InputError(
            f"the print of {build} cannot be noted as begun: {left[0]}",
            remedy="hold its labels against it on its start page, or say why it began without", where=build,
        )  # fmt: skip


def _keys(plan: WeekPlan) -> set[str]:
    return {b.key for b in plan.builds}
