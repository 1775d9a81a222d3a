"""Powder slips of a plan with the cans of the shelf on them, one build after the other as they are loaded."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from cakewright.app.powder_books import look
from cakewright.app.powder_rules import BlendMode, build_rule
from cakewright.documents.powder_slip import powder_slip_pdf
from cakewright.documents.timeline import hours_of
from cakewright.errors import InputError
from cakewright.model.plan import WeekPlan
from cakewright.powder.blend import Blend, Can, work_out_blend
from cakewright.store import Store


def week_blends(store: Store, plan: WeekPlan, today: date) -> dict[str, Blend]:
    """Blends for the builds of a plan in the order of their loads; each takes what the ones before left.

    A build for which the shelf does not reach has none: its slip says kilograms only. Powder that will come
    back from earlier builds of the plan does not count, since nobody knows yet in which can.
    """
    view = look(store)
    if view.is_empty:
        return {}
    left: dict[str, list[Can]] = {m: list(view.for_blending(m, today)) for m in view.materials()}
    found = {}
    for build in sorted(plan.builds, key=lambda b: (hours_of(plan, b).load or plan.start, b.key)):
        cans = left.get(build.material, [])
        try:
            blend = work_out_blend(
                cans,
                charge_kg=round(build.powder.charge_kg, 2),
                rule=build_rule(plan, build, BlendMode.FIXED),
            )
        except InputError:
            continue  # what is short is a finding of the plan already
        found[build.key] = blend
        taken = {p.can: p.kg for p in blend.picks}
        left[build.material] = [replace(c, kg=round(c.kg - taken.get(c.key, 0.0), 6)) for c in cans]
    return found


def write_slips(store: Store, plan: WeekPlan, papers: Path, today: date) -> None:
    """Write the slips that can name cans into `papers`, in place of those that only know kilograms."""
    for key, blend in week_blends(store, plan, today).items():
        (papers / f"{key}-powder-slip.pdf").write_bytes(powder_slip_pdf(plan, key, blend))


def slip_pdf(store: Store, plan: WeekPlan, build_key: str, today: date) -> bytes:
    """The slip of one build, with cans when the shelf reaches."""
    return powder_slip_pdf(plan, build_key, week_blends(store, plan, today).get(build_key))
