"""The exact solver: all builds at once for small cells, some builds at a time for larger ones.

OR-Tools CP-SAT, stated effort instead of seconds, one worker unless asked otherwise: the same call gives the same
schedule. Whatever it reports is computed again from the placed minutes; a difference is an error, not a result.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from cakewright.errors import NotConvergedError
from cakewright.schedule.calendars import Span
from cakewright.schedule.cpsat_base import COST_SCALE, Free, Key, free_all
from cakewright.schedule.cpsat_model import Model
from cakewright.schedule.cpsat_order import set_clean_downs, set_services
from cakewright.schedule.instance import Instance
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pools, share_out
from cakewright.sources.schedule import EARLINESS_WEIGHT


@dataclass(frozen=True, slots=True)
class Effort:
    """How much one call may work: deterministic units of the solver (about a second each), workers, seed."""

    units: float
    workers: int = 1
    seed: int = 1


@dataclass(frozen=True, eq=False)
class Answer:
    """A schedule no worse than the one given, and what is proved about it.

    `lateness` and `bound` are weighted minutes; `proved` means that nothing free to move gives less lateness.
    """

    placed: Placed
    cost: float
    lateness: float
    bound: float
    proved: bool


def copy_placed(placed: Placed) -> Placed:
    """An independent copy."""
    return Placed(*(x.copy() for x in placed))


def cost_of(instance: Instance, placed: Placed) -> float:
    """The cost that the decoder minimises, worked out from placed minutes alone."""
    a, early = instance.arrays, float(EARLINESS_WEIGHT.value)
    ready = placed.ready
    moved = sum(
        abs(int(placed.at[b, 0] - a.steady_at[b]))
        for b in range(len(a.load))
        if a.steady_at[b] > UNSET and a.kept_at[b, 0] == UNSET
    )
    return float(lateness_of(instance, placed) + early * (a.weight @ ready + ready.max(initial=0)) + a.steady * moved)


def lateness_of(instance: Instance, placed: Placed) -> float:
    """Weighted minutes late."""
    a = instance.arrays
    return float(a.weight @ np.maximum(0, placed.ready - a.due))


def solve(
    instance: Instance,
    pools: Pools,
    placed: Placed,
    free: Free,
    window: Span,
    effort: Effort,
    *,
    lateness_first: bool = False,
    stopped: Callable[[], bool] = lambda: False,
) -> Answer:
    """The best schedule found with `free` builds moved inside a window of minutes, never worse in cost than `placed`.

    With `lateness_first` the weighted lateness alone is minimised and proved, then the rest is made early.
    """
    model = Model(instance, pools, placed, free, window)
    before, best = cost_of(instance, placed), placed
    proved, bound = False, 0.0
    if lateness_first:
        solver, status = _run(model, model.lateness, effort, stopped)
        bound = max(0.0, solver.best_objective_bound / COST_SCALE) if status != cp_model.UNKNOWN else 0.0
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            found = _checked(model, solver, status == cp_model.OPTIMAL, lateness_of)
            proved = status == cp_model.OPTIMAL
            model.cp.add(model.lateness <= round(lateness_of(instance, found) * COST_SCALE))
            _hint(model, solver)
            best = found
        effort = Effort(effort.units / 2, effort.workers, effort.seed)
    solver, status = _run(model, model.cost, effort, stopped)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        found = _checked(model, solver, status == cp_model.OPTIMAL, cost_of)
        if cost_of(instance, found) < cost_of(instance, best) or best is placed:
            best = found
        proved = proved or (status == cp_model.OPTIMAL and not lateness_first)
    if cost_of(instance, best) >= before and lateness_of(instance, best) >= lateness_of(instance, placed):
        best = placed
    late = lateness_of(instance, best)
    return Answer(best, cost_of(instance, best), late, late if proved else min(bound, late), proved)


def earliest_end(instance: Instance, pools: Pools, placed: Placed, effort: Effort) -> tuple[Placed, int, int]:
    """The schedule whose last line is ready soonest, that minute, and a minute before which it cannot be."""
    model = Model(instance, pools, placed, free_all(instance), (0, instance.horizon_min))
    solver, status = _run(model, model.last, effort, lambda: False)
    found = read(model, solver) if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else placed
    bound = 0 if status == cp_model.UNKNOWN else round(solver.best_objective_bound) * model.g
    return found, int(found.ready.max(initial=0)), bound


def settle(solver: Any, effort: Effort) -> None:
    """The settings with which everything is solved here."""
    solver.parameters.num_workers = effort.workers
    solver.parameters.random_seed = effort.seed
    solver.parameters.max_deterministic_time = effort.units
    solver.parameters.cp_model_probing_level = 0  # probing, symmetry and linear relaxations cost more than they save
    solver.parameters.symmetry_level = 0
    solver.parameters.linearization_level = 0
    solver.parameters.use_disjunctive_constraint_in_cumulative = False


def _run(model: Model, objective: Any, effort: Effort, stopped: Callable[[], bool]) -> tuple[Any, Any]:
    cp, solver = model.cp, cp_model.CpSolver()
    cp.minimize(objective)
    cp.clear_hints()  # type: ignore[no-untyped-call]
    for var, value in model.hints:
        cp.add_hint(var, value)
    settle(solver, effort)
    status = solver.solve(cp, _Watch(stopped))
    if status == cp_model.MODEL_INVALID:
        raise NotConvergedError(f"the model is wrong: {cp.validate()}", remedy="this is a mistake in the program")
    return solver, status


class _Watch(cp_model.CpSolverSolutionCallback):
    """Ends the search at the next better schedule when somebody wants it to end."""

    def __init__(self, stopped: Callable[[], bool]) -> None:
        super().__init__()
        self.stopped = stopped

    def on_solution_callback(self) -> None:
        """Called by the solver for each better schedule."""
        if self.stopped():
            self.stop_search()


def _hint(model: Model, solver: Any) -> None:
    model.hints = [(var, int(solver.value(var))) for var, _ in model.hints]


def _checked(model: Model, solver: Any, optimal: bool, measure: Callable[[Instance, Placed], float]) -> Placed:
    """The placed minutes of a solution; NotConvergedError when the solver's objective is not what they cost.

    A solution that is not the best may leave slack in what the solver counts, so it may then cost less, never more.
    """
    placed = read(model, solver)
    if model.free_all:
        said, own = solver.objective_value / COST_SCALE, measure(model.instance, placed)
        slack = 1e-3 * max(1.0, own)
        if own > said + slack or (optimal and own < said - slack):
            raise NotConvergedError(
                f"the solver reports a cost of {said:.1f}, its schedule costs {own:.1f}",
                remedy="do not use this schedule; report it together with the version of ortools",
            )
    return placed


def read(model: Model, solver: Any) -> Placed:
    """Placed minutes of a solution, with names shared out again inside each pool."""
    a, g = model.a, model.g
    placed = copy_placed(model.placed)
    at = {key: int(solver.value(var)) * g for key, var in model.start.items()}
    pool = {(kind, key): j for (kind, key, j), lit in model.use.items() if lit is True or solver.boolean_value(lit)}
    for (b, m), lit in model.machine.items():
        if lit is True or solver.boolean_value(lit):
            placed.machine[b] = m
    minutes = np.stack([a.load, a.unload, a.unpack, a.clean], axis=1)
    for (kind, n, i), start in at.items():
        if kind == "hand":
            placed.at[n, i], placed.end[n, i] = start, start + minutes[n, i]
        elif kind == "test":
            placed.test[n, 0], placed.test[n, 2] = start, start + int(a.test[n] + a.test_wait[n])
        elif kind == "step":
            placed.step_start[n] = start
        else:
            placed.op_start[n] = start
    for b in model.free.builds:
        if a.kept_at[b, 0] == UNSET:
            placed.printed[b] = placed.end[b, 0] + a.printing[b, placed.machine[b]]
            placed.cold[b] = placed.printed[b] + a.cool[b]
    joined = {s: leader for (s, leader), join in model.joins.items() if solver.boolean_value(join)}
    for b in model.down:
        placed.station[b] = model.pools.stations[pool["stations", ("hand", b, 2)]].rows[0]
    served = {
        on: bool(lit if isinstance(lit, int) else solver.boolean_value(lit)) for on, lit in model.serviced.items()
    }
    set_services(a, placed, served)
    set_clean_downs(a, placed)
    _name_rows(model, placed, pool, joined)
    _finish(model.instance, placed)
    return placed


def _name_rows(model: Model, placed: Placed, pool: dict[tuple[str, Key], int], joined: dict[int, int]) -> None:
    """Share the members of each pool out among everything that uses it; what is kept keeps its own."""
    a, instance = model.a, model.instance
    uses: dict[tuple[str, int], list[tuple[Span, np.ndarray[Any, Any], Any]]] = defaultdict(list)
    where = {(kind, r): j for kind in ("people", "chambers", "stations")
             for j, p in enumerate(getattr(model.pools, kind)) for r in p.rows}  # fmt: skip

    def use(kind: str, key: Key, start: int, end: int, array: np.ndarray[Any, Any], index: Any) -> None:
        j = pool.get((kind, key))
        if j is None and array[index] >= 0:
            j = where[kind, int(array[index])]
        if j is not None and end > start:
            uses[kind, j].append(((start, end), array, index))

    for b in range(len(a.load)):
        for i in range(4):
            if a.kept_at[b, i] == UNSET:
                down = int(placed.clean_down[b]) if i == 2 else 0
                use("people", ("hand", b, i), int(placed.at[b, i]) - down, int(placed.end[b, i]), placed.by, (b, i))
        if a.test[b] > 0 and a.kept_test[b, 0] == UNSET:
            start = int(placed.test[b, 0])
            use("people", ("test", b, 0), start, start + int(a.test[b]), placed.test, (b, 1))
        if a.kept_at[b, 0] == UNSET:
            use("chambers", ("hand", b, 0), int(placed.at[b, 0]), int(placed.end[b, 3]), placed.chamber, b)
        if a.kept_at[b, 2] == UNSET:
            begins = int(placed.at[b, 2] - placed.clean_down[b])
            use("stations", ("hand", b, 2), begins, int(placed.end[b, 2]), placed.station, b)
    leads = _leaders(instance, placed, model, joined)
    for s in range(len(a.step_run)):
        if leads[s] == s and a.kept_step[s, 0] == UNSET:
            start, key = int(placed.step_start[s]), ("step", s, 0)
            use("stations", key, start, start + int(a.step_run[s]), placed.step_station, s)
            use("people", key, start, start + int(a.step_hands[s]), placed.step_by, s)
    for op in range(len(a.op_hands)):
        if a.kept_op[op, 0] == UNSET:
            start = int(placed.op_start[op])
            use("people", ("op", op, 0), start, start + int(a.op_hands[op]), placed.op_by, op)
    for (kind, j), members in uses.items():
        rows = share_out([span for span, _, _ in members], getattr(model.pools, kind)[j].rows)
        for row, (_, array, index) in zip(rows, members, strict=True):
            array[index] = row
    for s, leader in leads.items():
        placed.step_station[s], placed.step_by[s] = placed.step_station[leader], placed.step_by[leader]


def _leaders(instance: Instance, placed: Placed, model: Model, joined: dict[int, int]) -> dict[int, int]:
    """For each step the one that holds its station: itself, the one it joined, or the first of a run that stayed."""
    a = instance.arrays
    leads = {s: s for s in range(len(a.step_run))}
    seen: dict[tuple[int, int], int] = {}
    for s in range(len(a.step_run)):
        if ("step", s, 0) not in model.start and a.step_shared[s] >= 0:
            leads[s] = seen.setdefault((int(placed.step_start[s]), int(placed.step_station[s])), s)
    return leads | joined


def _finish(instance: Instance, placed: Placed) -> None:
    """Ends of baskets and ready minutes from the placed starts."""
    a = instance.arrays
    for k in range(len(instance.baskets)):
        end = max(int(placed.end[b, 2]) for b in a.basket_build[a.basket_build_at[k] : a.basket_build_at[k + 1]])
        for s in range(a.step_at[k], a.step_at[k + 1]):
            kept = a.kept_step[s, 0] > UNSET
            end = max(0, int(a.kept_step[s, 2])) if kept else int(placed.step_start[s] + a.step_run[s] + a.step_wait[s])
        placed.basket_end[k] = end
    for i in range(len(instance.lines)):
        ready = max(int(placed.end[b, 2]) for b in a.line_build[a.line_build_at[i] : a.line_build_at[i + 1]])
        for k in a.line_basket[a.line_basket_at[i] : a.line_basket_at[i + 1]]:
            ready = max(ready, int(placed.basket_end[k]))
        for op in range(a.op_at[i], a.op_at[i + 1]):
            kept = a.kept_op[op, 0] > UNSET
            ready = max(0, int(a.kept_op[op, 1])) if kept else int(placed.op_start[op] + a.op_hands[op])
        placed.ready[i] = ready
