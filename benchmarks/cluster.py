"""A planned week on this computer alone and on local workers of a cluster: seconds, speed-up, the same plan.

    PYTHONPATH=. python benchmarks/cluster.py [--workers 1 2] [--lines 12]

The lines are invented blocks and plates in two materials; searches count steps, so that every run does the same work.
Wall seconds on a shared machine say little: the processor seconds of the busiest process are the bound for the wall
time on a machine of its own, and are given beside them.
"""

from __future__ import annotations

import argparse
import os
import platform
import resource
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from tests.app.worlds import small_cell, write_order_book
from tests.conftest import box_mesh
from tests.store.same import difference

from cakewright import plan_week, read_orders
from cakewright.app.crew import crew_at
from cakewright.app.effort import effort_in_steps
from cakewright.formats.stl import write_stl

MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)


def world(folder: Path, lines: int):
    """An order list that fills several builds of the template cell."""
    cell = small_cell()
    material, finish, quality = cell.materials[0].name, cell.finishes[0].name, cell.classes[0].name
    rows = [
        f"{n},A-{n},2027-03-01,Team,{part},A,{6 + n % 4},{material},{finish},{quality},2027-03-{10 + n % 15},"
        f"{part}.stl,"
        for n, part in zip(range(1, lines + 1), ["brick", "plate", "cube"] * lines, strict=False)
    ]
    book, parts = write_order_book(folder, cell, rows)
    for name, size in {"brick": (90, 70, 50), "plate": (120, 100, 20), "cube": (60, 60, 60)}.items():
        write_stl(parts / f"{name}.stl", box_mesh(*size), name)
    return read_orders(book, cell), cell, parts


def same(plan):
    builds = tuple(replace(b, nest=replace(b.nest, seconds=0.0), verification=replace(b.verification, seconds=0.0))
                   for b in plan.builds)  # fmt: skip
    return replace(plan, builds=builds, timings={})


def busy() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    ask.add_argument("--lines", type=int, default=24)
    ask.add_argument("--steps", type=int, default=60)
    given = ask.parse_args()
    from distributed import LocalCluster

    with tempfile.TemporaryDirectory() as folder:
        orders, cell, parts = world(Path(folder), given.lines)
        effort = effort_in_steps(given.steps)
        plan_week(orders, cell, parts, start=MONDAY, effort=effort_in_steps(1), workers=1)  # compiles
        began, used = time.perf_counter(), busy()
        alone = plan_week(orders, cell, parts, start=MONDAY, effort=effort, workers=1)
        wall, cpu = time.perf_counter() - began, busy() - used
        print(
            f"{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, "
            f"{datetime.now(UTC):%Y-%m-%d}; {orders.pieces} pieces on {given.lines} lines, "
            f"{len(alone.builds)} builds\n"
        )
        print("| where | wall s | speed-up | processor s, all | of the longest way | its bound | same plan |")
        print("|---|---|---|---|---|---|---|")
        print(f"| this computer, one thread | {wall:.1f} | 1.0 | {cpu:.1f} | {cpu:.1f} | 1.0 | |", flush=True)
        for count in given.workers:
            with LocalCluster(n_workers=count, threads_per_worker=1, dashboard_address="127.0.0.1:0",
                              silence_logs=50) as made, crew_at(made.scheduler_address) as crew:  # fmt: skip
                plan_week(orders, cell, parts, start=MONDAY, effort=effort_in_steps(1), crew=crew)  # compiles there
                before, own = cpu_of(made), busy()
                began = time.perf_counter()
                there = plan_week(orders, cell, parts, start=MONDAY, effort=effort, crew=crew)
                took, mine = time.perf_counter() - began, busy() - own
                theirs = [after - b for after, b in zip(cpu_of(made), before, strict=True)]
            say = "yes" if difference(same(alone), same(there)) is None else "NO"
            longest = mine + max(theirs)
            print(f"| {count} workers | {took:.1f} | {wall / took:.2f} | {mine + sum(theirs):.1f} | {longest:.1f} | "
                  f"{cpu / longest:.2f} | {say} |", flush=True)  # fmt: skip


def cpu_of(cluster) -> list[float]:
    import psutil

    return [sum(psutil.Process(w.pid).cpu_times()[:2]) for w in cluster.workers.values()]


if __name__ == "__main__":
    main()
