"""Change a machine's scale only on evidence: ladders kept by build, a proposal when a rule fires, a person approves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.build_files import prove_drawn_gaps
from cakewright.app.changed_build import refuse_begun
from cakewright.app.floor_note import keep
from cakewright.app.scale_in_effect import AXES, approvals, begins_with, drawn_plan, from_build, with_factors
from cakewright.errors import InputError
from cakewright.formats.lengths_csv import WantedLength
from cakewright.model.build import Build
from cakewright.model.cell import Machine
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.quality.calibrate import Measured, ScaleProposal, fit_axis, propose_scale
from cakewright.store import Store
from cakewright.store.schedule import Progress

_LEAST_LENGTHS = 3


@dataclass(frozen=True, slots=True)
class AxisState:
    """One axis of a machine: its ladders since the last change, what follows from them, the last approval."""

    machine: str
    axis: str
    factor: float
    ladders: tuple[Measured, ...]
    proposal: ScaleProposal
    approved: FloorRecord | None


def keep_ladder(
    store: Store, plan: WeekPlan, key: str, lengths: Sequence[WantedLength], *, by: str, at: datetime
) -> tuple[FloorRecord, ...]:  # fmt: skip
    """Keep what outside lengths of pieces of a build say about the scale of each axis, against the wanted size.

    The group is kept with it: machine, material, virgin share of the blend, and whether the cake was opened cold.
    InputError for a strange build or fewer than three unlike outside lengths along every axis.
    """
    build = next((b for b in plan.builds if b.key == key), None)
    if build is None:
        known = ", ".join(b.key for b in plan.builds)
        raise InputError(f"plan {plan.version} has no build {key[:20]!r}", remedy=f"one of: {known}")
    early = store.floor.records(plan=plan.version, build=key, kind=FloorKind.OPENED_EARLY)
    kept = []
    for number, axis in enumerate(AXES):
        mine = [m for m in lengths if m.axis == number and not m.is_hole]
        if len({round(m.wanted_mm, 3) for m in mine}) < _LEAST_LENGTHS:
            continue
        fit = fit_axis([m.wanted_mm for m in mine], [m.measured_mm for m in mine])
        data: dict[str, Value] = {
            "deed": "ladder", "machine": build.machine, "axis": axis, "scale": fit.scale, "offset_mm": fit.offset_mm,
            "lengths": len(mine), "material": build.material, "blend": f"{build.powder.refresh_ratio:.0%} virgin",
            "opened_cold": 0 if early else 1,
        }  # fmt: skip
        kept.append(keep(store, plan, FloorKind.SCALE, data, by=by, at=at, build=key))
    if not kept:
        raise InputError("no axis has three unlike outside lengths", remedy="measure short and long ones along an axis")
    return tuple(kept)


def axis_states(store: Store, plan: WeekPlan) -> tuple[AxisState, ...]:
    """Every axis of every machine of the plan for which a ladder was kept or a change approved."""
    records = store.floor.records(kind=FloorKind.SCALE)
    found = []
    for machine in plan.cell.machines:
        for number, axis in enumerate(AXES):
            mine = [r for r in records if (r.data["machine"], r.data["axis"]) == (machine.name, axis)]
            if mine:
                found.append(_state(store, machine, number, mine))
    return tuple(found)


def approve(
    store: Store, plan: WeekPlan, machine: str, axis: str, *, by: str, at: datetime, note: str = "", first: str = "",
    uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Take the proposal for an axis: drawn with it from the build `first` of this plan on ('': from the next plan on).

    InputError when no change is proposed, for whoever measured the last ladder, when `first` has begun or is printed on
    another machine, and when its pieces or those after it would then come nearer than the clearance.
    """
    require(store, by, Step.SCALE, at.date())
    state = next((s for s in axis_states(store, plan) if (s.machine, s.axis) == (machine, axis)), None)
    if state is None or state.proposal.new_factor is None:
        reason = state.proposal.reason if state else "nothing was measured"
        raise InputError(f"no change of {machine[:20]} {axis[:5]} is proposed: {reason}", remedy="nothing to approve")
    ladders = [r for r in store.floor.records(kind=FloorKind.SCALE)
               if (r.data["deed"], r.data["machine"], r.data["axis"]) == ("ladder", machine, axis)]  # fmt: skip
    if ladders[-1].by.casefold() == by.strip().casefold():
        raise InputError(f"{by.strip()} measured it", remedy="a second person approves", where="by")
    p = state.proposal
    if first:
        _check_first(store, plan, machine, first, at)
    data: dict[str, Value] = {
        "deed": "approved", "machine": machine, "axis": axis, "old": p.old_factor, "new": float(p.new_factor or 1.0),
        "reason": p.reason, "evidence": " ".join(p.evidence), "effect_mm": round(p.effect_mm, 4),
        "from_plan": plan.version if first else (store.newest() or plan.version) + 1, "from_build": first,
        "note": note.strip(),
    }  # fmt: skip
    asked = FloorRecord("", plan.version, FloorKind.SCALE, by, at, first, data=data)
    for build in from_build(plan, first) if first else ():
        drawn = drawn_plan(store, plan, build)
        machines = tuple(with_factors(m, [asked]) if m.name == machine else m for m in drawn.cell.machines)
        prove_drawn_gaps(replace(drawn, cell=replace(drawn.cell, machines=machines)), build)
    return keep(store, plan, FloorKind.SCALE, data, by=by, at=at, build=first, uid=uid, kept_at=kept_at)


def may_begin(store: Store, plan: WeekPlan, machine: str, now: datetime) -> tuple[str, ...]:
    """Builds of a machine that have not begun, in the order of their printing: a change may begin with each of them."""
    mine = [b for b in plan.builds if b.machine == machine]
    ordered = sorted(mine, key=lambda b: -len(from_build(plan, b.key)))
    progress = store.schedule.progress_of(plan.version)
    return tuple(b.key for b in ordered if not _has_begun(plan, b, now, progress))


def with_approved_scale(machine: Machine, store: Store) -> Machine:
    """The machine with the factors that were approved last, for the files of the next plan."""
    return with_factors(machine, approvals(store, machine.name))


def _check_first(store: Store, plan: WeekPlan, machine: str, first: str, at: datetime) -> None:
    can = may_begin(store, plan, machine, at)
    if first not in can:
        raise InputError(
            f"{first[:20]!r} of plan {plan.version} is no build of {machine} that has not begun",
            remedy=f"one of: {', '.join(can)}" if can else "leave it empty: from the next plan on", where="first",
        )  # fmt: skip


def _has_begun(plan: WeekPlan, build: Build, now: datetime, progress: Sequence[Progress]) -> bool:
    try:
        refuse_begun(plan, build, now, progress)
    except InputError:
        return True
    return False


def _state(store: Store, machine: Machine, number: int, mine: Sequence[FloorRecord]) -> AxisState:
    axis = AXES[number]
    approved = next((r for r in reversed(mine) if r.data["deed"] == "approved"), None)
    factor = float(approved.data["new"]) if approved else machine.export_scale[number]
    last: dict[tuple[int, str], FloorRecord] = {}
    for r in mine:
        if r.data["deed"] == "ladder" and (approved is None or _drawn_with(store, approved, r)):
            last[r.plan, r.build] = r
    ladders = tuple(
        Measured(f"{r.plan}-{r.build}", float(r.data["scale"]), machine.name, str(r.data["material"]),
                 str(r.data["blend"]), bool(r.data["opened_cold"]))
        for r in last.values()
    )  # fmt: skip
    return AxisState(machine.name, axis, factor, ladders, propose_scale(axis, ladders, old_factor=factor), approved)


def _drawn_with(store: Store, approved: FloorRecord, ladder: FloorRecord) -> bool:
    """True when the build of a ladder was drawn with an approved change."""
    if ladder.plan != int(approved.data["from_plan"]) or not approved.data.get("from_build"):
        return ladder.plan >= int(approved.data["from_plan"])
    plan = store.load_plan(ladder.plan)
    return begins_with(approved, plan, plan.build(ladder.build))
