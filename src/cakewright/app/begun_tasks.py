"""What has begun by some moment, as planned or as somebody noted it; and what people were told for the hours after."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from cakewright.app.task_place import is_untrained
from cakewright.model.build import Build
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.store.schedule import Progress

Windows = Mapping[str, Sequence[tuple[datetime, datetime]]]
OF_BUILD = (TaskKind.LOAD, TaskKind.PRINT, TaskKind.COOL, TaskKind.UNLOAD, TaskKind.UNPACK, TaskKind.CLEAN)
BENCH = (TaskKind.FINISH, TaskKind.WAIT)
LINE_WORK = (*BENCH, TaskKind.INSPECT, TaskKind.PACK)
AROUND = {TaskKind.CHANGE: TaskKind.LOAD, TaskKind.SERVICE: TaskKind.LOAD, TaskKind.CLEAN_DOWN: TaskKind.UNPACK}
Work = tuple[TaskKind, str, int | None]
Said = Mapping[Work, Progress]


def begun_tasks(plan: WeekPlan, now: datetime, progress: Sequence[Progress]) -> tuple[list[Task], int]:
    """Tasks that have begun, with the instants noted for them, and how many were noted.

    A task that somebody noted as not begun takes everything after it along: nothing is unpacked that is not printed.
    """
    said = {(p.kind, p.build, p.line): p for p in progress}
    used: set[Work] = set()
    facts: list[Task] = []
    free: dict[str, datetime | None] = {}  # when a machine or chamber was given back; None: still in use
    for build in sorted(plan.builds, key=lambda b: min((t.start for t in plan.schedule.of_build(b.key)), default=now)):
        mine = _begun_of_build(plan, build, now, said, used, free)
        facts += [*mine, *_begun_around(plan, build, now, mine)]
        ends = {t.kind: t.end for t in mine}
        for t in mine:
            if t.kind is TaskKind.LOAD or t.kind is TaskKind.PRINT:
                free[t.machine], free[t.chamber] = ends.get(TaskKind.UNLOAD), ends.get(TaskKind.CLEAN)
    out = {t.build for t in facts if t.kind is TaskKind.UNPACK}
    for tasks in _chains(plan).values():
        if all(b.key in out for n in tasks[0].lines for b in plan.builds_of(n)):
            facts += _begun_of_bench(tasks, now, said, used)
    return _bench_in_order(facts, plan), len(used)


def _begun_of_build(
    plan: WeekPlan, build: Build, now: datetime, said: Said, used: set[Work], free: Mapping[str, datetime | None]
) -> list[Task]:
    """Facts of one build, in order. After news, a task that cannot have begun as planned has not begun."""
    tasks = {t.kind: t for t in plan.schedule.of_build(build.key) if t.kind in OF_BUILD}
    facts: list[Task] = []
    ready = datetime.min.replace(tzinfo=UTC)  # before this the next task cannot have begun
    for kind in OF_BUILD:
        task, word = tasks.get(kind), said.get((kind, build.key, None))
        if task is None:
            continue
        if word is not None:
            used.add((kind, build.key, None))
            if word.started is None and word.ended is None:
                break  # not begun, whatever the plan says
        task = _as_noted(task, word, ready, now)
        blocked = not facts and any(
            name in free and ((at := free[name]) is None or at > task.start) for name in (task.machine, task.chamber)
        )
        if task.start >= now or (word is None and (blocked or task.start < ready)):
            break
        facts.append(task)
        ready = task.end
        if kind is TaskKind.COOL:  # it may be lifted out while it cools, but not opened
            ready = task.start
        if kind is TaskKind.UNLOAD and TaskKind.COOL in tasks:
            ready = max(task.end, next((t.end for t in facts if t.kind is TaskKind.COOL), task.end))
    return facts


def _begun_around(plan: WeekPlan, build: Build, now: datetime, facts: Sequence[Task]) -> list[Task]:
    """Changes and services of the machine, cleaning of the bench and tests of specimens that have begun.

    A change or service that has begun stays, also when the loading after it has not. They are never noted one by one.
    """
    begun = {t.kind for t in facts}
    found: list[Task] = []
    for task in plan.schedule.of_build(build.key):
        follows = AROUND.get(task.kind)
        before = follows is TaskKind.LOAD and task.start < now
        tested = task.kind is TaskKind.TEST and TaskKind.UNPACK in begun and task.start < now
        awaited = task.kind is TaskKind.RESULT and any(t.kind is TaskKind.TEST for t in found)
        if follows in begun or before or tested or awaited:
            found.append(task)
    return found


def _as_noted(task: Task, word: Progress | None, ready: datetime, now: datetime) -> Task:
    """The task with the instants noted for it; printing and cooling follow what is before them by themselves."""
    length = task.end - task.start
    start = task.start
    if task.kind in {TaskKind.PRINT, TaskKind.COOL} and ready > datetime.min.replace(tzinfo=UTC):
        start = ready
    if word is None:
        return replace(task, start=start, end=start + length)
    start = word.started or (start if word.ended is None or start < word.ended else word.ended - timedelta(minutes=1))
    end = word.ended or max(start + length, now)  # begun and not ended: it goes on
    return replace(task, start=start, end=end)


def _chains(plan: WeekPlan) -> dict[tuple[object, ...], list[Task]]:
    """Bench work that follows one another: of a basket, then of a line."""
    chains: dict[tuple[object, ...], list[Task]] = {}
    for task in sorted(plan.schedule.tasks, key=lambda t: (t.start, t.end)):
        if task.kind in BENCH:
            chains.setdefault((0, task.label.partition(":")[0], task.lines), []).append(task)
        elif task.kind in {TaskKind.INSPECT, TaskKind.PACK}:
            chains.setdefault((1, task.lines), []).append(task)
    return dict(sorted(chains.items(), key=lambda item: str(item[0])))


def _begun_of_bench(tasks: Sequence[Task], now: datetime, said: Said, used: set[Work]) -> list[Task]:
    facts: list[Task] = []
    for task in tasks:
        keys = [(task.kind, "", n) for n in task.lines]
        key = next((k for k in keys if k in said), None)
        word = said[key] if key else None
        if key:
            used.add(key)
        if word is not None and word.started is None and word.ended is None:
            break
        runs_on = bool(facts) and not task.people and task.start == facts[-1].end
        start = word.started if word is not None and word.started and task is tasks[0] else task.start
        end = word.ended if word is not None and word.ended else start + (task.end - task.start)
        if word is not None and word.ended:
            start = min(start, end - timedelta(minutes=1))
        if start >= now and not runs_on:
            break
        facts.append(replace(task, start=start, end=end))
    return facts


def _bench_in_order(facts: list[Task], plan: WeekPlan) -> list[Task]:
    """Without inspection of lines whose baskets have not all begun: what is left out there cannot have followed."""
    of_line: dict[int, set[str]] = {}
    begun: dict[int, set[str]] = {}
    for task in plan.schedule.tasks:
        if task.kind in BENCH:
            for n in task.lines:
                of_line.setdefault(n, set()).add(task.label.partition(":")[0])
    for task in facts:
        if task.kind in BENCH:
            for n in task.lines:
                begun.setdefault(n, set()).add(task.label.partition(":")[0])
    return [
        t
        for t in facts
        if t.kind not in {TaskKind.INSPECT, TaskKind.PACK}
        or all(of_line.get(n, set()) <= begun.get(n, set()) for n in t.lines)
    ]


def committed_tasks(
    plan: WeekPlan,
    now: datetime,
    until: datetime,
    facts: Sequence[Task],
    progress: Sequence[Progress],
    unavailable: Windows,
    pinned: Sequence[Task] = (),
    push: Collection[str] = (),
) -> list[Task]:
    """Tasks that begin from now to `until`, without those that something has pushed.

    That is: a fact, a pinned task, a window out of use, or the end of somebody's training.

    `pinned` are tasks that somebody wants elsewhere than planned: what stands where they go is pushed too, and so are
    the builds of `push`.
    """
    if until <= now:
        return []
    expected, _ = begun_tasks(plan, now, ())
    wide, _ = begun_tasks(plan, until, progress)
    elsewhere = [t for t in pinned if t not in plan.schedule.tasks]
    lost = [t for t in plan.schedule.tasks if _is_out(t, unavailable) or is_untrained(plan, t)]
    news = [*(set(expected) ^ set(facts)), *elsewhere, *lost]
    news += [t for t in wide if any(_clash(t, other) for other in elsewhere)]
    pushed = {t.build for t in news if t.build and t.kind not in LINE_WORK} | set(push)
    dated = {t.build for t in news if t.build and t.kind not in (*LINE_WORK, TaskKind.CLEAN)} | set(push)
    lines = {n for key in dated for n in plan.build(key).lines}
    lines |= {n for t in news if t.kind in LINE_WORK for n in t.lines}
    lines = _with_basket_mates(plan, lines, pinned) if pinned else lines
    done = {(t.kind, t.build, t.lines, t.label, t.start) for t in (*facts, *pinned)}
    return [
        t
        for t in wide
        if (t.kind, t.build, t.lines, t.label, t.start) not in done
        and (not lines & set(t.lines) if t.kind in LINE_WORK else t.build not in pushed)
        and t.start >= now
    ]


def _clash(task: Task, other: Task) -> bool:
    """True when two tasks of different work use one person, machine, chamber or station at the same time."""
    if (task.build, task.lines, task.kind) == (other.build, other.lines, other.kind):
        return False
    names = {task.machine, task.chamber, task.station, *task.people} - {""}
    shared = names & {other.machine, other.chamber, other.station, *other.people}
    return bool(shared) and task.start < other.end and other.start < task.end and task.build != other.build


def _with_basket_mates(plan: WeekPlan, lines: Collection[int], pinned: Sequence[Task]) -> set[int]:
    """The lines and all that share a basket with them that is not pinned, and so on."""
    found = set(lines)
    baskets = [set(t.lines) for t in plan.schedule.tasks if t.kind in BENCH and t not in pinned]
    while more := {n for basket in baskets if basket & found for n in basket} - found:
        found |= more
    return found


def _is_out(task: Task, unavailable: Windows) -> bool:
    names = {task.machine, task.chamber, task.station, *task.people} - {""}
    return any(task.start < b and a < task.end for name in names for a, b in unavailable.get(name, ()))
