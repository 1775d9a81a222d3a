"""What workers do while somebody waits at the screen: keep a nest that was moved by hand, quote a part."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote

from cakewright.app.asked_quotes import quote_asked
from cakewright.app.keep_nest import keep_nest
from cakewright.app.move_part import Move
from cakewright.app.progress import Progress
from cakewright.model.cell import Cell
from cakewright.model.plan import WeekPlan


@dataclass(frozen=True, slots=True)
class Made:
    """What work has made: the page that shows it, and the plan version when it is one, whose papers are due."""

    place: str
    plan: int | None = None


def keep_moved(
    report: Progress, database: str, version: int, key: str, moves: Sequence[Move], pinned: Collection[str] | None,
    by: str, at: datetime,
) -> Made:  # fmt: skip
    """What a worker does: keep moves and pins as a new plan version; the page of the build in it."""
    from cakewright.app.running import quick_rule
    from cakewright.store import open_store

    report("proof, hours, heat and dates", 0, 1)
    with open_store(database) as store:
        kept = keep_nest(store, store.load_plan(version), key, moves, pinned, by=by, at=at, stop=quick_rule)
    report("proof, hours, heat and dates", 1, 1)
    return Made(f"plans/{kept.plan}/builds/{quote(key)}?kept={version}", kept.plan)


def make_quote(
    report: Progress, database: str, word: str, cell: Cell, plan: WeekPlan | None, now: datetime
) -> Made:  # fmt: skip
    """What a worker does: a quote of a file that was asked for; a stranger's file never meets the server itself."""
    return Made(f"quotes/{quote_asked(report, database, word, cell, plan, now)}")
