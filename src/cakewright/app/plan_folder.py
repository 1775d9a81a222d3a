"""The folder of a plan that is in the database already: the papers of a plan made again, with what changed at the top.

A plan made again, a way out after a stop, a moved task: each is a version like any other and gets the same papers,
files and calendars, in a folder of its own beside the database.
"""

from __future__ import annotations

from datetime import datetime
from functools import partial
from pathlib import Path

from cakewright.app.powder_slips import write_slips
from cakewright.app.progress import Progress, quiet
from cakewright.app.replan import AGAIN_FROM
from cakewright.app.scale_in_effect import drawn_plan
from cakewright.app.write_plan import place_folder, write_folder
from cakewright.documents.what_changed import Changed
from cakewright.errors import StoreError
from cakewright.model.plan import WeekPlan
from cakewright.schedule.difference import difference
from cakewright.store import Store


def base_of(plan: WeekPlan) -> int | None:
    """The version that a plan was made from, None for a week planned from nothing."""
    notes = [note for note in plan.schedule.notes if note.startswith(AGAIN_FROM)]
    version = notes[-1].removeprefix(AGAIN_FROM).partition(":")[0] if notes else ""
    return int(version) if version.isdecimal() else None


def change_of(store: Store, plan: WeekPlan) -> Changed | None:
    """What a plan changes against the one it was made from, None when it was made from none that is still kept."""
    base = base_of(plan)
    if base is None or base not in {summary.version for summary in store.plans()}:
        return None
    before = store.load_plan(base)
    told = difference(before.schedule, plan.schedule, before.promises, plan.promises, plan.cell.zone)
    return Changed(base, told.headline, tuple(m.text for m in told.lines), tuple(m.text for m in told.tasks))


def write_papers(
    store: Store, version: int, *, at: datetime, progress: Progress = quiet, out: Path | None = None
) -> Path:
    """Write `plan-NNN/` of a stored plan beside its database (or in `out`), whole or not at all; the folder.

    A folder that is there already is left as it is. StoreError when it cannot be written; the plan itself is safe.
    """
    folder = Path(store.folder) if out is None else out
    final = folder / f"plan-{version:03d}"
    if final.exists():
        return final
    plan = store.load_plan(version)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        written = write_folder(plan, folder, at, progress, change_of(store, plan), partial(drawn_plan, store))
        write_slips(store, plan, written / "papers", at.date())
        place_folder(written, final)
    except OSError as wrong:
        raise StoreError(
            f"the papers of plan {version} cannot be written: {wrong.strerror}",
            remedy=f"make room, then `cakewright papers --plan {version}`; the plan itself is kept",
            where=str(folder),
        ) from wrong
    return final
