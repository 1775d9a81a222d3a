"""Take a decision back: an earlier plan becomes the newest again, as a version of its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from cakewright.errors import InputError
from cakewright.store import Store


def take_back(store: Store, version: int, *, by: str, at: datetime) -> int:
    """Keep plan `version` once more as the newest; no version is lost. InputError when it is the newest already."""
    if store.newest() == version:
        raise InputError(f"plan {version} is the newest already", remedy="nothing has to be taken back", where="plan")
    plan = store.load_plan(version)
    said = f"plan {version} again, taken back by {by}"
    schedule = replace(plan.schedule, notes=(*plan.schedule.notes, said))
    return store.save_plan(replace(plan, schedule=schedule), made_by=by, at=at)
