"""Why a line is ready when it is: the longest waits on its way, in words a person would use."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from cakewright.schedule.calendars import FAR, WEEKDAYS, words
from cakewright.schedule.gaps import NEVER, first_gap, first_machine_gap
from cakewright.schedule.instance import INSPECT, PACK, START, UNPACK, Instance
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed
from cakewright.schedule.supplies import powder_there, utility_free
from cakewright.sources.schedule import WAIT_WORTH_A_WORD_MIN
from cakewright.units import hours_minutes


@dataclass(frozen=True, slots=True)
class Wait:
    """Minutes lost on the way of a line, and what for."""

    minutes: int
    words: str


class Explainer:
    """Reads a decoded schedule and names what each line waits for."""

    def __init__(self, instance: Instance, placed: Placed) -> None:
        self.instance, self.placed, self.a = instance, placed, instance.arrays
        self.least = int(WAIT_WORTH_A_WORD_MIN.value)

    def reason(self, i: int) -> str:
        """The reason for the date of the i-th line of the instance."""
        waits = [w for w in self._waits(i) if w.minutes >= self.least]
        if not waits:
            return self._straight_through(i)
        longest = max(w.minutes for w in waits)
        return "; ".join(w.words for w in waits if 2 * w.minutes >= longest)

    def _waits(self, i: int) -> list[Wait]:
        line = self.instance.lines[i]
        b = self._last_build(i)
        waits = [self._load_wait(b), *self._unpack_waits(b)]
        at = self._unpacked(b)
        baskets = self.a.line_basket[self.a.line_basket_at[i] : self.a.line_basket_at[i + 1]]
        if len(baskets):
            k = max(baskets, key=lambda k: int(self.placed.basket_end[k]))
            waits += self._basket_waits(int(k))
            at = int(self.placed.basket_end[k])
        done = 0
        for op in range(self.a.op_at[i], self.a.op_at[i + 1]):
            skill = INSPECT if done < line.inspect_min else PACK
            start, hands = int(self.placed.op_start[op]), int(self.a.op_hands[op])
            if self.a.op_gate[op]:
                waits.append(self._result_wait(i, at))
                at = max(at, at + waits[-1].minutes)
            waits.append(self._hands_wait(skill, at, start, hands, f"ready to {skill}"))
            at, done = start + hands, done + hands
        return waits

    def _result_wait(self, i: int, at: int) -> Wait:
        builds = self.a.line_build[self.a.line_build_at[i] : self.a.line_build_at[i + 1]]
        b = int(max(builds, key=lambda b: int(self.placed.test[b, 2])))
        result = int(self.placed.test[b, 2])
        said = words(self.instance.origin, result, self.instance.cell.zone)
        return Wait(max(0, result - at), f"waits for the specimens of {self.instance.builds[b].key}, result {said}")

    def _last_build(self, i: int) -> int:
        builds = self.a.line_build[self.a.line_build_at[i] : self.a.line_build_at[i + 1]]
        return int(max(builds, key=lambda b: self._unpacked(int(b))))

    def _unpacked(self, b: int) -> int:
        return int(self.placed.end[b, 2])

    def _straight_through(self, i: int) -> str:
        b = self._last_build(i)
        printing = int(self.placed.printed[b] - self.placed.end[b, 0])
        cooling = int(self.placed.cold[b] - self.placed.printed[b])
        bench = int(self.placed.ready[i]) - self._unpacked(b)
        return (
            f"goes straight through: print {hours_minutes(printing)}, cool {hours_minutes(cooling)}, "
            f"bench {hours_minutes(bench)}"
        )

    # --- builds ---------------------------------------------------------------------------------------

    def _load_wait(self, b: int) -> Wait:
        ready, start = int(self.a.release[b]), int(self.placed.at[b, 0])
        if self.a.kept_at[b, 0] > UNSET:
            return Wait(0, "")
        if start - ready < self.least:
            return Wait(start - ready, "")
        if words_ := self._special(b, ready, start):
            return Wait(start - ready, words_)
        machine, chamber = self._machine_free(b, ready), self._chamber_free(b, ready, start)
        if chamber > max(machine, ready) and chamber - ready >= self.least:
            return Wait(start - ready, self._chamber_words(b, max(machine, ready), chamber))
        if machine - ready >= self.least:
            return Wait(start - ready, self._machine_words(b, ready, machine))
        return self._hands_wait(START, ready, start, int(self.a.load[b]), "could be loaded")

    def _special(self, b: int, ready: int, start: int) -> str:
        """Powder on its way, a service, a change of material or a utility, when that is what a loading waits for."""
        a, p, zone, origin = self.a, self.placed, self.instance.cell.zone, self.instance.origin
        m = int(p.machine[b])
        name, material = self.instance.machines[m].name, self.instance.builds[b].material
        if a.has_supplies:
            powder = int(powder_there(a.stock, a.arrival, a.virgin, a.material, p.machine, p.at[:, 0], b, ready))
            if powder - ready >= self.least and start - powder < powder - ready:
                return f"waits for virgin {material}, there from {words(origin, powder, zone)}"
        if p.serviced[b] >= 0 and int(a.service[m]) >= self.least:
            since = words(origin, int(p.serviced[b]), zone)
            return f"{name} is serviced for {hours_minutes(int(a.service[m]))} from {since}"
        before = [o for o in range(len(a.load)) if p.machine[o] == m and p.at[o, 0] < p.at[b, 0]]
        loaded = int(a.material[max(before, key=lambda o: int(p.at[o, 0]))]) if before else int(a.machine_material[m])
        if loaded != a.material[b] and int(a.changeover[m]) >= self.least:
            minutes = int(a.changeover[m])
            since = words(origin, start - minutes, zone)
            return f"{name} is changed to {material} for {hours_minutes(minutes)} from {since}"
        return self._utility_words(b, m, ready)

    def _utility_words(self, b: int, m: int, ready: int) -> str:
        a, p, zone, origin = self.a, self.placed, self.instance.cell.zone, self.instance.origin
        for u in np.flatnonzero(a.utility_of[m] & (a.utility_most > 0)):
            minutes, door = int(a.printing[b, m]), ready + int(a.load[b])
            on, doors = p.machine, p.end[:, 0]
            free = int(
                utility_free(a.utility_of, int(a.utility_most[u]), int(u), on, doors, p.printed, b, minutes, door)
            )
            if free - ready - int(a.load[b]) >= self.least:
                name = self.instance.cell.utilities[int(u)].name
                most = int(a.utility_most[u])
                machines = "one machine" if most == 1 else f"{most} machines"
                return f"{name} carries {machines} at once, free {words(origin, free, zone)}"
        return ""

    def _machine_free(self, b: int, t: int) -> int:
        """When the first suitable machine could take build b, its own booking left aside."""
        soonest = NEVER
        length = int(self.placed.end[b, 1] - self.placed.at[b, 0])
        for m in range(self.a.printing.shape[1]):
            if self.a.printing[b, m] > 0:
                table = self.placed.machine_busy[m][: self.placed.machine_used[m]]
                others = table[table[:, 0] != self.placed.at[b, 0]]
                free = first_machine_gap(
                    others, len(others), self.a.machine_material[m], self.a.material[b], self.a.changeover[m], t, length
                )
                soonest = min(soonest, int(free))
        return soonest

    def _chamber_free(self, b: int, t: int, start: int) -> int:
        """When a suitable chamber became free for good before `start`, bookings of other builds only."""
        length = int(self.placed.end[b, 3] - self.placed.at[b, 0])
        rows = [c for c in range(self.a.chamber_ok.shape[1]) if self.a.chamber_ok[b, c]]
        return min((self._row_free(c, t, length, start) for c in rows), default=t)

    def _row_free(self, row: int, t: int, minutes: int, own_start: int) -> int:
        table = self.placed.busy[row][: self.placed.used[row]]
        others = table[table[:, 0] != own_start]
        return int(first_gap(others, len(others), t, minutes))

    def _chamber_words(self, b: int, t: int, until: int) -> str:
        zone, origin = self.instance.cell.zone, self.instance.origin
        cooling: list[str] = []
        other: list[str] = []
        for c in range(self.a.chamber_ok.shape[1]):
            if not self.a.chamber_ok[b, c]:
                continue
            name, state = self.instance.name_of_row(c), self._chamber_state(c, t)
            (other if state else cooling).append(state or name)
        parts = []
        if cooling:
            parts.append(f"{_and(cooling)} cool" if len(cooling) > 1 else f"{cooling[0]} cools")
        return f"waits for chamber: {', '.join([*parts, *other])} until {words(origin, until, zone)}"

    def _chamber_state(self, row: int, t: int) -> str:
        """What keeps a chamber, empty while its cake cools."""
        name = self.instance.name_of_row(row)
        for b, job in enumerate(self.instance.builds):
            if self.placed.chamber[b] != row:
                continue
            printed = int(self.placed.printed[b])
            if self.placed.at[b, 0] <= t < printed:
                return f"{name} prints {job.key}"
            if printed <= t < self.placed.cold[b]:
                return ""
            if printed <= t < self.placed.end[b, 3]:
                return f"{name} holds {job.key}, not yet unpacked and clean"
        return f"{name} is out of use"

    def _machine_words(self, b: int, t: int, until: int) -> str:
        zone, origin = self.instance.cell.zone, self.instance.origin
        names = [self.instance.machines[m].name for m in range(self.a.printing.shape[1]) if self.a.printing[b, m] > 0]
        holding = [
            job.key
            for i, job in enumerate(self.instance.builds)
            if i != b and self.a.printing[b, self.placed.machine[i]] > 0 and t <= self.placed.at[i, 1] < until + 1
        ]
        who, what = _and(names), _and(holding)
        held = f"{who} holds {what}" if len(names) == 1 else f"{who} hold {what}"
        return f"waits for machine: {held if holding else f'{who} busy'} until {words(origin, until, zone)}"

    def _unpack_waits(self, b: int) -> list[Wait]:
        zone, origin = self.instance.cell.zone, self.instance.origin
        _, lift, unpack, _ = (int(x) for x in self.placed.at[b])
        printed, cold, lifted = (int(x) for x in (self.placed.printed[b], self.placed.cold[b], self.placed.end[b, 1]))
        waits = []
        if lifted > cold:
            could = printed + int(self.a.in_machine[b])
            said = f"print ends {words(origin, printed, zone)}"
            wait = self._hands_wait(START, could, lift, int(self.a.unload[b]), said)
            waits.append(Wait(min(wait.minutes, lifted - cold), wait.words))
        ready = max(cold, lifted)
        said = f"cool {words(origin, cold, zone)}"
        rows = [r for r in range(self.a.unpack_ok.shape[1]) if self.a.unpack_ok[b, r]]
        minutes = int(self.a.unpack[b])
        waits.append(self._hands_wait(UNPACK, ready, unpack, minutes, said, stations=rows, run=minutes))
        return waits

    # --- bench ----------------------------------------------------------------------------------------

    def _basket_waits(self, k: int) -> list[Wait]:
        waits = []
        basket, a = self.instance.baskets[k], self.a
        at = max(self._unpacked(int(b)) for b in a.basket_build[a.basket_build_at[k] : a.basket_build_at[k + 1]])
        for s, step in zip(range(a.step_at[k], a.step_at[k + 1]), basket.finish.steps, strict=True):
            rows = [r for r in range(a.step_ok.shape[1]) if a.step_ok[s, r]]
            start = int(self.placed.step_start[s])
            hands, run = int(a.step_hands[s]), int(a.step_run[s])
            day_row = int(a.step_day_row[s])
            if a.kept_step[s, 0] > UNSET:
                at = int(a.kept_step[s, 2])
                continue
            if day_row >= 0:
                allowed = int(first_gap(a.busy[day_row], a.used[day_row], at, max(hands, 1)))
                if allowed - at >= self.least:
                    days = _days(step.weekdays, step.every_weeks)
                    waits.append(Wait(allowed - at, f"needs {step.station_kind}, run on {days} only"))
                    at = allowed
            waits.append(
                self._hands_wait(step.skill, at, start, hands, f"ready for {step.station_kind}", stations=rows, run=run)
            )
            at = start + run + int(a.step_wait[s])
        return waits

    def _hands_wait(
        self, skill: str, ready: int, start: int, hands: int, said: str, stations: Iterable[int] = (), run: int = 0
    ) -> Wait:
        """The wait between being ready and starting: station taken, nobody in, or everybody busy."""
        waited = start - ready
        if waited < self.least:
            return Wait(waited, "")
        zone, origin = self.instance.cell.zone, self.instance.origin
        rows = list(stations)
        free = min((self._row_free(r, ready, run, start) for r in rows), default=ready)
        row = self.a.can[self.instance.skills.index(skill)]
        people = [p for p in range(len(row)) if row[p]]
        there = min((int(first_gap(self.a.busy[p], self.a.used[p], ready, hands)) for p in people), default=FAR)
        if hands and there >= free and there - ready >= self.least:
            return Wait(waited, f"{said}, nobody in before {words(origin, there, zone)}")
        if free - ready >= self.least:
            names = _and([self.instance.name_of_row(r) for r in rows])
            return Wait(waited, f"{said}, {names} taken until {words(origin, free, zone)}")
        who = _and(list(dict.fromkeys(self.instance.people[p].name for p in people)), "or")
        return Wait(waited, f"{said}, no free hands ({who}) before {words(origin, start, zone)}")


def _days(weekdays: Iterable[int], every_weeks: int) -> str:
    days = _and([WEEKDAYS[d] for d in sorted(weekdays)] or ["any day"])
    if every_weeks <= 1:
        return days
    known = {2: f"{days} of every second week", 3: f"{days} of every third week"}
    return known.get(every_weeks, f"{days} of every {every_weeks}th week")


def _and(names: list[str], word: str = "and") -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}" if names else "nobody"
