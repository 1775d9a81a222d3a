"""A label held against a build: what it is, and why it is wrong."""

from __future__ import annotations

from datetime import date

from cakewright.app.powder_blend import judge_can
from cakewright.app.powder_books import look
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import build_id
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.store import Store


def judge_label(store: Store, plan: WeekPlan, build: Build, code: str, today: date) -> tuple[str, str]:
    """What a code is, and why it is wrong ('' when it is right)."""
    text = code.removeprefix("cakewright:")
    hours = hours_of(plan, build)
    for chamber in plan.cell.chambers:
        if text.casefold() == chamber.name.casefold():
            return "chamber", _wrong_chamber(plan, build, chamber.name, hours.chamber)
    if text.casefold() == build.machine.casefold():  # a machine may be called like a build: its own machine is right
        return "machine", ""
    if (verdict := _wrong_traveller(plan, build, text)) is not None:
        return "traveller", verdict
    for can in look(store).ledger.containers:
        if text.casefold() in (can.casefold(), f"can/{can}".casefold()):
            return "powder", judge_can(store, plan, build.key, can, today)
    for machine in plan.cell.machines:
        if text.casefold() == machine.name.casefold():
            return "machine", f"this is {machine.name}, the build is for {build.machine}"
    return "label", f"{code[:40]!r} is no chamber, machine, can or traveller that is known: an unlabelled can is waste"


def _wrong_traveller(plan: WeekPlan, build: Build, text: str) -> str | None:
    """'' for the paper of this build (its QR code, or the build's key typed), why not for another; None: no paper."""
    right = build_id(plan, build.key).removeprefix("cakewright:")
    if text.casefold() in (right.casefold(), build.key.casefold(), f"plan-{plan.version}/{build.key}".casefold()):
        return ""
    if text.casefold().startswith(f"{right.casefold()}/"):  # a tray label of this build
        return ""
    other = next((b.key for b in plan.builds if text.casefold() == b.key.casefold()), None)
    if other is None and not text.startswith("plan-"):
        return None
    return f"it belongs to {other or text}, not to build {build.key} of plan {plan.version}"


def _wrong_chamber(plan: WeekPlan, build: Build, found: str, planned: str) -> str:
    chamber = next(c for c in plan.cell.chambers if c.name == found)
    if chamber.material != build.material:
        return f"{found} is kept for {chamber.material}, the build needs {build.material}"
    if chamber.type != build.chamber_type:
        return f"{found} is of size {chamber.type}, the build needs {build.chamber_type}"
    return "" if not planned or planned == found else f"planned is {planned}; {found} would fit: plan again with it"
