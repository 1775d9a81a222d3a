"""What the floor asks of people this morning: upkeep, gauges, training, held lines, parts on the warp list."""

from __future__ import annotations

from datetime import datetime

from cakewright.app.authority import training_findings
from cakewright.app.gauges import due_findings, gauges
from cakewright.app.hold_lines import gates
from cakewright.app.upkeep import upkeep, upkeep_findings
from cakewright.app.warp_list import warp_findings
from cakewright.findings import Finding, Severity
from cakewright.model.plan import WeekPlan
from cakewright.store import Store

_ORDER = list(reversed(list(Severity)))


def floor_asks(store: Store, plan: WeekPlan, now: datetime) -> tuple[Finding, ...]:
    """Everything that is due, the gravest first."""
    today = now.astimezone(plan.cell.zone).date()
    found = [
        *upkeep_findings(upkeep(store, plan, now)),
        *due_findings(gauges(store), today),
        *training_findings(store, plan, today),
        *warp_findings(store, plan),
        *_held(store, plan),
    ]
    return tuple(sorted(found, key=lambda f: _ORDER.index(f.severity)))


def _held(store: Store, plan: WeekPlan) -> tuple[Finding, ...]:
    packable = {t.line for t in plan.promises if t.ready is not None}
    held = [g for n, g in gates(store, plan).items() if g.is_held and n in packable]
    if not held:
        return ()
    named = ", ".join(plan.line(g.line).key for g in held[:8]) + (" ..." if len(held) > 8 else "")
    return (Finding("floor.lines-held", Severity.WARNING, f"{named}: must not be packed yet", "held lines",
                    "see why on the page Held lines"),)  # fmt: skip
