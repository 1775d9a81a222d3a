"""What the pieces of the exact model share: variables, choices of a pool, spans that hold it, calendars."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import gcd
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from cakewright.schedule.calendars import FAR, Span
from cakewright.schedule.instance import Instance
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pool, Pools

COST_SCALE = 1000  # weights in thousandths, so that the solver counts in whole numbers
Var = Any  # variables and literals of the solver have no types
Key = tuple[str, int, int]  # ("hand", build, 0..3), ("step", step, 0), ("op", portion, 0)


@dataclass(frozen=True, slots=True)
class Free:
    """What the solver may move; everything else stays."""

    builds: frozenset[int]
    baskets: frozenset[int]
    lines: frozenset[int]


def free_all(instance: Instance) -> Free:
    """Everything."""
    return Free(*(frozenset(range(len(x))) for x in (instance.builds, instance.baskets, instance.lines)))


def free_with(instance: Instance, builds: Sequence[int]) -> Free:
    """These builds, and the bench work that depends on them."""
    a, chosen = instance.arrays, set(builds)
    baskets = {
        k
        for k in range(len(instance.baskets))
        if chosen.intersection(a.basket_build[a.basket_build_at[k] : a.basket_build_at[k + 1]].tolist())
    }
    lines = {
        i
        for i in range(len(instance.lines))
        if chosen.intersection(a.line_build[a.line_build_at[i] : a.line_build_at[i + 1]].tolist())
        or baskets.intersection(a.line_basket[a.line_basket_at[i] : a.line_basket_at[i + 1]].tolist())
    }
    return Free(frozenset(chosen), frozenset(baskets), frozenset(lines))


def widened(instance: Instance, placed: Placed, builds: Sequence[int]) -> Free:
    """As `free_with`, and with every build whose baskets share a bath with those: a run is moved whole."""
    a, chosen = instance.arrays, set(builds)
    step_basket = np.repeat(np.arange(len(instance.baskets)), np.diff(a.step_at))
    runs: dict[tuple[int, int], set[int]] = defaultdict(set)
    for s in np.flatnonzero((a.step_shared >= 0) & (a.kept_step[:, 0] == UNSET)):
        runs[int(placed.step_start[s]), int(placed.step_station[s])].add(int(step_basket[s]))
    together = [baskets for baskets in runs.values() if len(baskets) > 1]
    while True:
        free = free_with(instance, sorted(chosen))
        linked = set().union(*(baskets for baskets in together if baskets & free.baskets)) - free.baskets
        if not linked:
            return free
        for k in linked:
            chosen |= set(a.basket_build[a.basket_build_at[k] : a.basket_build_at[k + 1]].tolist())


def grain(instance: Instance) -> int:
    """Greatest common divisor in minutes of all durations and edges of calendars (kept tasks count as edges)."""
    a = instance.arrays
    edges = [a.busy[r, : a.used[r]].ravel() for r in range(len(a.used))]
    edges += [a.machine_busy[m, : a.machine_used[m], :2].ravel() for m in range(len(a.machine_used))]
    lasting = (a.release, a.load, a.printing, a.in_machine, a.cool, a.unload, a.unpack, a.clean, a.step_hands)
    more = (
        a.step_run,
        a.step_wait,
        a.op_hands,
        a.changeover,
        a.test,
        a.test_wait,
        a.watched,
        a.arrival[:, 1],
        a.service,
        a.clean_down,
        a.kept_down,
    )
    kept = (a.kept_at, a.kept_end, a.kept_heat, a.kept_step, a.kept_op, a.kept_test, a.kept_booking[:, 1:])
    values = np.concatenate([np.ravel(x) for x in (*edges, *lasting, *more, *kept)])
    values = values[(np.abs(values) < FAR)]
    return max(1, gcd(*(int(v) for v in np.unique(values))))


class Base:
    """Variables, literals and the spans that hold something; what each kind of work adds comes in subclasses."""

    def __init__(self, instance: Instance, pools: Pools, placed: Placed, free: Free, window: Span) -> None:
        self.instance, self.a, self.pools, self.placed, self.free = instance, instance.arrays, pools, placed, free
        self.g = grain(instance)
        self.free_all = len(free.lines) == len(instance.lines) and len(free.builds) == len(instance.builds)
        self.earliest, self.horizon = window[0] // self.g, window[1] // self.g  # nothing free leaves the window
        self.cp = cp_model.CpModel()
        self.start: dict[Key, Var] = {}
        self.machine: dict[tuple[int, int], Var] = {}  # (build, machine) -> literal
        self.use: dict[tuple[str, Key, int], Var] = {}  # (kind of pool, key, pool) -> literal
        self.hints: list[tuple[Var, int]] = []
        self._on: dict[tuple[str, int], list[tuple[Var, int]]] = defaultdict(list)
        self._on_machine: dict[int, list[tuple[int, Var, Var, Var, Var]]] = defaultdict(list)
        self._ready_build: dict[int, Var] = {}
        self._door: dict[int, Var] = {}
        self._printed: dict[int, Var] = {}
        self._result: dict[int, Var] = {}
        self._end_basket: dict[int, Var] = {}
        self.down: dict[int, Var] = {}  # build -> grains of cleaning the bench before it
        self.begin: dict[int, Var] = {}  # build -> start of that cleaning
        self.joins: dict[tuple[int, int], Var] = {}  # (step, leading step) -> literal
        self.late: dict[int, Var] = {}
        self.ready: dict[int, Var] = {}

    # --- pieces ---------------------------------------------------------------------------------------

    def _var(self, key: Key, hint: int, minutes: int) -> Var:
        var = self.cp.new_int_var(self.earliest, self.horizon - minutes // self.g, f"{key}")
        self.start[key] = var
        self.hints.append((var, max(0, hint) // self.g))
        return var

    def _bool(self, hint: bool) -> Var:
        var = self.cp.new_bool_var("")
        self.hints.append((var, int(hint)))
        return var

    def _pick(self, kind: str, key: Key, pools: Sequence[Pool], allowed: Sequence[bool], row: int) -> Var:
        """One literal for each pool, exactly one true; `row` is where it is now."""
        chosen = [j for j, ok in enumerate(allowed) if ok]
        literals = [(j, True if len(chosen) == 1 else self._bool(row in pools[j].rows)) for j in chosen]
        if len(chosen) > 1:
            self.cp.add_exactly_one([lit for _, lit in literals])
        for j, lit in literals:
            self.use[kind, key, j] = lit
        return literals

    def _hold(self, kind: str, key: Key, start: Var, size: Var, end: Var, pools: Any, allowed: Any, row: int) -> None:
        for j, lit in self._pick(kind, key, pools, allowed, row):
            if lit is True:
                interval = self.cp.new_interval_var(start, size, end, "")
            else:
                interval = self.cp.new_optional_interval_var(start, size, end, lit, "")
            self._on[kind, j].append((interval, 1))

    def _hands(self, key: Key, start: Var, minutes: int, skill: int, person: int, before: Var = 0) -> None:
        """Somebody's hands from `start` for `before` grains and `minutes`."""
        if minutes > 0 or not isinstance(before, int):
            allowed = [bool(self.a.can[skill, p.rows[0]]) for p in self.pools.people]
            size = before + minutes // self.g
            end = start + size if isinstance(before, int) else self.start[key] + minutes // self.g
            self._hold("people", key, start, size, end, self.pools.people, allowed, person)
