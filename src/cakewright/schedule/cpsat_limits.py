"""Machines, pools, utilities and powder in the exact model: what cannot be used twice."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from cakewright.schedule.calendars import Span
from cakewright.schedule.cpsat_base import Base, Var
from cakewright.schedule.kept import UNSET


class Limits(Base):
    """Adds that nothing is used by more than it can carry."""

    def _machines(self) -> None:
        a, g, cp = self.a, self.g, self.cp
        for m, stays in self._on_machine.items():
            change = int(a.changeover[m]) // g
            closed = [(int(s) // g, -(-int(e) // g)) for s, e, _ in a.machine_busy[m, : a.machine_used[m]]]
            fixed = [
                (int(self.placed.at[b, 0]) // g, int(self.placed.end[b, 1]) // g, int(a.material[b]))
                for b in range(len(a.load))
                if b not in self.free.builds and self.placed.machine[b] == m
            ]
            materials = {int(a.material[b]) for b, *_ in stays}
            for material in sorted(materials):
                own = [iv for b, iv, *_ in stays if change == 0 or int(a.material[b]) == material]
                blocks = [*closed, *((s, e) if x == material else (s - change, e + change) for s, e, x in fixed)]
                cp.add_no_overlap([*own, *self._blocks(blocks)])
                if change == 0:
                    break
            if change:
                self._changeovers(m, stays, change)

    def _changeovers(self, m: int, stays: list[tuple[int, Var, Var, Var, Var]], change: int) -> None:
        cp, a = self.cp, self.a
        if len({int(a.material[b]) for b, *_ in stays}) > 1:
            cp.add_no_overlap([iv for _, iv, *_ in stays])
        for b, _, lit, start, _ in stays:
            if a.material[b] != a.machine_material[m] and not isinstance(start, int):
                cp.add(start >= change).only_enforce_if([] if lit is True else [lit])
        for n, (i, _, on_i, start_i, end_i) in enumerate(stays):
            for j, _, on_j, start_j, end_j in stays[:n]:
                if a.material[i] != a.material[j]:
                    both = [lit for lit in (on_i, on_j) if lit is not True]
                    first = self._bool(self.placed.at[i, 0] < self.placed.at[j, 0])
                    cp.add(start_j >= end_i + change).only_enforce_if([*both, first])
                    cp.add(start_i >= end_j + change).only_enforce_if([*both, first.negated()])

    def _utilities(self) -> None:
        """Never more machines print on a utility than it carries."""
        a, g, cp, p = self.a, self.g, self.cp, self.placed
        for u in np.flatnonzero(a.utility_most > 0):
            on = [m for m in range(len(a.utility_of)) if a.utility_of[m, u]]
            intervals = [
                cp.new_fixed_size_interval_var(
                    max(0, int(p.end[b, 0]) // g), int(p.printed[b]) // g - max(0, int(p.end[b, 0]) // g), ""
                )
                for b in range(len(a.load))
                if b not in self.free.builds and p.machine[b] in on and p.printed[b] > 0
            ]
            for (b, m), lit in self.machine.items():
                if m in on and not isinstance(self._door[b], int):
                    size = int(a.printing[b, m]) // g
                    only = [] if lit is True else [lit]
                    end = self._door[b] + size
                    intervals.append(
                        cp.new_optional_interval_var(self._door[b], size, end, only[0], "")
                        if only
                        else cp.new_interval_var(self._door[b], size, end, "")
                    )
                elif m in on and isinstance(self._printed[b], int) and self._printed[b] > 0:
                    start = max(0, self._door[b])
                    intervals.append(cp.new_fixed_size_interval_var(start, max(0, self._printed[b] - start), ""))
            cp.add_cumulative(intervals, [1] * len(intervals), int(a.utility_most[u]))

    def _powder(self) -> None:
        """At every loading the virgin powder that has come in covers what has been taken."""
        a, g, p = self.a, self.g, self.placed
        for material in {int(a.material[b]) for b in self.free.builds if a.virgin[b] > 0}:
            times: list[Var] = [int(t) // g for i, t, _ in a.arrival if i == material and t > 0]
            changes = [int(kg) for i, t, kg in a.arrival if i == material and t > 0]
            stock = int(a.stock[material]) + sum(int(kg) for i, t, kg in a.arrival if i == material and t <= 0)
            for b in range(len(a.load)):
                if a.material[b] == material and a.virgin[b] > 0 and p.at[b, 0] >= 0:
                    times.append(self.start.get(("hand", b, 0), int(p.at[b, 0]) // g))
                    changes.append(-int(a.virgin[b]))
            self.cp.add_reservoir_constraint(
                [0, *times], [stock, *changes], 0, stock + sum(c for c in changes if c > 0)
            )

    def _blocks(self, spans: Sequence[Span]) -> list[Var]:
        """Fixed intervals, cut to the horizon; overlapping ones become one."""
        merged: list[list[int]] = []
        for s, e in sorted((max(self.earliest, s), min(self.horizon, e)) for s, e in spans):
            if e <= s:
                continue
            if merged and s < merged[-1][1]:
                merged[-1][1] = max(merged[-1][1], e)
            else:
                merged.append([s, e])
        return [self.cp.new_fixed_size_interval_var(s, e - s, "") for s, e in merged]

    def _pools_hold(self) -> None:
        fixed = self._fixed_spans()
        for kind in ("people", "chambers", "stations"):
            for j, pool in enumerate(getattr(self.pools, kind)):
                own = self._on.get((kind, j), [])
                if not own:
                    continue
                closed = self._blocks([(s // self.g, -(-e // self.g)) for s, e in pool.closed])
                taken = [(max(self.earliest, s // self.g), min(self.horizon, e // self.g)) for s, e in fixed[kind, j]]
                taken = [(s, e) for s, e in taken if e > s]
                others = [self.cp.new_fixed_size_interval_var(s, e - s, "") for s, e in taken]
                n = len(pool.rows)
                if n == 1:
                    self.cp.add_no_overlap([*(iv for iv, _ in own), *others, *closed])
                else:
                    intervals = [*(iv for iv, _ in own), *others, *closed]
                    demands = [1] * (len(own) + len(others)) + [n] * len(closed)
                    self.cp.add_cumulative(intervals, demands, n)

    def _fixed_spans(self) -> dict[tuple[str, int], list[Span]]:
        """Spans of everything that is not free and not kept, by pool."""
        a, p = self.a, self.placed
        spans: dict[tuple[str, int], list[Span]] = defaultdict(list)
        where = {(kind, r): j for kind in ("people", "chambers", "stations")
                 for j, pool in enumerate(getattr(self.pools, kind)) for r in pool.rows}  # fmt: skip

        def put(kind: str, row: int, start: int, end: int) -> None:
            if row >= 0 and end > start:
                spans[kind, where[kind, row]].append((start, end))

        for b in set(range(len(a.load))) - self.free.builds:
            for i in range(4):
                if a.kept_at[b, i] == UNSET:
                    down = int(p.clean_down[b]) if i == 2 else 0
                    put("people", int(p.by[b, i]), int(p.at[b, i]) - down, int(p.end[b, i]))
            if a.test[b] > 0 and a.kept_test[b, 0] == UNSET:
                put("people", int(p.test[b, 1]), int(p.test[b, 0]), int(p.test[b, 0] + a.test[b]))
            put("chambers", int(p.chamber[b]), int(p.at[b, 0]), int(p.end[b, 3]))
            if a.kept_at[b, 2] == UNSET:
                put("stations", int(p.station[b]), int(p.at[b, 2] - p.clean_down[b]), int(p.end[b, 2]))
        runs: set[tuple[int, int]] = set()
        for k in set(range(len(self.instance.baskets))) - self.free.baskets:
            for s in range(a.step_at[k], a.step_at[k + 1]):
                start, station = int(p.step_start[s]), int(p.step_station[s])
                if a.kept_step[s, 0] == UNSET and (start, station) not in runs:
                    runs.add((start, station))
                    put("stations", station, start, start + int(a.step_run[s]))
                    put("people", int(p.step_by[s]), start, start + int(a.step_hands[s]))
        for i in set(range(len(self.instance.lines))) - self.free.lines:
            for op in range(a.op_at[i], a.op_at[i + 1]):
                if a.kept_op[op, 0] == UNSET:
                    put("people", int(p.op_by[op]), int(p.op_start[op]), int(p.op_start[op] + a.op_hands[op]))
        return spans
