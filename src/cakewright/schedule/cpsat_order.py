"""What depends on what went before at the same place: services by printed hours, and benches cleaned between powders.

Each such machine or bench is one circuit: it begins nowhere, visits every build that is there, and ends nowhere. An arc
says that one build follows another with nothing in between; hours and powder are handed on along it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Any

import numpy as np

from cakewright.schedule.cpsat_base import Base, Var
from cakewright.schedule.instance import Arrays
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed

NOWHERE = -1  # before the first and after the last


@dataclass(frozen=True, slots=True)
class Stop:
    """A build at a place: `here` is a literal (True: for certain), times are in grains, `settled` ones do not move.

    `now` is the minute at which it begins in the schedule to be improved, None when it is elsewhere there.
    """

    build: int
    here: Var
    start: Var
    end: Var
    settled: bool
    kept: bool
    now: int | None


class Order(Base):
    """Adds services and clean-down, each to the machines and benches that have them."""

    serviced: dict[tuple[int, int], Var]  # (build, machine) -> literal: a service lies before it

    def _services(self) -> None:
        self.serviced = {}
        for m in np.flatnonzero(self.a.service_every > 0):
            may = {b: lit for (b, on), lit in self.machine.items() if on == m and self.a.kept_at[b, 0] == UNSET}
            now = set(np.flatnonzero(self.placed.machine == m).tolist())
            stops = self._stops(may, now, first=0, last=1)
            self._service_hours(int(m), stops)

    def _service_hours(self, m: int, stops: Sequence[Stop]) -> None:
        a, g, cp = self.a, self.g, self.cp
        every, lasting, run = int(a.service_every[m]), int(a.service[m]) // g, int(a.service_run[m])
        most = run + int(a.printing[:, m].sum()) + every
        hours: dict[int, Var] = {}
        for stop in stops:
            b = stop.build
            fixed = a.kept_service[b] or stop.kept
            self.serviced[b, m] = int(a.kept_service[b]) if fixed else self._bool(self.placed.serviced[b] >= 0)
            hours[b] = cp.new_int_var(int(a.printing[b, m]), most, "")
        of = {stop.build: stop for stop in stops}
        for (i, j), arc in self._circuit(stops, lambda i, j: True).items():
            if j == NOWHERE:
                continue
            stop, served, printing = of[j], self.serviced[j, m], int(a.printing[j, m])
            before = run if i == NOWHERE else hours[i]
            loaded = int(a.machine_material[m] if i == NOWHERE else a.material[i])
            done = 0 if i == NOWHERE else of[i].end
            if not isinstance(served, int) or not served:
                only = [arc] if isinstance(served, int) else [arc, served.negated()]
                self._when(only, hours[j] >= before + printing)
                if not stop.kept and (i != NOWHERE or run > 0):
                    self._when(only, before + printing <= every)
            if not stop.kept:
                empty = int(a.changeover[m]) // g if loaded != a.material[j] else 0
                wait = 0 if a.kept_service[j] else lasting * served
                self._when([arc], stop.start >= done + empty + wait)

    def _when(self, only: Sequence[Var], holds: Any) -> None:
        """A condition under literals; one between numbers alone is true or forbids them."""
        if isinstance(holds, (bool, np.bool_)):
            if not holds:
                self.cp.add_bool_or([lit.negated() for lit in only])
        else:
            self.cp.add(holds).only_enforce_if(list(only))

    def _unpack_begins(self, b: int, start: Var) -> tuple[Var, Var]:
        """(begin, minutes in grains before unpacking) of the stretch of hands that cleans the bench and unpacks."""
        a, rows = self.a, np.flatnonzero(self.a.unpack_ok[b])
        most = int(a.clean_down[rows].max(initial=0)) if a.has_clean_down else 0
        if most == 0:
            return start, 0
        down = self.cp.new_int_var(0, most // self.g, "")
        begin = self.cp.new_int_var(self.earliest, self.horizon, "")
        self.cp.add(begin == start - down)
        self.down[b], self.begin[b] = down, begin
        return begin, down

    def _clean_downs(self) -> None:
        a = self.a
        dirty: dict[int, list[tuple[int, Var]]] = {b: [] for b in self.down}
        for q, pool in enumerate(self.pools.stations):
            (row, *_), lasting = pool.rows, int(a.clean_down[pool.rows[0]])
            if a.has_clean_down and lasting:
                may = {key[1]: lit for (kind, key, on), lit in self.use.items()
                       if (kind, key[0], on) == ("stations", "hand", q)}  # fmt: skip
                now = set(np.flatnonzero(self.placed.station == row).tolist())
                stops = self._stops(may, now, first=2, last=2)
                self._powder_on_bench(lasting, stops, dirty)
        for b, down in self.down.items():
            self.cp.add(down == sum(minutes * lit for minutes, lit in dirty[b]))

    def _powder_on_bench(self, lasting: int, stops: Sequence[Stop], dirty: dict[int, list[tuple[int, Var]]]) -> None:
        a, cp = self.a, self.cp
        of = {stop.build: stop for stop in stops}

        def goes(i: int, j: int) -> bool:
            """A bench that is not cleaned before a settled cake may not get another powder before it."""
            alike = NOWHERE in (i, j) or a.material[i] == a.material[j] or of[j].kept
            return alike or not of[j].settled or self.placed.clean_down[j] > 0

        cleaned = {}
        for stop in stops:
            if not stop.settled:
                cleaned[stop.build] = self._bool(self.placed.clean_down[stop.build] > 0)
                dirty[stop.build].append((lasting // self.g, cleaned[stop.build]))
                if stop.here is not True:
                    cp.add_implication(cleaned[stop.build], stop.here)
        for (i, j), arc in self._circuit(stops, goes).items():
            if j == NOWHERE:
                continue
            if i != NOWHERE and not of[j].kept:
                self._when([arc], of[j].start >= of[i].end)
            if i != NOWHERE and j in cleaned and a.material[i] != a.material[j]:
                cp.add_implication(arc, cleaned[j])

    def _stops(self, may: Mapping[int, Var], there: Set[int], first: int, last: int) -> list[Stop]:
        """Builds that are or may be at a place, from the start of task `first` to the end of task `last`."""
        a, p, g = self.a, self.placed, self.g
        stops = []
        minutes = (a.load, a.unload, a.unpack, a.clean)
        for b in range(len(a.load)):
            kept, now = bool(a.kept_at[b, first] > UNSET), int(p.at[b, first])
            if b in self.free.builds and not kept:
                if (here := may.get(b)) is None:
                    continue
                start = self.begin.get(b, self.start["hand", b, 2]) if first == 2 else self.start["hand", b, first]
                end = self.start["hand", b, last] + int(minutes[last][b]) // g
                stops.append(Stop(b, here, start, end, settled=False, kept=False, now=now if b in there else None))
            elif b in there:
                begins = int(p.at[b, first] - (p.clean_down[b] if first == 2 else 0)) // g
                ends: Var = -(-int(p.end[b, last]) // g)
                if b in self.free.builds and a.kept_at[b, last] == UNSET:
                    ends = self.start["hand", b, last] + int(minutes[last][b]) // g
                stops.append(Stop(b, True, begins, ends, settled=True, kept=kept, now=now))
        return stops

    def _circuit(self, stops: Sequence[Stop], goes: Callable[[int, int], bool]) -> dict[tuple[int, int], Var]:
        """A literal for each build that may follow another (`NOWHERE`: first or last); settled ones stay in order."""
        settled = [s.build for s in sorted((s for s in stops if s.settled), key=lambda s: (s.start, s.build))]
        rank = {b: n for n, b in enumerate(settled)}
        here = [(s.now, s.build) for s in stops if s.now is not None]
        now = [b for _, b in sorted(here)]
        follows = set(zip([NOWHERE, *now], [*now, NOWHERE], strict=True))
        node = {stop.build: n + 1 for n, stop in enumerate(stops)} | {NOWHERE: 0}
        arcs: dict[tuple[int, int], Var] = {}
        for i in node:
            for j in node:
                if i == j or not self._may_follow(i, j, rank, len(settled)) or not goes(i, j):
                    continue
                arcs[i, j] = self._bool((i, j) in follows)
        listed = [(node[i], node[j], lit) for (i, j), lit in arcs.items()]
        listed += [(node[s.build], node[s.build], s.here.negated()) for s in stops if s.here is not True]
        if not settled:
            listed.append((0, 0, self._bool(not now)))
        if len(stops):
            self.cp.add_circuit(listed)
        return arcs

    @staticmethod
    def _may_follow(i: int, j: int, rank: dict[int, int], settled: int) -> bool:
        """Settled builds come in their order: nothing skips one of them."""
        if i in rank and j in rank:
            return rank[j] == rank[i] + 1
        if i == NOWHERE and j in rank:
            return rank[j] == 0
        return not (j == NOWHERE and i in rank and rank[i] < settled - 1)


def needed_services(a: Arrays, placed: Placed, m: int, wanted: set[int]) -> set[int]:
    """Of services before builds on a machine, those without which its hours would run over: the later one stays."""
    order = [int(b) for b in np.argsort(placed.at[:, 0], kind="stable") if placed.machine[b] == m]

    def holds(serviced: set[int]) -> bool:
        hours = int(a.service_run[m])
        for b in order:
            if b in serviced or a.kept_service[b]:
                hours = 0
            if a.kept_at[b, 0] == UNSET and hours and hours + a.printing[b, m] > a.service_every[m]:
                return False
            hours += int(a.printing[b, m])
        return True

    needed = set(wanted)
    for b in [b for b in order if b in wanted]:
        if holds(needed - {b}):
            needed.discard(b)
    return needed


def set_services(a: Arrays, placed: Placed, serviced: dict[tuple[int, int], bool]) -> None:
    """Write the starts of services, each right after what was on the machine before."""
    for m in np.flatnonzero(a.service_every > 0):
        wanted = {b for (b, on), lit in serviced.items() if on == m and lit and not a.kept_service[b]}
        needed = needed_services(a, placed, int(m), {b for b in wanted if a.kept_at[b, 0] == UNSET})
        until = 0
        for b in np.argsort(placed.at[:, 0], kind="stable"):
            if placed.machine[b] == m:
                placed.serviced[b] = until if int(b) in needed else -1
                until = max(0, int(placed.end[b, 1]))


def set_clean_downs(a: Arrays, placed: Placed) -> None:
    """Write how long each bench is cleaned before each cake, as the powders that come before it ask."""
    on: dict[int, int] = {}
    for b in np.argsort(placed.at[:, 2], kind="stable"):
        station = int(placed.station[b])
        if station < 0:
            continue
        if a.kept_at[b, 2] == UNSET:
            other = station in on and on[station] != a.material[b]
            placed.clean_down[b] = int(a.clean_down[station]) if other else 0
        on[station] = int(a.material[b])
