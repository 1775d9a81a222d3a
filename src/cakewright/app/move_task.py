"""Move one task: what somebody drags on the calendar becomes a whole plan that can be carried out, or a reason why not.

Nothing is changed until the proposal is accepted. The moved task stands where it was put; what comes before it in its
own work stays where it is; everything else is mended around it, with as few moves as the dates allow. The result is
judged by the independent validator with the moved task questioned like any other.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from cakewright.app.begun_tasks import begun_tasks
from cakewright.app.replan import Replanned, accept, jobs_of, replan, weighted_late_min
from cakewright.app.task_chain import chain_name, named_task
from cakewright.app.task_pins import loading_of, pins_of
from cakewright.app.task_place import Refusal
from cakewright.app.trained_cell import as_trained
from cakewright.documents.words import moment
from cakewright.errors import CakewrightError, InputError
from cakewright.model.plan import Task, WeekPlan
from cakewright.schedule.instance import origin_of
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.validate import validate
from cakewright.sources.promise import COMMIT_HOURS
from cakewright.stopping import MaxSteps, Stop
from cakewright.store import Store
from cakewright.store.schedule import Progress

Work = tuple[Sequence[BuildJob], Sequence[LineJob]]
MOVE_STEPS = 300
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d[+-]\d\d:\d\d")


@dataclass(frozen=True, eq=False)
class MoveProposal:
    """The answer to one move; nothing is kept yet.

    `asked` is the task as planned, `moved` as somebody wants it. When it can be done, `made` holds the whole plan with
    the difference in words and `refused` is ''. Otherwise `made` is None, `refused` says why in words, `remedy` what to
    do, and `soonest` (if known) from when on it would go. `late_min` is the weighted lateness before and after.
    """

    version: int
    asked: Task
    moved: Task
    made: Replanned | None
    refused: str = ""
    remedy: str = ""
    soonest: datetime | None = None
    late_min: tuple[float, float] = (0.0, 0.0)

    @property
    def is_possible(self) -> bool:
        """True when there is a plan to accept."""
        return self.made is not None

    @property
    def text(self) -> str:
        """The difference in words, or the reason why not and what to do."""
        if self.made is None:
            return f"{self.refused}\n{self.remedy}" if self.remedy else self.refused
        return self.made.difference.text


def propose_move(
    store: Store,
    version: int | None,
    task: Task | str,
    *,
    start: datetime | None = None,
    machine: str | None = None,
    chamber: str | None = None,
    station: str | None = None,
    now: datetime,
    stop: Callable[[], Stop] | None = None,
) -> MoveProposal:
    """What moving one task of a stored plan would make of the week; nothing is changed.

    Parameters
    ----------
    version
        The plan, the newest when None.
    task
        A task of the plan, or its name: 'B3/load', 'B3/print', 'B3/lift', 'B3/unpack', 'B3/clean', 'B3/test',
        'basket 2/1' (its first step), 'L07/inspect', 'L07/pack/2' (`task_chain.chain_name` gives the name of a task).
    start
        New start with a time zone; unchanged when None. For a print it is the end of loading: the loading moves along.
    machine, chamber
        Another machine or chamber for a loading or print; the chamber is chosen when only the machine is given.
    station
        Another station for unpacking or a step of finishing.
    now
        The present moment: what has begun is not moved, nothing is put before it.
    stop
        Makes the stop rule of each of the two searches; the default counts steps, so the same move gives the same plan.

    Raises
    ------
    InputError
        When there is no such task, or nothing is asked of it. What cannot be done is an answer, not an error.
    """
    plan = as_trained(store.load_plan(version), store)
    notes = store.schedule.progress_of(plan.version)
    told = any(c.plan == plan.version for c in store.schedule.commitments())
    until = now + timedelta(hours=COMMIT_HOURS.value) if told else None
    return move_in_plan(plan, task, start=start, machine=machine, chamber=chamber, station=station, now=now, stop=stop,
                        progress=notes, committed_until=until)  # fmt: skip


def check_move(store: Store, proposal: MoveProposal) -> None:
    """InputError when a move cannot be done, or when another plan has been kept since it was proposed."""
    if proposal.made is None:
        raise InputError(proposal.refused, remedy=proposal.remedy or "move it elsewhere", where="task")
    newest = store.newest()
    if newest is not None and newest != proposal.version:
        raise InputError(
            f"plan {newest} has been kept since this move of plan {proposal.version} was proposed",
            remedy=f"look at plan {newest} and move the task there",
            where="plan",
        )


def accept_move(store: Store, proposal: MoveProposal, *, by: str, at: datetime) -> int:
    """Keep the plan of a proposal as a new version, and return its number.

    InputError when it cannot be done, or when another plan has been kept since it was proposed.
    """
    check_move(store, proposal)
    assert proposal.made is not None
    return accept(store, proposal.made, by=by, at=at)


def move_in_plan(
    plan: WeekPlan,
    task: Task | str,
    *,
    start: datetime | None = None,
    machine: str | None = None,
    chamber: str | None = None,
    station: str | None = None,
    now: datetime,
    stop: Callable[[], Stop] | None = None,
    progress: Sequence[Progress] = (),
    committed_until: datetime | None = None,
) -> MoveProposal:
    """As `propose_move`, for a plan at hand."""
    asked = named_task(plan, task) if isinstance(task, str) else task
    if asked not in plan.schedule.tasks:
        raise InputError(f"{chain_name(asked)} is not in this plan", remedy="name a task of the plan", where="task")
    if start is None and machine is None and chamber is None and station is None:
        raise InputError("nothing is to be moved", remedy="give a start, machine, chamber or station", where="task")
    if start is not None and start.tzinfo is None:
        raise InputError("the new start has no time zone", remedy="give an instant with a time zone", where="start")
    now = origin_of(now)
    moved = replace(asked, start=start or asked.start, end=(start or asked.start) + (asked.end - asked.start))
    try:
        facts, _ = begun_tasks(plan, now, progress)
        jobs, wishes, _ = jobs_of(plan)
        work = jobs, wishes
        asked, moved = loading_of(plan, asked, moved)
        pinned, moved, push = pins_of(plan, asked, replace(
            moved, machine=machine or moved.machine, chamber=chamber or moved.chamber, station=station or moved.station,
        ), chamber, now, facts, jobs)  # fmt: skip
        rule = stop or (lambda: MaxSteps(MOVE_STEPS))
        made = _mended(plan, now, progress, committed_until, rule, pinned, push, facts, work)
    except Refusal as no:
        return MoveProposal(plan.version, asked, moved, None, no.found, no.remedy, no.soonest)
    except CakewrightError as no:
        remedy = no.remedy or "put it elsewhere"
        return MoveProposal(plan.version, asked, moved, None, _local(no.found, plan), remedy)
    late = weighted_late_min(plan, plan.promises), weighted_late_min(plan, made.plan.promises)
    return MoveProposal(plan.version, asked, moved, made, late_min=late)


def _mended(
    plan: WeekPlan,
    now: datetime,
    progress: Sequence[Progress],
    until: datetime | None,
    stop: Callable[[], Stop],
    pinned: Sequence[Task],
    push: Collection[str],
    facts: Sequence[Task],
    work: Work,
) -> Replanned:
    """The plan around the pinned tasks; when too much was left standing, every build that has not begun makes room."""
    try:
        made = replan(
            plan, now, progress=progress, committed_until=until, stop=stop, pinned=pinned, push=push, work=work
        )
        _judge(plan, made, facts, work)
    except (Refusal, InputError):
        everything = {b.key for b in plan.builds}
        made = replan(plan, now, progress=progress, stop=stop, pinned=pinned, push=everything, work=work)
        _judge(plan, made, facts, work)
    return made


def _judge(plan: WeekPlan, made: Replanned, facts: Sequence[Task], work: Work) -> None:
    """Refusal with the first broken rule, the moved task questioned like any other."""
    broken = validate(plan.cell, *work, made.plan.schedule, facts)
    if broken:
        first = broken[0]
        raise Refusal(f"{_local(first.message, plan)} ({first.where})", "put it elsewhere")


def _local(words: str, plan: WeekPlan) -> str:
    """Instants in a sentence as the cell's clock shows them."""
    return _INSTANT.sub(lambda m: moment(datetime.fromisoformat(m[0]), plan.cell.zone), words)
