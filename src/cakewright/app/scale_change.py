"""Change a machine's scale only on evidence: ladders kept by build, a proposal when a rule fires, a person approves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import keep
from cakewright.errors import InputError
from cakewright.formats.lengths_csv import WantedLength
from cakewright.model.cell import Machine
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.quality.calibrate import Measured, ScaleProposal, fit_axis, propose_scale
from cakewright.store import Store

AXES = "xyz"
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
                found.append(_state(machine, number, mine))
    return tuple(found)


def approve(
    store: Store, plan: WeekPlan, machine: str, axis: str, *, by: str, at: datetime, note: str = "", uid: str = "",
    kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Take the proposal for an axis: the builds of the next plan are drawn with it. InputError when none stands.

    Whoever measured the last ladder does not approve it.
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
    data: dict[str, Value] = {
        "deed": "approved", "machine": machine, "axis": axis, "old": p.old_factor, "new": float(p.new_factor or 1.0),
        "reason": p.reason, "evidence": " ".join(p.evidence), "effect_mm": round(p.effect_mm, 4),
        "from_plan": (store.newest() or plan.version) + 1, "note": note.strip(),
    }  # fmt: skip
    return keep(store, plan, FloorKind.SCALE, data, by=by, at=at, uid=uid, kept_at=kept_at)


def with_approved_scale(machine: Machine, store: Store) -> Machine:
    """The machine with the factors that were approved last, for the files of the next plan."""
    scale = list(machine.export_scale)
    for r in store.floor.records(kind=FloorKind.SCALE):
        if (r.data["deed"], r.data["machine"]) == ("approved", machine.name):
            scale[AXES.index(str(r.data["axis"]))] = float(r.data["new"])
    return replace(machine, export_scale=(scale[0], scale[1], scale[2]))


def _state(machine: Machine, number: int, mine: Sequence[FloorRecord]) -> AxisState:
    axis = AXES[number]
    approved = next((r for r in reversed(mine) if r.data["deed"] == "approved"), None)
    since = int(approved.data["from_plan"]) if approved else 0
    factor = float(approved.data["new"]) if approved else machine.export_scale[number]
    last: dict[tuple[int, str], FloorRecord] = {}
    for r in mine:
        if r.data["deed"] == "ladder" and r.plan >= since:
            last[r.plan, r.build] = r
    ladders = tuple(
        Measured(f"{r.plan}-{r.build}", float(r.data["scale"]), machine.name, str(r.data["material"]),
                 str(r.data["blend"]), bool(r.data["opened_cold"]))
        for r in last.values()
    )  # fmt: skip
    return AxisState(machine.name, axis, factor, ladders, propose_scale(axis, ladders, old_factor=factor), approved)
