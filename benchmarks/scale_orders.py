"""Planning a whole day of a large house: the order list of the demo cell many times over, on as many more machines.

    PYTHONPATH=. python benchmarks/scale.py orders 1000 [--machines 100] [--workers 0] [--seconds 2]

Every stage of `plan_week` is real. What is invented is the house: copies of the demo cell's machines, chambers,
stations and people, and of its order lines under other order numbers. `--workers N` hands the work to N processes of
a local Dask cluster; 0 keeps it on this computer. The baseline is the demo's own list in the same run, planned the same
way on as many machines for each line: what a line costs there and here is the last row.
"""

from __future__ import annotations

import os
import platform
import resource
import tempfile
import time
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from cakewright import plan_week
from cakewright.app.crew import crew_at
from cakewright.demo.load import demo_cell, demo_orders, write_demo
from cakewright.model.cell import Cell
from cakewright.model.order import OrderList
from cakewright.model.plan import WeekPlan

MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)


def house(machines: int) -> Cell:
    """The demo cell with so many machines, and of everything else as many more."""
    cell = demo_cell()
    times = -(-machines // len(cell.machines))

    def copies(items, most: int | None = None):
        made = [replace(x, name=f"{x.name} {n + 1:03d}") for n in range(times) for x in items]
        return tuple(made[:most])

    material = replace(cell.materials[0], virgin_kg=1e6, used_kg=1e6)  # powder is not what is studied here
    return replace(
        cell, materials=(material, *cell.materials[1:]), machines=copies(cell.machines, machines),
        chambers=copies(cell.chambers), stations=copies(cell.stations), people=copies(cell.people),
    )  # fmt: skip


def day_of(lines: int) -> OrderList:
    """So many order lines: the demo's, again and again under other order numbers."""
    base = demo_orders()
    made = []
    for n in range(lines):
        pattern = base.lines[n % len(base.lines)]
        made.append(replace(pattern, line=n + 1, order=f"{pattern.order}-{n // len(base.lines) + 1}"))
    return replace(base, lines=tuple(made))


class Stages:
    """Seconds and processor seconds between the reports of a plan."""

    def __init__(self) -> None:
        self.spent: dict[str, list[float]] = {}
        self.stage, self.at = "before the first report", self._now()
        self.began = self.at[0]

    @staticmethod
    def _now() -> tuple[float, float]:
        return time.perf_counter(), time.process_time()

    def __call__(self, stage: str, done: int, total: int, note: str = "") -> None:
        now = self._now()
        kept = self.spent.setdefault(self.stage, [0.0, 0.0])
        kept[0] += now[0] - self.at[0]
        kept[1] += now[1] - self.at[1]
        if stage != self.stage:
            print(f"  {now[0] - self.began:6.0f} s  {stage} {done}/{total} {note}", flush=True)
        self.stage, self.at = stage, now


def main(lines: int, machines: int, workers: int, seconds: float) -> None:
    with tempfile.TemporaryDirectory() as folder, ExitStack() as opened:
        write_demo(folder)
        crew = None
        if workers:
            from distributed import LocalCluster

            made = opened.enter_context(
                LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address="127.0.0.1:0", silence_logs=50)
            )
            crew = opened.enter_context(crew_at(made.scheduler_address))

        def planned(of: OrderList, on: int) -> tuple[WeekPlan, Stages, float, float]:
            stages, began, used = Stages(), time.perf_counter(), time.process_time()
            plan = plan_week(
                of, house(on), Path(folder) / "parts", start=MONDAY, seconds=seconds, progress=stages, crew=crew
            )
            spent = time.perf_counter() - began, time.process_time() - used
            stages("dates, costs and the rest", 0, 0)
            return plan, stages, *spent

        few = min(lines, len(demo_orders().lines))
        _, _, few_wall, few_cpu = planned(day_of(few), max(1, machines * few // lines))
        orders = day_of(lines)
        plan, stages, wall, cpu = planned(orders, machines)
    print(
        f"\n{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, {datetime.now(UTC):%Y-%m-%d}; "
        f"{workers or 'no'} cluster workers, {seconds:g} s for each nest\n"
    )
    print("| stage | wall s | processor s of the planner |\n|---|---|---|")
    for stage, (took, busy) in stages.spent.items():
        print(f"| {stage} | {took:.1f} | {busy:.1f} |")
    print(f"| **all** | {wall:.1f} | {cpu:.1f} |")
    print(f"| baseline: {few} lines | {few_wall:.1f} | {few_cpu:.1f} |")
    print(f"| a line, times that of the baseline | {wall / lines / (few_wall / few):.2f} "
          f"| {cpu / lines / (few_cpu / few):.2f} |")  # fmt: skip
    late = sum(p.ready is not None and p.ready > p.due_by for p in plan.promises)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"\n{len(orders.lines)} lines, {orders.pieces:,} pieces on {machines} machines: {len(plan.builds)} builds, "
        f"{len(plan.set_aside)} lines set aside, {late} late, {len(plan.schedule.tasks)} tasks; peak memory "
        f"{memory:.2f} GB; {'; '.join(plan.schedule.notes)}"
    )
