"""The scale with which a build is drawn when its file is exported: approved changes from the build they begin with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from cakewright.app.build_files import write_build_files
from cakewright.documents.timeline import hours_of
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.cell import Machine
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.model.plan import WeekPlan
from cakewright.store import Store

AXES = "xyz"


def approvals(store: Store, machine: str) -> tuple[FloorRecord, ...]:
    """Approved changes of a machine's scale, in order of time."""
    return tuple(r for r in store.floor.records(kind=FloorKind.SCALE)
                 if (r.data["deed"], r.data["machine"]) == ("approved", machine))  # fmt: skip


def begins_with(approved: FloorRecord, plan: WeekPlan, build: Build) -> bool:
    """True when a build is drawn with an approved change: of a later plan, or from the named build of its plan on."""
    since, first = int(approved.data["from_plan"]), str(approved.data.get("from_build", ""))
    if plan.version != since or not first:
        return plan.version >= since
    return build in from_build(plan, first)


def from_build(plan: WeekPlan, first: str) -> tuple[Build, ...]:
    """The build `first` and those planned after it on its machine, in the order of their printing."""
    begin = plan.build(first)
    mine = [b for b in plan.builds if b.machine == begin.machine]
    return tuple(sorted((b for b in mine if _starts(plan, b) >= _starts(plan, begin)), key=lambda b: _starts(plan, b)))


def drawn_plan(store: Store, plan: WeekPlan, build: Build) -> WeekPlan:
    """The plan with the machine of `build` as it draws that build: the factors approved for it, the last one counts."""
    changes = [r for r in approvals(store, build.machine) if begins_with(r, plan, build)]
    if not changes:
        return plan
    machines = tuple(with_factors(m, changes) if m.name == build.machine else m for m in plan.cell.machines)
    return replace(plan, cell=replace(plan.cell, machines=machines))


def drawn_for(store: Store, plan: WeekPlan, key: str) -> WeekPlan:
    """The same for a build by its key; a key that the plan does not have leaves the plan as it is."""
    build = next((b for b in plan.builds if b.key == key), None)
    return plan if build is None else drawn_plan(store, plan, build)


def with_factors(machine: Machine, changes: Sequence[FloorRecord]) -> Machine:
    """The machine with the new factor of each approved change, the last one of an axis counts."""
    scale = list(machine.export_scale)
    for r in changes:
        scale[AXES.index(str(r.data["axis"]))] = float(r.data["new"])
    return replace(machine, export_scale=(scale[0], scale[1], scale[2]))


def export_build(store: Store, plan: WeekPlan, key: str, folder: Path) -> tuple[Path, Path]:
    """Write the 3MF and STL of a build for its machine, drawn with the scale in effect for it.

    InputError, with nothing written, for a strange build and when drawn pieces come nearer than the clearance.
    """
    build = next((b for b in plan.builds if b.key == key), None)
    if build is None:
        known = ", ".join(b.key for b in plan.builds)
        raise InputError(f"plan {plan.version} has no build {key[:20]!r}", remedy=f"one of: {known}")
    return write_build_files(drawn_plan(store, plan, build), build, folder)


def scale_words(store: Store, plan: WeekPlan, build: Build) -> str:
    """What differs from the file in the plan's folder, '' when nothing does."""
    here = plan.cell.machine(build.machine).export_scale
    now = drawn_plan(store, plan, build).cell.machine(build.machine).export_scale
    if here == now:
        return ""
    changed = ", ".join(f"{a} × {new:.5f} instead of {old:.5f}"
                        for a, old, new in zip(AXES, here, now, strict=True) if old != new)  # fmt: skip
    last = [r for r in approvals(store, build.machine) if begins_with(r, plan, build)][-1]
    return f"drawn {changed}, approved by {last.by} on {last.at:%Y-%m-%d}"


def _starts(plan: WeekPlan, build: Build) -> datetime:
    return hours_of(plan, build).print_start or datetime.max.replace(tzinfo=UTC)
