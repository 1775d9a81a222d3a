"""What the records say about the inspection of a line, gathered for its report."""

from __future__ import annotations

from cakewright.app.inspect_line import Reading, verdict_of
from cakewright.documents.inspection_report import Inspected, InspectedSize
from cakewright.model.plan import WeekPlan
from cakewright.store import Store

_WORDS = {"open": "not all of the sample is measured", "accept": "the sample is good", "reject": "the sample is bad"}


def inspected(store: Store, plan: WeekPlan, line: int) -> Inspected | None:
    """The sample, the values by characteristic and piece, the verdict; None for a line without pieces."""
    if not plan.builds_of(line):
        return None
    seen = verdict_of(store, plan, line)
    names: dict[str, list[Reading]] = {}
    for r in seen.readings:
        names.setdefault(r.name, []).append(r)
    people = ", ".join(dict.fromkeys(r.by for r in seen.readings)) or "nobody yet"
    sizes = tuple(_size(name, found) for name, found in names.items())
    return Inspected(seen.sample.lot, len(seen.sample.pieces), seen.sample.rule, seen.still_open, sizes,
                     _WORDS[seen.word], people)  # fmt: skip


def _size(name: str, found: list[Reading]) -> InspectedSize:
    last = found[-1]
    limits = " to ".join("–" if x is None else f"{x:g}" for x in (last.low, last.high))
    gauges = ", ".join(dict.fromkeys(r.gauge for r in found if r.gauge))
    return InspectedSize(name, limits, gauges, {r.piece: f"{r.value:g}" for r in found},
                         all(r.is_good for r in found))  # fmt: skip
