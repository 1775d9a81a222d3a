"""How long a promise and a new plan take: simulated weeks of 50 builds, planning again at 25 builds.

    PYTHONPATH=. python benchmarks/promise.py

Prints value, target, baseline of the same run, ratio, peak memory, seed. The baseline of the simulation is one placing
of all tasks by the dispatch kernel for each simulated week; that of planning again is planning the week from nothing.
"""

from __future__ import annotations

import resource
import time
from dataclasses import replace
from datetime import timedelta

import numpy as np
from tests.app.running import MONDAY, running_week
from tests.schedule.worlds import ALL_SKILLS, BLASTED, DAY_SHIFT, build, cell, line

from cakewright.app.replan import jobs_of, replan
from cakewright.app.running import quick_rule
from cakewright.model.cell import Chamber
from cakewright.model.order import OrderList
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.schedule.dispatch import Decoder, dispatch
from cakewright.schedule.doubts import BuildDoubt, StopPoint
from cakewright.schedule.plan_schedule import plan_schedule
from cakewright.schedule.simulate import simulate
from cakewright.stopping import MaxSteps
from cakewright.store.schedule import Progress

SEED = 1


def fifty():
    """50 builds on four machines and twelve chambers, 100 lines, three people."""
    from cakewright.model.cell import Person

    rng = np.random.default_rng(SEED)
    people = tuple(Person(name, ALL_SKILLS, (DAY_SHIFT,)) for name in ("Ada", "Bo", "Cy"))
    world = cell(machines=4, chambers=12, people=people)
    machines = ("M1", "M2", "M3", "M4")
    builds = [build(f"B{i}", hours=float(rng.uniform(8, 22)), cool_h=float(rng.uniform(8, 30)), machines=machines)
              for i in range(50)]  # fmt: skip
    lines = [line(i, [f"B{i % 50}"], due_days=3 + i / 8, finish=BLASTED) for i in range(100)]
    doubts = [
        BuildDoubt(b.key, 0.05, (0.8 * b.cool_min, b.cool_min, 1.3 * b.cool_min), 0.05,
                   tuple(StopPoint((q + 0.5) / 20, (q + 0.5) / 20, 1 - q / 40, 1 - q / 40, frozenset(range(100)))
                         for q in range(20)))
        for b in builds
    ]  # fmt: skip
    return world, builds, lines, doubts


def weeks_of(copies: int) -> WeekPlan:
    """The small week over and over: two builds and six lines in each copy, four chambers."""
    small = running_week()
    orders, builds, parts_of, costs = [], [], {}, []
    for c in range(copies):
        number = {old.line: 10 * c + old.line for old in small.orders.lines}
        days = timedelta(days=2 * c)
        for x in small.orders.lines:
            orders.append(replace(x, line=number[x.line], order=f"{x.order}-{c}", due=x.due + days))
        parts_of |= {number[n]: key for n, key in small.part_of_line.items()}
        costs += [replace(x, line=number[x.line]) for x in small.costs]
        for b in small.builds:
            placed = tuple(replace(p, piece=f"{p.piece}-{c}", line=number[p.line]) for p in b.nest.placements)
            builds.append(replace(b, key=f"{b.key}-{c}", lines=tuple(number[n] for n in b.lines),
                                  nest=replace(b.nest, placements=placed), line_reasons=()))  # fmt: skip
    chambers = tuple(Chamber(f"K{i + 1}", "small", "PA12") for i in range(4))
    plan = replace(
        small, cell=replace(small.cell, chambers=chambers), orders=OrderList("bench", tuple(orders)),
        builds=tuple(builds), part_of_line=parts_of, costs=tuple(costs), set_aside=(),
    )  # fmt: skip
    jobs, wishes, _ = jobs_of(plan)
    schedule, promises = plan_schedule(plan.cell, jobs, wishes, start=MONDAY, stop=MaxSteps(300), seed=SEED)
    return replace(plan, schedule=schedule, promises=promises)


def best(of: int, work) -> float:
    """Shortest of several runs, s: the machine is shared."""
    times = []
    for _ in range(of):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


def row(name: str, value: float, target: float, baseline: float) -> None:
    """One line of the table."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    told = f"{name:<44} {value:8.2f} s  below {target:4.1f} s  {baseline:8.2f} s"
    print(f"{told}  {value / baseline:6.2f}  {peak:7.0f} MB  {SEED}")


def main() -> None:
    """Print the table."""
    print(f"{'what':<44} {'value':>10}  {'target':>12}  {'baseline':>10}  {'ratio':>6}  {'peak':>10}  seed")
    world, builds, lines, doubts = fifty()
    schedule, _ = plan_schedule(world, builds, lines, start=MONDAY, stop=MaxSteps(50), seed=SEED)
    simulate(world, builds, lines, schedule, doubts, runs=2, seed=SEED)  # compiles or loads the kernels
    taken = best(3, lambda: simulate(world, builds, lines, schedule, doubts, runs=1000, seed=SEED))
    decoder, orders = dispatch(world, builds, lines, MONDAY)
    assert isinstance(decoder, Decoder)
    placing = best(3, lambda: [decoder.cost(orders) for _ in range(1000)])
    row("1000 simulated weeks, 50 builds, 100 lines", taken, 5.0, placing)

    plan = weeks_of(13)
    now = MONDAY + timedelta(days=4)
    prints = [t for t in plan.schedule.tasks if t.kind is TaskKind.PRINT]
    late = next(t for t in prints if t.start < now < t.end + timedelta(days=1))
    news = [Progress(1, 1, TaskKind.PRINT, late.build, None, None, late.end + timedelta(hours=6), now, "bench")]
    ask = now + timedelta(hours=12)
    taken = best(3, lambda: replan(plan, ask, progress=news, stop=quick_rule))
    jobs, wishes, _ = jobs_of(plan)
    anew = best(1, lambda: plan_schedule(plan.cell, jobs, wishes, start=ask, stop=MaxSteps(600), seed=SEED))
    row(f"plan again after news, {len(plan.builds)} builds, {len(wishes)} lines", taken, 2.0, anew)


if __name__ == "__main__":
    main()
