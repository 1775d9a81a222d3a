"""What somebody asks of a running week and waits for: plan again, what if, a stop, a new revision, more capacity.

Each question knows how it is answered; the answer changes nothing until somebody accepts it (`answer_questions`).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from cakewright.app.capacity import Outcome, UsePlot, ask_capacity, set_ups, use_plots
from cakewright.app.capacity_prices import WeekPrices
from cakewright.app.effort import effort_in_seconds
from cakewright.app.failure_desk import Cause, FailureDesk, failure_desk
from cakewright.app.keep_quotes import keep_quote
from cakewright.app.progress import Progress
from cakewright.app.replan import Replanned, replan_stored
from cakewright.app.revise_line import RevisionChange, revise_line
from cakewright.app.running import QUICK_STEPS, quick_rule
from cakewright.app.what_if import Change, WhatIf, what_if
from cakewright.model.plan import WeekPlan
from cakewright.stopping import Stop
from cakewright.store import Store

SEARCHING = "search"


@dataclass(frozen=True, slots=True)
class Revised:
    """What a new revision means, and the number of the quote under which its price is kept."""

    change: RevisionChange
    quote: int


@dataclass(frozen=True, slots=True)
class PlanAgain:
    """The rest of the week from `now`; `out` are names out of use with start and end; `free`: also what was told."""

    now: datetime
    out: tuple[tuple[str, datetime, datetime], ...] = ()
    free: bool = False

    def answer(self, store: Store, plan: WeekPlan, folder: Path, report: Progress) -> Replanned:
        """The week made again, not kept."""
        out = {name: [(a, b) for other, a, b in self.out if other == name] for name, _, _ in self.out}
        rule = _told(report)
        return replan_stored(store, self.now, version=plan.version, unavailable=out, stop=rule, free=self.free)


@dataclass(frozen=True, slots=True)
class AskWhatIf:
    """One change, from `now` on."""

    now: datetime
    change: Change

    def answer(self, store: Store, plan: WeekPlan, folder: Path, report: Progress) -> WhatIf:
        """Both weeks in numbers, nothing kept."""
        noted = store.schedule.progress_of(plan.version)
        return what_if(plan, self.change, now=self.now, progress=noted, stop=_told(report))


@dataclass(frozen=True, slots=True)
class HasStopped:
    """A build stopped after `layer` finished layers at `now`."""

    now: datetime
    build: str
    layer: int
    cause: Cause
    margin_mm: float | None = None

    def answer(self, store: Store, plan: WeekPlan, folder: Path, report: Progress) -> FailureDesk:
        """Fates, powder and ways out, nothing kept."""
        noted = store.schedule.progress_of(plan.version)
        return failure_desk(plan, self.build, self.layer, self.cause, now=self.now, margin_mm=self.margin_mm,
                            progress=noted, told=report)  # fmt: skip


@dataclass(frozen=True, slots=True)
class NewRevision:
    """A file in a new revision of an ordered line; `seconds` to search for a place, `by` keeps the quote."""

    now: datetime
    line: int
    file: str
    revision: str
    seconds: float
    by: str

    def answer(self, store: Store, plan: WeekPlan, folder: Path, report: Progress) -> Revised:
        """By piece, in money and days; the price is kept as a quote, plan and pieces are as before."""
        effort, noted = effort_in_seconds(self.seconds, time.monotonic), store.schedule.progress_of(plan.version)
        found = revise_line(plan, self.line, folder / self.file, self.revision, now=self.now, clock=time.monotonic,
                            noted=noted, effort=effort, progress=report)  # fmt: skip
        return Revised(found, keep_quote(store, found.offer, folder / self.file, at=self.now, by=self.by).number)


@dataclass(frozen=True, slots=True)
class Capacity:
    """What more of something would bring, and how full a build should be."""

    outcomes: tuple[Outcome, ...]
    uses: tuple[UsePlot, ...]


@dataclass(frozen=True, slots=True)
class MoreCapacity:
    """Another machine, chambers, a second shift, less virgin powder, at these prices a week."""

    prices: WeekPrices

    def answer(self, store: Store, plan: WeekPlan, folder: Path, report: Progress) -> Capacity:
        """Every set-up through the planner, nothing kept."""
        outcomes = ask_capacity(plan, set_ups(plan, self.prices), stop=quick_rule, told=report)
        return Capacity(outcomes, use_plots(plan))


Question = PlanAgain | AskWhatIf | HasStopped | NewRevision | MoreCapacity
Answer = Replanned | WhatIf | FailureDesk | Revised | Capacity


def _told(report: Progress) -> Callable[[], Stop]:
    """The rule of a search while somebody waits, which tells how far it is."""

    def made() -> Stop:
        rule, last = quick_rule(), -1

        def stop(steps: int, best: float) -> bool:
            nonlocal last
            if steps // 50 != last:
                last = steps // 50
                report(SEARCHING, min(steps, QUICK_STEPS), QUICK_STEPS)
            return rule(steps, best)

        return stop

    return made
