"""Published scheduling instances, and how each is put to the solver; used by the tests and by benchmarks/schedule.py.

Job shops go through the model of the cell itself: a job is a line whose finish visits one station after the other. In a
flexible job shop, a batch machine and additive batching, durations depend on the machine or the company: these check
the solver with our settings on small models of their own.
"""

import json
import time
from dataclasses import replace
from datetime import timedelta
from functools import cache

from ortools.sat.python import cp_model

from cakewright.model.cell import Chamber, Finish, FinishStep, Station
from cakewright.schedule.cpsat import Effort, earliest_end, settle
from cakewright.schedule.dispatch import dispatch
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.pools import make_pools
from tests.schedule.worlds import MONDAY, cell, machine

FLEXIBLE_MOST = {"kacem1": 11, "kacem2": 11, "kacem3": 7, "kacem4": 11}  # kacem4: 12 in the file, 11 can be done


def job_shop(jobs, effort):
    """(makespan, bound) of a job shop, found by the model of the cell: jobs as lines, machines as stations."""
    n, m = len(jobs), 1 + max(k for job in jobs for k, _ in job)
    finishes = [Finish(f"job {i}", tuple(FinishStep(f"s{k}", d, 0) for k, d in job if d)) for i, job in enumerate(jobs)]
    world = replace(
        cell(),
        finishes=tuple(finishes),
        machines=tuple(machine(f"M{i}") for i in range(n)),
        chambers=tuple(Chamber(f"K{i}", "small", "PA12") for i in range(n)),
        stations=(Station("bench", "unpack"), *(Station(f"station {k}", f"s{k}") for k in range(m))),
    )
    builds = [BuildJob(f"B{i}", "PA12", "small", {f"M{i}": 1}, 0, 0, 0, 0, 0, 0, MONDAY) for i in range(n)]
    late = MONDAY + timedelta(days=60)
    lines = [LineJob(i, (f"B{i}",), finish, 1, 0, 0, late, 1.0) for i, finish in enumerate(finishes)]
    decoder, orders = dispatch(world, builds, lines, MONDAY)
    placed = decoder.schedule(orders)
    _, end, bound = earliest_end(decoder.instance, make_pools(decoder.instance), placed, effort)
    return end - 1, bound - 1  # every job is there after one minute of printing


def read_flexible(path):
    """Jobs of operations of (machine, minutes) choices."""
    rows = [[int(float(x)) for x in line.split()] for line in path.read_text().splitlines() if line.strip()]
    jobs = []
    for row in rows[1 : 1 + rows[0][0]]:
        numbers, job = iter(row[1:]), []
        for _ in range(row[0]):
            job.append([(next(numbers), next(numbers)) for _ in range(next(numbers))])
        jobs.append(job)
    return jobs


def flexible_job_shop(jobs, effort):
    """(makespan, bound); a machine is busy for all that is put on it, after the least before, before the least after.

    That sum says more about the end than the order does, so linear relaxations are used here, and all of the solver.
    """
    model = cp_model.CpModel()
    horizon = sum(max(d for _, d in op) for job in jobs for op in job)
    on, load, head, tail = {}, {}, {}, {}
    last = model.new_int_var(0, horizon, "")
    for job in jobs:
        before, least = 0, [min(d for _, d in op) for op in job]
        for n, op in enumerate(job):
            start, end = model.new_int_var(0, horizon, ""), model.new_int_var(0, horizon, "")
            model.add(start >= before)
            literals = [model.new_bool_var("") for _ in op]
            for (k, minutes), lit in zip(op, literals, strict=True):
                on.setdefault(k, []).append(model.new_optional_interval_var(start, minutes, end, lit, ""))
                load.setdefault(k, []).append(minutes * lit)
                head[k] = min(head.get(k, horizon), sum(least[:n]))
                tail[k] = min(tail.get(k, horizon), sum(least[n + 1 :]))
            model.add(end == start + sum(d * lit for (_, d), lit in zip(op, literals, strict=True)))
            model.add_exactly_one(literals)
            before = end
        model.add(last >= before)
    for k, intervals in on.items():
        model.add_no_overlap(intervals)
        model.add(last >= head[k] + sum(load[k]) + tail[k])
    return _least(model, last, effort, whole=True)


def batch_machine(times, sizes, capacity, effort):
    """(makespan, bound) on one batch machine: a batch lasts as long as its longest job."""
    n, model = len(times), cp_model.CpModel()
    longest = [model.new_int_var(0, max(times), "") for _ in range(n)]
    inside = [[model.new_bool_var("") for _ in range(n)] for _ in range(n)]
    for j in range(n):
        model.add_exactly_one(inside[j])
        for k in range(n):
            model.add(longest[k] >= times[j] * inside[j][k])
    for k in range(n):
        model.add(sum(sizes[j] * inside[j][k] for j in range(n)) <= capacity)
        if k:
            model.add(longest[k] <= longest[k - 1])
    return _least(model, sum(longest), effort)


def batch_machine_by_subsets(times, sizes, capacity):
    """The least makespan by dynamic programming over subsets: independent of any solver."""
    n = len(times)
    fits = [0] * (1 << n)
    for subset in range(1 << n):
        members = [j for j in range(n) if subset >> j & 1]
        fits[subset] = max((times[j] for j in members), default=0) if sum(sizes[j] for j in members) <= capacity else -1

    @cache
    def least(left):
        if not left:
            return 0
        first = left & -left
        rest, best, part = left ^ first, 1 << 30, left ^ first
        while True:
            if fits[part | first] >= 0:
                best = min(best, fits[part | first] + least(left ^ (part | first)))
            if not part:
                return best
            part = (part - 1) & rest

    return least((1 << n) - 1)


def additive_batches(instance, effort, scale=1000):
    """(makespan, bound): batch time = setup + time per volume × volumes + time per height × greatest height.

    Parts of a batch must be released, stand side by side on the tray, and suit the machine in height and precision.
    """
    model, parts = cp_model.CpModel(), instance["parts"]
    horizon = int(scale * 4000)
    last = model.new_int_var(0, horizon, "")
    inside = [[] for _ in parts]
    for machine_ in instance["machines"]:
        before, earlier_used = 0, None
        for _ in range(min(instance["max_batches"], len(parts))):
            used = model.new_bool_var("")
            tall = model.new_int_var(0, int(scale * machine_["max_height"] * machine_["time_per_height"]) + scale, "")
            start, end = model.new_int_var(0, horizon, ""), model.new_int_var(0, horizon, "")
            model.add(start >= before)
            mine = []
            for j, part in enumerate(parts):
                if part["height"] > machine_["max_height"] or part["precision"] > machine_["precision"]:
                    continue
                lit = model.new_bool_var("")
                inside[j].append(lit)
                mine.append((part, lit))
                model.add_implication(lit, used)
                model.add(tall >= round(part["height"] * machine_["time_per_height"] * scale)).only_enforce_if(lit)
                model.add(start >= round(part["release"] * scale)).only_enforce_if(lit)
            model.add(sum(round(p["area"] * scale) * lit for p, lit in mine) <= round(machine_["area"] * scale))
            volumes = sum(round(p["volume"] * machine_["time_per_volume"] * scale) * lit for p, lit in mine)
            model.add(end >= start + round(machine_["setup"] * scale) * used + volumes + tall)
            if earlier_used is not None:
                model.add_implication(used, earlier_used)
            model.add(last >= end)
            before, earlier_used = end, used
    for literals in inside:
        model.add_exactly_one(literals)
    found, bound = _least(model, last, effort)
    return found / scale, bound / scale


def _least(model, objective, effort, whole=False):
    """(least found, bound); `whole`: with all of the solver, else with the settings for schedules of a cell."""
    solver = cp_model.CpSolver()
    if whole:
        solver.parameters.num_workers, solver.parameters.random_seed = effort.workers, effort.seed
        solver.parameters.max_deterministic_time = effort.units
        solver.parameters.linearization_level = 2
    else:
        settle(solver, effort)
        solver.parameters.linearization_level = 1  # these models have sums that the schedules of a cell have not
    model.minimize(objective)
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE), solver.status_name(status)
    return round(solver.objective_value), round(solver.best_objective_bound)


def run_all(data, seconds, workers=1, only=()):
    """Everything that is at hand, or what is named in `only`, with the published value beside it."""
    print(f"{'instance':>16} {'published':>12} {'found':>10} {'bound':>10} {'s':>7}")

    def row(name, wanted, call):
        if only and name not in only:
            return
        began = time.process_time()
        found, bound = call()
        took = time.process_time() - began
        print(f"{name:>16} {wanted:>12} {found:>10} {bound:>10} {took:7.1f}", flush=True)

    effort = Effort(seconds, workers, 1)
    classic = json.loads((data / "jsp" / "jsp_classic.json").read_text())
    for name in ("ft06", "ft10", "ft20", "la01", "la02", "la03", "la04", "la05", "la06", "la11", "la16", "la19"):
        row(name, classic[name]["optimum"], lambda n=name: job_shop(classic[n]["jobs"], effort))
    bounds = {b["name"]: b for b in json.loads((data / "fjsp" / "bounds.json").read_text())}
    for name in (*(f"mk{i:02d}" for i in range(1, 11)), "kacem1", "kacem2", "kacem3", "kacem4"):
        known = bounds.get(name, {})
        said = FLEXIBLE_MOST.get(name) or known.get("optimum") or "{lower}..{upper}".format(**known["bounds"])
        row(name, said, lambda n=name: flexible_job_shop(read_flexible(data / "fjsp" / f"{n}.txt"), effort))
    for b in json.loads((data / "pbatch" / "pbatch_10jobs.json").read_text()):
        row(b["name"], b["optimal_makespan_single_machine"],
            lambda b=b: batch_machine(b["p"], b["s"], b["capacity"], effort))  # fmt: skip
    for b in json.loads((data / "am" / "am_batch_schedule_2x10.json").read_text()):
        row(b["name"], f"{b['optimal_makespan']:.3f}", lambda b=b: additive_batches(b, effort))
