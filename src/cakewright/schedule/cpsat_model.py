"""The scheduling problem for the exact solver, for all builds or for some while the rest stays where it is.

One model: a build is load, lift out, unpack, clean; print and cooling are what lies between. Machines are chosen,
pools of chambers, people and stations are counted (`pools`). Off-duty time is a span that takes the whole pool. Minutes
are divided by their greatest common divisor.
"""

from __future__ import annotations

import numpy as np

from cakewright.schedule.calendars import Span
from cakewright.schedule.cpsat_base import COST_SCALE, Free, Var
from cakewright.schedule.cpsat_bench import Bench
from cakewright.schedule.cpsat_limits import Limits
from cakewright.schedule.cpsat_order import Order
from cakewright.schedule.instance import INSPECT, START, UNPACK, Instance
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pools
from cakewright.sources.schedule import EARLINESS_WEIGHT


class Model(Bench, Limits, Order):
    """Variables and constraints; `hints` and `read` translate from and to placed minutes."""

    def __init__(self, instance: Instance, pools: Pools, placed: Placed, free: Free, window: Span) -> None:
        super().__init__(instance, pools, placed, free, window)
        for b in sorted(free.builds):
            self._build(b)
        for k in sorted(free.baskets):
            self._basket(k)
        self._baths()
        for i in sorted(free.lines):
            self._line(i)
        self._machines()
        self._services()
        self._clean_downs()
        self._pools_hold()
        self._utilities()
        self._powder()
        self._objective()

    def _build(self, b: int) -> None:
        a, p, g, cp = self.a, self.placed, self.g, self.cp
        skill = [self.instance.skills.index(s) for s in (START, START, UNPACK, UNPACK)]
        minutes = [int(x[b]) for x in (a.load, a.unload, a.unpack, a.clean)]
        starts: list[Var] = []
        ends: list[Var] = []
        for i in range(4):
            if a.kept_at[b, i] > UNSET:
                starts.append(int(a.kept_at[b, i]) // g)
                ends.append(int(a.kept_end[b, i]) // g)
                continue
            start = self._var(("hand", b, i), int(p.at[b, i]), minutes[i])
            starts.append(start)
            ends.append(start + minutes[i] // g)
            begin, down = self._unpack_begins(b, start) if i == 2 else (start, 0)
            self._hands(("hand", b, i), begin, minutes[i], skill[i], int(p.by[b, i]), down)
        kept = a.kept_at[b, 0] > UNSET
        if kept:
            machines = [(int(a.kept_place[b, 0]), True)]
            printed = int(p.printed[b]) // g
            cold = int(p.cold[b]) // g
        else:
            choice = [int(m) for m in np.flatnonzero(a.printing[b])]
            machines = [(m, True if len(choice) == 1 else self._bool(p.machine[b] == m)) for m in choice]
            if len(choice) > 1:
                cp.add_exactly_one([lit for _, lit in machines])
            printed = ends[0] + sum(int(a.printing[b, m]) // g * lit for m, lit in machines)
            cold = printed + int(a.cool[b]) // g
            cp.add(starts[0] >= -(-int(a.release[b]) // g))
            for m, lit in machines:
                if a.watched[m] > 0:
                    watched = min(int(a.watched[m]), int(a.printing[b, m]))
                    self._within(ends[0], int(a.start_row), watched, [] if lit is True else [lit])
        self.machine |= {(b, m): lit for m, lit in machines}
        if a.kept_at[b, 1] == UNSET:
            cp.add(starts[1] >= printed + int(a.in_machine[b]) // g)
        if a.kept_at[b, 2] == UNSET:
            cp.add((self.begin[b] if b in self.begin else starts[2]) >= ends[1])
            cp.add(starts[2] >= cold)  # the bench may be cleaned before, while the cake cools
        if a.kept_at[b, 3] == UNSET:
            cp.add(starts[3] >= ends[2])
        self._stay_on_machine(b, machines, starts[0], ends[1], bool(kept))
        self._stay_in_chamber(b, starts[0], ends[3], bool(kept))
        if a.kept_at[b, 2] == UNSET:
            allowed = [bool(a.unpack_ok[b, q.rows[0]]) for q in self.pools.stations]
            begin, size = self.begin.get(b, starts[2]), self.down.get(b, 0) + minutes[2] // g
            self._hold(
                "stations", ("hand", b, 2), begin, size, ends[2], self.pools.stations, allowed, int(p.station[b])
            )
        self._ready_build[b] = ends[2]
        self._door[b], self._printed[b] = ends[0], printed
        self._test(b)

    def _test(self, b: int) -> None:
        """Hands for the specimens, and the variable that says when there is a result."""
        a, g = self.a, self.g
        if a.test[b] <= 0 or a.kept_test[b, 0] > UNSET:
            return
        start = self._var(("test", b, 0), int(self.placed.test[b, 0]), int(a.test[b]))
        self.cp.add(start >= self._ready_build[b])
        skill = self.instance.skills.index(INSPECT)
        self._hands(("test", b, 0), start, int(a.test[b]), skill, int(self.placed.test[b, 1]))
        self._result[b] = start + int(a.test[b] + a.test_wait[b]) // g

    def _stay_on_machine(self, b: int, machines: list[tuple[int, Var]], start: Var, end: Var, kept: bool) -> None:
        if kept and not isinstance(end, int):
            start = max(0, start)
        size = end - start if isinstance(end, int) else self.cp.new_int_var(0, self.horizon, "")
        if not isinstance(size, int):
            self.cp.add(size == end - start)
        elif size <= 0 or end <= 0:
            return
        for m, lit in machines:
            interval = (
                self.cp.new_interval_var(start, size, end, "")
                if lit is True
                else self.cp.new_optional_interval_var(start, size, end, lit, "")
            )
            self._on_machine[m].append((b, interval, lit, start, end))

    def _stay_in_chamber(self, b: int, start: Var, end: Var, kept: bool) -> None:
        if kept:
            start = max(0, start)
        if isinstance(end, int):
            if end <= start:
                return
            size: Var = end - start
        else:
            size = self.cp.new_int_var(0, self.horizon, "")
            self.cp.add(size == end - start)
        row = int(self.placed.chamber[b])
        if kept:
            allowed = [row in q.rows for q in self.pools.chambers]
        else:
            allowed = [bool(self.a.chamber_ok[b, q.rows[0]]) for q in self.pools.chambers]
        self._hold("chambers", ("hand", b, 0), start, size, end, self.pools.chambers, allowed, row)

    # --- objective ------------------------------------------------------------------------------------

    def _objective(self) -> None:
        a, e = self.a, float(EARLINESS_WEIGHT.value)
        weight = {i: round(float(a.weight[i]) * COST_SCALE) for i in self.late}
        early = {i: round(float(a.weight[i]) * e * COST_SCALE) * self.g for i in self.late}
        others = [int(self.placed.ready[i]) // self.g for i in range(len(a.due)) if i not in self.ready]
        self.last = self.cp.new_int_var(max(others, default=0), max(self.horizon, max(others, default=0)), "")
        self.hints.append((self.last, int(self.placed.ready.max(initial=0)) // self.g))
        for ready in self.ready.values():
            self.cp.add(self.last >= ready)
        self.lateness = sum(weight[i] * late for i, late in self.late.items())
        steady = self._steadiness()
        self.cost = (
            self.lateness
            + sum(early[i] * ready for i, ready in self.ready.items())
            + round(e * COST_SCALE) * self.g * self.last
            + steady
        )

    def _steadiness(self) -> Var:
        """Cost of loadings that move against the plan before; |x| as two inequalities."""
        a = self.a
        total: Var = 0
        for b in self.free.builds:
            if a.steady_at[b] > UNSET and ("hand", b, 0) in self.start:
                moved = self.cp.new_int_var(0, self.horizon * self.g + abs(int(a.steady_at[b])), "")
                load = self.start["hand", b, 0]
                self.cp.add(moved >= self.g * load - int(a.steady_at[b]))
                self.cp.add(moved >= int(a.steady_at[b]) - self.g * load)
                total = total + round(float(a.steady) * COST_SCALE) * moved
        return total
