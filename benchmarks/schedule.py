"""Solvers of the schedule against earliest-due-date dispatch, on random cells (`cakewright.schedule.generator`).

    python benchmarks/schedule.py table [--builds 10,25,50,100] [--seeds 1] [--seconds 60] [--workers 1]
    python benchmarks/schedule.py best [--builds 25] [--seeds 1,2,3] [--seconds 600] [--search-seeds 1,2,3]
    python benchmarks/schedule.py cells [--count 1000]
    python benchmarks/schedule.py published [--data ../shared] [--seconds 60] [--workers 1] [--only mk02,mk05]

`table`: weighted tardiness in hours. `blind` is the rule of a wall chart: builds in order of due date, each on the
machine that is free first, whatever powder is on it. `edd` is the same order with the machine on which the build is
out soonest. Then dispatch, local search, and everything. Times are seconds of this process on the processor, so that
other work on the machine does not count; with several workers, so many times `--seconds`. `of best` is the weighted
lateness over the least ever found for that cell (results/schedule_best.json, kept by `best`, which runs long and with
several seeds of the search); 25 builds that are more than 5 % from it after 30 s or more, or a schedule that breaks a
rule, end the run with an error. `cells`: random cells with every rule, each plan judged (PYTHONPATH=.). `published`:
as tests/published, harder ones too (PYTHONPATH=.).
"""

import argparse
import json
import resource
import sys
import time
from pathlib import Path

import numpy as np

from cakewright.errors import NoCalendarError
from cakewright.schedule.cpsat import copy_placed, lateness_of
from cakewright.schedule.dispatch import Decoder, Orders, dispatch, dispatch_rules
from cakewright.schedule.exact import Polished, polish
from cakewright.schedule.generator import Made, made_cell
from cakewright.schedule.improve import improve
from cakewright.schedule.plan_schedule import judged, plan_schedule
from cakewright.stopping import MaxSeconds, MaxSteps

H = 60.0
SEARCH_SHARE = 0.02  # of the seconds for builds too many to be solved whole; annealing begins anew from dispatch
BEST = Path(__file__).parent / "results" / "schedule_best.json"  # hours: {builds: {seed: [value, proved]}}
NEAR = 1.05  # of the best known, for 25 builds


def blind(decoder: Decoder) -> Orders:
    """Due dates decide the order, the machine that is free first is taken, whatever powder is on it."""
    a, edd = decoder.instance.arrays, dispatch_rules(decoder.instance)[0]
    machines = np.full(len(a.load), -1, dtype=np.int64)
    for n, b in enumerate(edd.builds):
        free = np.zeros(a.printing.shape[1], dtype=np.int64)
        if n:
            some = Orders(edd.builds[:n], machines, np.zeros(0, dtype=np.int64))
            placed = decoder.schedule(some)
            for other in edd.builds[:n]:
                m = placed.machine[other]
                free[m] = max(free[m], placed.end[other, 1])
        can = np.flatnonzero(a.printing[b])
        machines[b] = can[np.argmin(free[can])]
    return Orders(edd.builds, machines, edd.lines)


def solved(made: Made, seconds: float, workers: int, seed: int = 1) -> tuple[Decoder, Polished, float, int, float]:
    """(decoder, schedule judged, weighted hours late after local search, schedules tried, seconds until then)."""
    decoder, orders = dispatch(made.cell, made.builds, made.lines, made.start)
    instance, began = decoder.instance, time.process_time()
    seconds *= workers
    share = min(1.0, seconds / 20) if len(made.builds) <= 25 else SEARCH_SHARE * seconds
    found, tried = improve(decoder, orders, MaxSeconds(share, time.process_time), seed)
    placed, searched = copy_placed(decoder.schedule(found)), time.process_time() - began
    better = polish(instance, placed, MaxSeconds(seconds - searched, time.process_time), seed, workers)
    judged(made.cell, made.builds, made.lines, instance, better.placed, "benchmark", ())  # raises when a rule is broken
    return decoder, better, lateness_of(instance, placed) / H, tried, searched


def best_known() -> dict[str, dict[str, list[float]]]:
    """Least weighted hours ever found, and 1 where that is proved to be the least there is."""
    return json.loads(BEST.read_text()) if BEST.exists() else {}


def remember(builds: int, seed: int, hours: float, proved: bool) -> float:
    """Keep a value that is lower, or a proof; the best known afterwards."""
    known = best_known()
    old, was = known.get(str(builds), {}).get(str(seed), [float("inf"), 0])
    if hours < old - 1e-6 or (proved and not was):
        known.setdefault(str(builds), {})[str(seed)] = [round(min(hours, old), 4), int(proved or was)]
        BEST.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n")
    return min(hours, old)


def one(builds: int, seed: int, seconds: float, workers: int) -> bool:
    """A row of the table; False when 25 builds are far from the best known."""
    made = made_cell(builds, seed)
    began = time.process_time()
    decoder, orders = dispatch(made.cell, made.builds, made.lines, made.start)
    dispatched = time.process_time() - began
    instance = decoder.instance

    def late(o: Orders) -> float:
        return lateness_of(instance, decoder.schedule(o)) / H

    base, edd, rule = late(blind(decoder)), late(dispatch_rules(instance)[0]), late(orders)
    began = time.process_time()
    _, better, local, tried, searched = solved(made, seconds, workers)
    took = time.process_time() - began
    final = lateness_of(instance, better.placed) / H
    best = remember(builds, seed, final, better.proved)
    of_best = final / best if best else 1.0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    proved = "proved" if better.proved else "no"
    print(f"{builds:6d} {seed:4d} {base:9.0f} {edd:9.0f} {rule:9.0f} {local:9.0f} {final:9.0f} "
          f"{100 * (1 - final / base) if base else 0:7.1f} {100 * (1 - final / edd) if edd else 0:7.1f} {proved:>7} "
          f"{of_best:7.3f} {1000 * dispatched:8.0f} {searched:7.1f} {took:7.1f} {tried:8d} {peak:7.0f} {0:10d}",
          flush=True)  # fmt: skip
    return builds != 25 or seconds < 30 or of_best <= NEAR


def table(args: argparse.Namespace) -> None:
    made_up = made_cell(3, 0)
    plan_schedule(
        made_up.cell, made_up.builds, made_up.lines, start=made_up.start, stop=MaxSteps(1), seed=1
    )  # compiles
    print(f"weighted tardiness, h; {args.seconds:g} s of processor, {args.workers} worker(s)")
    print(f"{'builds':>6} {'seed':>4} {'blind':>9} {'edd':>9} {'dispatch':>9} {'search':>9} {'all':>9} {'-% blind':>7} "
          f"{'-% edd':>7} {'proof':>7} {'of best':>7} {'disp. ms':>8} {'srch s':>7} {'all s':>7} {'tried':>8} "
          f"{'MB':>7} {'violations':>10}")  # fmt: skip
    near = [one(builds, seed, args.seconds, args.workers) for builds in args.builds for seed in args.seeds]
    if not all(near):
        sys.exit(f"{near.count(False)} cells of 25 builds are more than {NEAR - 1:.0%} from the best known")


def best(args: argparse.Namespace) -> None:
    """Long runs with several seeds of the search; what is found is kept."""
    for builds in args.builds:
        for seed in args.seeds:
            for search in args.search_seeds:
                made = made_cell(builds, seed)
                decoder, better, *_ = solved(made, args.seconds, args.workers, search)
                hours = lateness_of(decoder.instance, better.placed) / H
                known = remember(builds, seed, hours, better.proved)
                print(
                    f"{builds} builds, cell {seed}, search {search}: {hours:.1f} h, best known {known:.1f}", flush=True
                )
                if better.proved:
                    break


def cells(args: argparse.Namespace) -> None:
    """Random cells with every rule; every tenth also through the exact solver."""
    from hypothesis import HealthCheck, Phase, given, settings
    from tests.schedule.test_random_cells import worlds  # python -m benchmarks.schedule, or PYTHONPATH=.

    counts = {"planned": 0, "refused with a reason": 0}

    @settings(max_examples=args.count, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate],
              derandomize=True, database=None)  # fmt: skip
    @given(worlds())
    def check(world) -> None:
        place, builds, lines, start = world
        n = sum(counts.values())
        try:
            plan_schedule(place, builds, lines, start=start, stop=MaxSteps(15), seed=3,
                          exact=MaxSteps(1) if n % 10 == 0 else None)  # fmt: skip
            counts["planned"] += 1
        except NoCalendarError:
            counts["refused with a reason"] += 1

    began = time.process_time()
    check()  # a broken rule raises NotConvergedError
    print(f"{counts}, 0 violations, {time.process_time() - began:.0f} s of processor")


def published(args: argparse.Namespace) -> None:
    from tests.published.schedule_instances import run_all

    run_all(Path(args.data) / "checks" / "data", args.seconds, args.workers, args.only)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["table", "best", "cells", "published"])
    parser.add_argument("--builds", type=lambda t: [int(x) for x in t.split(",")], default=[10, 25, 50, 100])
    parser.add_argument("--seeds", type=lambda t: [int(x) for x in t.split(",")], default=[1])
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--search-seeds", type=lambda t: [int(x) for x in t.split(",")], default=[1, 2, 3])
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--data", default="../shared")
    parser.add_argument("--only", type=lambda t: t.split(","), default=[], help="published instances by name")
    args = parser.parse_args()
    {"table": table, "best": best, "cells": cells, "published": published}[args.what](args)


if __name__ == "__main__":
    main()
