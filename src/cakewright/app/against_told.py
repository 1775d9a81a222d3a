"""What a plan changes against the one that people were told last."""

from __future__ import annotations

from collections.abc import Callable

from cakewright.model.plan import WeekPlan
from cakewright.schedule.difference import Difference, difference
from cakewright.store import Store


def against_told(
    store: Store, plan: WeekPlan, load: Callable[[int], WeekPlan]
) -> tuple[WeekPlan, Difference] | tuple[None, None]:
    """The plan told last, loaded by `load`, and the difference in words; (None, None) when it is `plan` or none was."""
    last = next(iter(store.schedule.commitments()), None)
    if last is None or last.plan == plan.version:
        return None, None
    told = load(last.plan)
    return told, difference(told.schedule, plan.schedule, told.promises, plan.promises, plan.cell.zone)
