"""Where the work of a simulated week finds its place: the rules of the planner, asked of what has happened so far.

Machines with their changes of material and services, chambers, closures, utilities, powder, benches to be cleaned, eyes
at the start: as `decode` plans them, so that a week without doubts is the plan. What is asked when a build is loaded is
asked for the minutes that it will really take: nobody puts a print that is too long before a closure.
"""

from __future__ import annotations

from typing import NamedTuple

from cakewright.compiled import kernel
from cakewright.schedule.course import Course
from cakewright.schedule.decode import NEVER, book, first_gap
from cakewright.schedule.instance import BoolArray, FloatArray, IntArray
from cakewright.schedule.supplies import clean_down_before, powder_there, utility_free

LOAD, UNLOAD, UNPACK, CLEAN = 0, 1, 2, 3
HELD = 1 << 41  # a machine or chamber whose end of use is not known yet


class Fate(NamedTuple):
    """What each run has in store; r runs, b builds, t tries, l lines."""

    printing: FloatArray  # (r, b, t) actual over predicted
    fails: BoolArray  # (r, b, t)
    stop: IntArray  # (r, b, t) index of the stop point, used where it fails
    hands: FloatArray  # (r, b) actual over planned
    cool: FloatArray  # (r, b) minutes of the whole cake
    line_hands: FloatArray  # (r, l) actual over planned
    short: BoolArray  # (r, l) pieces fail at the bench and are made again


class Stops(NamedTuple):
    """Stop points of each build; q points."""

    printed: FloatArray  # (b, q) share of the print minutes gone by
    height: FloatArray  # (b, q) share of the height
    again: FloatArray  # (b, q) print minutes of the remake over those of the whole build
    again_height: FloatArray  # (b, q)
    incomplete: BoolArray  # (b, q, l)


class Scratch(NamedTuple):
    """Tables written anew by every run; s slots are builds, then their second tries, then their third."""

    busy: IntArray
    used: IntArray
    machine_free: IntArray  # (m,)
    chamber_free: IntArray  # (c,)
    loaded: IntArray  # (m,) material on each machine
    since: IntArray  # (m,) printed minutes since the last service
    machine: IntArray  # (s,) -1 until loaded
    chamber: IntArray  # (s,)
    station: IntArray  # (s,) -1 until unpacked
    load: IntArray  # (s,) -1 until loaded
    printed: IntArray  # (s,)
    cold: IntArray  # (s,)
    end: IntArray  # (s,) end of unpacking, -1 until unpacked
    at: IntArray  # (s, 4) start of loading, lifting out, unpacking, cleaning
    till: IntArray  # (s, 4) their end
    by: IntArray  # (s, 4) person
    down: IntArray  # (s,) minutes by which the bench is cleaned before unpacking
    change: IntArray  # (s,) minutes of a change of material before loading
    service: IntArray  # (s,) minutes of a service before that
    tries: IntArray  # (b,)
    left: IntArray  # (n,) what a node still waits for
    ready: IntArray  # (n,)
    node_at: IntArray  # (n,)
    node_till: IntArray  # (n, 3) end of hands, of the station, of drying
    node_by: IntArray  # (n,)
    node_where: IntArray  # (n,)
    key: IntArray  # (events,)
    rank: IntArray  # (events,)
    what: IntArray  # (events,) 4 x slot + stage, or 4 x slots + node
    parked: BoolArray  # (s,) loads that wait for a machine or chamber
    last_end: IntArray  # (l,) latest unpacking, for pieces to be made up


@kernel
def grown(minutes: int, factor: float, most: int) -> int:
    """Hands' time by a factor: at least a minute where there was one, never longer than anybody is in at a stretch."""
    if minutes == 0:
        return 0
    return max(1, min(round(minutes * factor), max(most, minutes)))


@kernel
def place(
    busy: IntArray, used: IntArray, may: BoolArray, who: int, t: int, hands: int, run: int, station: int, day: int,
    watch: int,
) -> tuple[int, int]:  # fmt: skip
    """(start, person) of the earliest task at or after t; the planned person `who` is asked first.

    `station`, `day` and `watch` are rows that must be free for the run, the hands, the run; -1: none.
    """
    best, person = NEVER, -1
    for k in range(-1, len(may)):
        p = who if k < 0 else k
        if hands > 0 and (p < 0 or not may[p]):
            continue
        s = t
        while s < best:
            before = s
            if hands > 0:
                s = first_gap(busy[p], used[p], s, hands)
            if station >= 0:
                s = first_gap(busy[station], used[station], s, run)
            if day >= 0:
                s = first_gap(busy[day], used[day], s, max(hands, 1))
            if watch >= 0:
                s = first_gap(busy[watch], used[watch], s, run)
            if s == before:
                break
        if s < best:
            best, person = s, p if hands > 0 else -1
        if hands == 0:
            break
    return best, person


@kernel
def build_minutes(c: Course, fate: Fate, stops: Stops, r: int, s: int, m: int) -> tuple[int, int]:
    """(printing, cooling) minutes of a try of a build on machine m in run r."""
    n = len(c.machine)
    b, t = s % n, s // n
    share, height = 1.0, 1.0
    for before in range(t):
        share *= stops.again[b, fate.stop[r, b, before]]
        height *= stops.again_height[b, fate.stop[r, b, before]]
    if t + 1 < fate.fails.shape[2] and fate.fails[r, b, t]:
        share *= stops.printed[b, fate.stop[r, b, t]]
        height *= stops.height[b, fate.stop[r, b, t]]
    printing = max(1, round(c.printing[b, m] * share * fate.printing[r, b, t]))
    return printing, round(fate.cool[r, b] * height)


@kernel
def setup_before(c: Course, z: Scratch, s: int, m: int, printing: int) -> tuple[int, int]:
    """Minutes of a service and of a change of material that machine m needs before slot s is loaded."""
    b = s % len(c.machine)
    if s == b and c.is_set_up[b] and m == c.machine[b]:
        return 0, 0
    every, since = c.service_every[m], z.since[m]
    service = c.service[m] if every > 0 and since > 0 and since + printing > every else 0
    return service, c.changeover[m] if z.loaded[m] != c.material[b] else 0


@kernel
def try_load(c: Course, z: Scratch, fate: Fate, stops: Stops, r: int, s: int, t: int, minutes: int
             ) -> tuple[int, int, int]:  # fmt: skip
    """(instant, machine, chamber) at which slot s may be loaded; an instant of HELD or more: not known yet."""
    n = len(c.machine)
    b = s % n
    best, machine, longest = HELD, -1, 0
    for m in range(c.printing.shape[1]):
        if c.printing[b, m] > 0 and (s >= n or m == c.machine[b]) and z.machine_free[m] < HELD:
            printing, cool = build_minutes(c, fate, stops, r, s, m)
            if s < n:  # nobody knows that it will stop or be done early
                printing = max(printing, c.printing[b, m])
            service, change = setup_before(c, z, s, m, printing)
            stay = minutes + printing + c.in_machine[b] + c.hands[b, UNLOAD]
            longest = minutes + printing + max(cool, c.in_machine[b]) + c.hands[b, UNPACK] + c.hands[b, CLEAN]
            row = c.machine_row + m
            free = z.machine_free[m] if service + change == 0 else max(z.machine_free[m], 0) + service + change
            at = first_gap(z.busy[row], z.used[row], max(t, free), stay)
            if at < best:
                best, machine = at, m
    soonest, chamber = HELD, -1
    for k in range(-1, c.chamber_ok.shape[1]):
        j = c.chamber[b] if k < 0 else k
        if c.chamber_ok[b, j] and z.chamber_free[j] < HELD:
            row = c.chamber_row + j
            at = first_gap(z.busy[row], z.used[row], max(t, z.chamber_free[j]), longest)
            if at < soonest:
                soonest, chamber = at, j
    return max(best, soonest), machine, chamber


@kernel
def supplied(c: Course, z: Scratch, s: int, m: int, load: int, minutes: int, printing: int) -> int:
    """First loading at or after `load` with powder, with utilities to print, and watched as long as it must be."""
    n = len(c.machine)
    while load < NEVER:
        before = load
        if s < n:  # a remake takes the powder that is there
            load = powder_there(c.stock, c.arrival, c.virgin, c.material[:n], z.machine[:n], z.load[:n], s, load)
        door = load + minutes
        if c.watched[m] > 0:
            row = c.start_row
            door = first_gap(z.busy[row], z.used[row], door, min(c.watched[m], printing))
        for u in range(len(c.utility_most)):
            if c.utility_of[m, u] and c.utility_most[u] > 0:
                door = utility_free(
                    c.utility_of, c.utility_most[u], u, z.machine, z.till[:, LOAD], z.printed, s, printing, door
                )
        load = door - minutes
        if load == before:
            break
    return load


@kernel
def do_hands(c: Course, z: Scratch, s: int, stage: int, t: int, minutes: int, may: BoolArray) -> int:
    """Somebody lifts out or cleans; the minute at which it is done, or NEVER."""
    start, person = place(z.busy, z.used, may, c.who[s % len(c.machine), stage], t, minutes, 0, -1, -1, -1)
    if start >= NEVER:
        return NEVER
    if person >= 0:
        book(z.busy, z.used, person, start, start + minutes)
    z.at[s, stage], z.till[s, stage], z.by[s, stage] = start, start + minutes, person
    done: int = start + minutes
    return done


@kernel
def do_unpack(c: Course, z: Scratch, s: int, t: int, minutes: int) -> int:
    """The minute at which a cake is unpacked at the bench and by the hands that are free first, or NEVER.

    A bench with powder of another material on it is cleaned before, in the same stretch, if need be while it cools.
    """
    b = s % len(c.machine)
    best, person, where, cleaned = NEVER, -1, -1, 0
    for row in range(c.station_row, c.machine_row):
        if not c.unpack_ok[b, row]:
            continue
        start, need, who, soonest = t, 0, -1, c.planned[b, UNPACK] if s < len(c.machine) else 0
        soonest = max(0, soonest)
        while start < NEVER:
            whole = need + minutes
            start, who = place(z.busy, z.used, c.may_unpack, c.who[b, UNPACK], start, whole, whole, row, -1, -1)
            if c.clean_down[row] <= 0:
                break
            wanted, after = clean_down_before(
                c.clean_down[row], c.material, z.station, z.station, z.at[:, UNPACK], z.till[:, UNPACK], z.down, s,
                row, start,
            )  # fmt: skip
            if wanted == need and after == start:
                break
            if wanted > need:
                start = max(soonest, t - wanted)
            else:
                start = max(after, t)
                soonest = start
            need = wanted
        if start + need < best:
            best, person, where, cleaned = start + need, who, row, need
    if best >= NEVER:
        return NEVER
    if person >= 0:
        book(z.busy, z.used, person, best - cleaned, best + minutes)
    book(z.busy, z.used, where, best - cleaned, best + minutes)
    z.station[s], z.down[s] = where, cleaned
    z.at[s, UNPACK], z.till[s, UNPACK], z.by[s, UNPACK] = best, best + minutes, person
    done: int = best + minutes
    return done


@kernel
def do_node(c: Course, z: Scratch, fate: Fate, r: int, k: int, t: int) -> int:
    """Bench work at its first place; the minute at which it is done, or NEVER. What has begun stays as it is."""
    if c.node_planned[k] < 0:
        z.node_at[k] = -HELD
        fact: int = c.node_planned[k] + c.node_run[k] + c.node_wait[k]
        return fact
    factor = 1.0
    for line in range(c.node_lines.shape[1]):
        if c.node_lines[k, line]:
            factor = fate.line_hands[r, line]
            break
    most = 0
    for p in range(len(c.longest)):
        if c.node_may[k, p]:
            most = max(most, c.longest[p])
    hands = grown(c.node_hands[k], factor, most)
    run = c.node_run[k] + hands - c.node_hands[k]
    best, person, where = NEVER, -1, -1
    needs_place = False
    for row in range(c.station_row, c.machine_row):
        if c.node_ok[k, row]:
            needs_place = True
            start, who = place(
                z.busy, z.used, c.node_may[k], c.node_who[k], t, hands, run, row, c.node_day[k], c.node_watch[k]
            )
            if start < best:
                best, person, where = start, who, row
    if not needs_place:
        best, person = place(z.busy, z.used, c.node_may[k], c.node_who[k], t, hands, 0, -1, c.node_day[k], -1)
    if best >= NEVER:
        return NEVER
    if person >= 0:
        book(z.busy, z.used, person, best, best + hands)
    if where >= 0:
        book(z.busy, z.used, where, best, best + run)
    z.node_at[k], z.node_by[k], z.node_where[k] = best, person, where
    z.node_till[k, 0], z.node_till[k, 1], z.node_till[k, 2] = best + hands, best + run, best + run + c.node_wait[k]
    done: int = best + run + c.node_wait[k]
    return done
