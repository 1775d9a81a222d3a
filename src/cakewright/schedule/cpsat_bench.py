"""Finishing, shared baths, inspection and packing in the exact model."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from cakewright.schedule.cpsat_base import Base, Key, Var
from cakewright.schedule.kept import UNSET


class Bench(Base):
    """Adds what follows after unpacking."""

    def _unpacked(self, b: int) -> Var:
        return self._ready_build.get(b, int(self.placed.end[b, 2]) // self.g)

    def _basket(self, k: int) -> None:
        a, g, cp = self.a, self.g, self.cp
        at = [self._unpacked(int(b)) for b in a.basket_build[a.basket_build_at[k] : a.basket_build_at[k + 1]]]
        for s in range(a.step_at[k], a.step_at[k + 1]):
            if a.kept_step[s, 0] > UNSET:
                at = [int(a.kept_step[s, 2]) // g]
                continue
            key = ("step", s, 0)
            start = self._var(key, int(self.placed.step_start[s]), int(a.step_run[s]))
            for before in at:
                cp.add(start >= before)
            if a.step_day_row[s] >= 0:
                self._within(start, int(a.step_day_row[s]), max(int(a.step_hands[s]), 1))
            if a.step_watch_row[s] >= 0:
                self._within(start, int(a.step_watch_row[s]), int(a.step_run[s]))
            at = [start + int(a.step_run[s] + a.step_wait[s]) // g]
            if a.step_shared[s] < 0:
                self._step_holds(s, start, True)
        self._end_basket[k] = at

    def _within(self, start: Var, row: int, minutes: int, only: Sequence[Var] = ()) -> None:
        """The start lies where a calendar leaves room for so many minutes."""
        closed = self.a.busy[row, : self.a.used[row]]
        spans = []
        for (_, free), (until, _) in pairwise(closed):
            first, last = -(-int(free) // self.g), (int(until) - minutes) // self.g
            if last >= first:
                spans.append([max(0, first), last])
        domain = cp_model.Domain.from_intervals(spans)
        self.cp.add_linear_expression_in_domain(start, domain).only_enforce_if(list(only))

    def _step_holds(self, s: int, start: Var, leads: Var) -> None:
        """Station and hands of a step, held only when it leads its bath (`leads` True: always)."""
        a, g, key = self.a, self.g, ("step", s, 0)
        run, hands = int(a.step_run[s]) // g, int(a.step_hands[s]) // g
        stations = [bool(a.step_ok[s, q.rows[0]]) for q in self.pools.stations]
        self._hold_if(
            "stations", key, start, run, self.pools.stations, stations, int(self.placed.step_station[s]), leads
        )
        if hands:
            people = [bool(a.can[a.step_skill[s], q.rows[0]]) for q in self.pools.people]
            self._hold_if("people", key, start, hands, self.pools.people, people, int(self.placed.step_by[s]), leads)

    def _hold_if(
        self, kind: str, key: Key, start: Var, size: int, pools: Any, allowed: Any, row: int, leads: Var
    ) -> None:
        if leads is True:
            self._hold(kind, key, start, size, start + size, pools, allowed, row)
            return
        chosen = [j for j, ok in enumerate(allowed) if ok]
        literals = [(j, self._bool(row in pools[j].rows)) for j in chosen]
        self.cp.add(sum(lit for _, lit in literals) == 1)
        for j, lit in literals:
            self.use[kind, key, j] = lit
            here = self._bool(False)
            self.cp.add_bool_and([lit, leads]).only_enforce_if(here)
            self.cp.add_bool_or([lit.negated(), leads.negated(), here])
            self._on[kind, j].append((self.cp.new_optional_interval_var(start, size, start + size, here, ""), 1))

    def _baths(self) -> None:
        """Baskets of one treatment may share a run: the later one in the list joins the earlier one, if it fits."""
        a = self.a
        groups: dict[int, list[int]] = defaultdict(list)
        for kind, s, _ in list(self.start):
            if kind == "step" and a.step_shared[s] >= 0:
                groups[int(a.step_shared[s])].append(s)
        for members in groups.values():
            members.sort()
            self._bath(members)

    def _bath(self, members: list[int]) -> None:
        cp, p = self.cp, self.placed
        if len(members) == 1:
            self._step_holds(members[0], self.start["step", members[0], 0], True)
            return
        run = {s: (int(p.step_start[s]), int(p.step_station[s])) for s in members}
        first = {r: min(s for s in members if run[s] == r) for r in run.values()}
        leads = {s: self._bool(first[run[s]] == s) for s in members}
        joins: dict[tuple[int, int], Var] = {}
        for n, s in enumerate(members):
            for leader in members[:n]:
                joins[s, leader] = self._bool(first[run[s]] == leader)
        for n, s in enumerate(members):
            cp.add_exactly_one([leads[s], *(joins[s, leader] for leader in members[:n])])
            self._step_holds(s, self.start["step", s, 0], leads[s])
        self.joins |= joins
        for (s, leader), join in joins.items():
            cp.add_implication(join, leads[leader])
            cp.add(self.start["step", s, 0] == self.start["step", leader, 0]).only_enforce_if(join)
            for kind in ("stations", "people"):
                for j in range(len(getattr(self.pools, kind))):
                    one, other = self.use.get((kind, ("step", s, 0), j)), self.use.get((kind, ("step", leader, 0), j))
                    if one is not None and other is not None:
                        cp.add(one == other).only_enforce_if(join)
                    elif other is not None:  # the leader's place does not take the joiner
                        cp.add_bool_or([join.negated(), other.negated()])
        self._bath_holds(members, joins)

    def _bath_holds(self, members: list[int], joins: dict[tuple[int, int], Var]) -> None:
        a = self.a
        for leader in members:
            mine = [(s, join) for (s, lead), join in joins.items() if lead == leader]
            for j, pool in enumerate(self.pools.stations):
                limit = float(a.capacity_l[pool.rows[0]])
                here = self.use.get(("stations", ("step", leader, 0), j))
                if limit <= 0 or here is None or not mine:
                    continue
                unknown = [join for s, join in mine if a.step_litres[s] <= 0]
                if a.step_litres[leader] <= 0:
                    unknown = [join for _, join in mine]
                for join in unknown:
                    self.cp.add_bool_or([join.negated(), here.negated()])
                room = int((limit - a.step_litres[leader]) * 1000 + 1e-6)
                self.cp.add(
                    sum(int(np.ceil(a.step_litres[s] * 1000 - 1e-6)) * join for s, join in mine) <= room
                ).only_enforce_if(here)

    def _line(self, i: int) -> None:
        a, g, cp = self.a, self.g, self.cp
        at: list[Var] = [self._unpacked(int(b)) for b in a.line_build[a.line_build_at[i] : a.line_build_at[i + 1]]]
        for k in a.line_basket[a.line_basket_at[i] : a.line_basket_at[i + 1]]:
            at += self._end_basket.get(int(k), [int(self.placed.basket_end[k]) // g])
        for op in range(a.op_at[i], a.op_at[i + 1]):
            if a.kept_op[op, 0] > UNSET:
                at = [int(a.kept_op[op, 1]) // g]
                continue
            key = ("op", op, 0)
            start = self._var(key, int(self.placed.op_start[op]), int(a.op_hands[op]))
            if a.op_gate[op]:
                built = a.line_build[a.line_build_at[i] : a.line_build_at[i + 1]]
                at = [*at, *(self._result.get(int(b), max(0, int(self.placed.test[b, 2])) // g) for b in built)]
            for before in at:
                cp.add(start >= before)
            minutes = int(a.op_hands[op])
            self._hands(key, start, minutes, int(a.op_skill[op]), int(self.placed.op_by[op]))
            at = [start + minutes // g]
        ready = cp.new_int_var(0, self.horizon, "")
        self.hints.append((ready, max(0, int(self.placed.ready[i])) // g))
        for before in at:
            cp.add(ready >= before)
        self.ready[i] = ready
        due = int(a.due[i])
        self.late[i] = late = cp.new_int_var(0, max(0, self.horizon * g - due), "")
        self.hints.append((late, max(0, int(self.placed.ready[i]) - due)))
        cp.add(late >= g * ready - due)
