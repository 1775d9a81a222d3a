"""The compiled inside of `simulate`: weeks replayed event by event, each with its own durations.

Whatever can be done next is done next: the open task with the earliest instant goes first, then the one planned first.
Nothing starts before its planned instant, since people come when the calendar says so. Nobody knows the future: a task
takes the first hands that are free when it is ready.
"""

from __future__ import annotations

from typing import NamedTuple

from cakewright.compiled import kernel
from cakewright.schedule.course import Course
from cakewright.schedule.decode import NEVER, book, first_gap
from cakewright.schedule.instance import BoolArray, FloatArray, IntArray

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
    machine: IntArray  # (s,)
    chamber: IntArray  # (s,)
    load: IntArray  # (s,) -1 until loaded
    end: IntArray  # (s,) end of unpacking, -1 until unpacked
    tries: IntArray  # (b,)
    left: IntArray  # (n,) what a node still waits for
    ready: IntArray  # (n,)
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
def place(busy: IntArray, used: IntArray, may: BoolArray, who: int, t: int, hands: int, run: int, station: int, day: int
          ) -> tuple[int, int]:  # fmt: skip
    """(start, person) of the earliest task at or after t; the planned person `who` is asked first."""
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
            if s == before:
                break
        if s < best:
            best, person = s, p if hands > 0 else -1
        if hands == 0:
            break
    return best, person


@kernel
def push(z: Scratch, count: int, key: int, rank: int, what: int) -> int:
    """Add an event; how many there are."""
    z.key[count], z.rank[count], z.what[count] = key, rank, what
    return count + 1


@kernel
def pop(z: Scratch, count: int) -> int:
    """Move the next event to the end of the list."""
    i = 0
    for j in range(1, count):
        if z.key[j] < z.key[i] or (z.key[j] == z.key[i] and z.rank[j] < z.rank[i]):
            i = j
    last = count - 1
    z.key[i], z.key[last] = z.key[last], z.key[i]
    z.rank[i], z.rank[last] = z.rank[last], z.rank[i]
    z.what[i], z.what[last] = z.what[last], z.what[i]
    return last


@kernel
def wake(c: Course, z: Scratch, count: int, t: int) -> int:
    """A machine or chamber has become free: loads that wait for one are looked at again."""
    n = len(c.machine)
    for s in range(len(z.parked)):
        if z.parked[s]:
            z.parked[s] = False
            count = push(z, count, t, c.planned[s % n, LOAD], 4 * s + LOAD)
    return count


@kernel
def try_load(c: Course, z: Scratch, s: int, t: int, minutes: int) -> tuple[int, int, int]:
    """(instant, machine, chamber) at which slot s may be loaded; an instant of HELD or more: not known yet."""
    n = len(c.machine)
    b = s % n
    best, machine = HELD, -1
    for m in range(c.printing.shape[1]):
        if c.printing[b, m] > 0 and (s >= n or m == c.machine[b]) and z.machine_free[m] < HELD:
            row = c.machine_row + m
            at = first_gap(z.busy[row], z.used[row], max(t, z.machine_free[m] + c.setup[b]), minutes)
            if at < best:
                best, machine = at, m
    soonest, chamber = HELD, -1
    for k in range(-1, c.chamber_ok.shape[1]):
        j = c.chamber[b] if k < 0 else k
        if c.chamber_ok[b, j] and max(t, z.chamber_free[j]) < soonest:
            soonest, chamber = max(t, z.chamber_free[j]), j
    return max(best, soonest), machine, chamber


@kernel
def start_run(c: Course, z: Scratch, fate: Fate, r: int) -> int:
    """Fill the tables as they are before anything happens; the number of events."""
    n, count = len(c.machine), 0
    for row in range(len(c.used)):
        used = c.used[row]
        z.used[row] = used
        z.busy[row, :used] = c.busy[row, :used]
    z.machine_free[:] = -HELD
    z.chamber_free[:] = -HELD
    z.load[:], z.end[:], z.ready[:], z.last_end[:] = -HELD, -1, -HELD, -1
    z.parked[:] = False
    z.left[:] = c.preds
    for b in range(n):
        z.tries[b] = 1
        while z.tries[b] < fate.fails.shape[2] and fate.fails[r, b, z.tries[b] - 1]:
            z.tries[b] += 1
        count = push(z, count, c.planned[b, LOAD], c.planned[b, LOAD], 4 * b + LOAD)
    for k in range(len(c.preds)):
        if c.preds[k] == 0:
            count = push(z, count, c.node_planned[k], c.node_planned[k], 4 * n * fate.fails.shape[2] + k)
    return count


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
def do_hands(c: Course, z: Scratch, b: int, stage: int, planned: int, t: int, minutes: int, may: BoolArray) -> int:
    """Somebody loads, lifts out or cleans; the minute at which it is done, or NEVER."""
    start, person = place(z.busy, z.used, may, c.who[b, stage], t, minutes, 0, -1, -1)
    if start >= NEVER:
        return NEVER
    if person >= 0:
        book(z.busy, z.used, person, start, start + minutes)
    done: int = start + minutes
    return done


@kernel
def do_unpack(c: Course, z: Scratch, b: int, t: int, minutes: int) -> int:
    """The minute at which a cake is unpacked at the first station and hands that are free, or NEVER."""
    best, person, where = NEVER, -1, -1
    for row in range(c.station_row, c.machine_row):
        if c.unpack_ok[b, row]:
            start, who = place(z.busy, z.used, c.may_unpack, c.who[b, UNPACK], t, minutes, minutes, row, -1)
            if start < best:
                best, person, where = start, who, row
    if best >= NEVER:
        return NEVER
    if person >= 0:
        book(z.busy, z.used, person, best, best + minutes)
    book(z.busy, z.used, where, best, best + minutes)
    done: int = best + minutes
    return done


@kernel
def needed_try(c: Course, z: Scratch, fate: Fate, stops: Stops, r: int, k: int, b: int) -> int:
    """Which try of build b node k waits for: the first, or the last when the first owes one of its lines a piece."""
    if z.tries[b] > 1:
        for line in range(c.node_lines.shape[1]):
            if c.node_lines[k, line] and stops.incomplete[b, fate.stop[r, b, 0], line]:
                last: int = z.tries[b] - 1
                return last
    return 0


@kernel
def release_nodes(c: Course, z: Scratch, fate: Fate, stops: Stops, r: int, s: int, end: int, count: int, slots: int
                  ) -> int:  # fmt: skip
    """A cake is unpacked: bench work that waited for it may go on."""
    n = len(c.machine)
    b, t = s % n, s // n
    for k in range(len(c.preds)):
        for i in range(c.entry_at[k], c.entry_at[k + 1]):
            if c.entry[i] == b and needed_try(c, z, fate, stops, r, k, b) == t:
                z.left[k] -= 1
                z.ready[k] = max(z.ready[k], end)
                for line in range(c.node_lines.shape[1]):
                    if c.node_lines[k, line]:
                        z.last_end[line] = max(z.last_end[line], end)
                if z.left[k] == 0:
                    key = max(c.node_planned[k], z.ready[k])
                    count = push(z, count, key, c.node_planned[k], 4 * slots + k)
    return count


@kernel
def do_node(c: Course, z: Scratch, fate: Fate, r: int, k: int, t: int) -> int:
    """Bench work at its first place; the minute at which it is done, or NEVER. What has begun stays as it is."""
    if c.node_planned[k] < 0:
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
            start, who = place(z.busy, z.used, c.node_may[k], c.node_who[k], t, hands, run, row, c.node_day[k])
            if start < best:
                best, person, where = start, who, row
    if not needs_place:
        best, person = place(z.busy, z.used, c.node_may[k], c.node_who[k], t, hands, 0, -1, c.node_day[k])
    if best >= NEVER:
        return NEVER
    if person >= 0:
        book(z.busy, z.used, person, best, best + hands)
    if where >= 0:
        book(z.busy, z.used, where, best, best + run)
    done: int = best + run + c.node_wait[k]
    return done


@kernel
def made_up(c: Course, z: Scratch, line: int, ready: int) -> int:
    """When pieces that failed at the bench are there again.

    They go with the next build of the line's own kind of chamber that is loaded after `ready`, or else take as long as
    from the first loading of the week to `ready`.
    """
    n, bench = len(c.machine), ready - z.last_end[line]
    first = -1
    for k in range(len(c.preds)):
        if c.node_lines[k, line] and c.entry_at[k] < c.entry_at[k + 1]:
            first = c.entry[c.entry_at[k]]
    if first < 0:
        return ready
    soonest: int = ready + (ready - max(z.load[first], 0))
    for s in range(len(z.load)):
        b = s % n
        alike = False
        for j in range(c.chamber_ok.shape[1]):
            alike = alike or (c.chamber_ok[b, j] and c.chamber_ok[first, j])
        if alike and z.load[s] >= ready and z.end[s] >= 0:
            soonest = min(soonest, z.end[s] + bench)
    return soonest


@kernel
def step_build(c: Course, z: Scratch, fate: Fate, stops: Stops, r: int, s: int, stage: int, t: int, count: int,
               reaction: int, longest: IntArray) -> int:  # fmt: skip
    """One stage of one try of a build at minute t; the number of open events, or -1 when the calendar is too short."""
    n = len(c.machine)
    b, again, slots = s % n, s >= n, len(z.load)
    planned = c.planned[b, stage]
    begun = not again and planned < 0
    fails = s // n + 1 < fate.fails.shape[2] and fate.fails[r, b, s // n]
    most = longest[0] if stage in (LOAD, UNLOAD) else longest[1]
    minutes = c.hands[b, stage] if begun else grown(c.hands[b, stage], fate.hands[r, b], most)
    if stage == LOAD:
        m, chamber = c.machine[b], c.chamber[b]
        if not begun:
            likely = c.printing[b, m] + c.in_machine[b] + minutes
            at, m, chamber = try_load(c, z, s, max(t, c.release[b]), likely)
            if at >= HELD:
                z.parked[s] = True
                return count
            if at > t:
                return push(z, count, at, c.planned[b, LOAD], 4 * s + LOAD)
        door = planned + minutes if begun else do_hands(c, z, b, LOAD, planned, t, minutes, c.may_start)
        if door >= NEVER:
            return -1
        z.machine[s], z.chamber[s], z.load[s] = m, chamber, door - minutes
        z.machine_free[m], z.chamber_free[chamber] = HELD, HELD
        printing, cool = build_minutes(c, fate, stops, r, s, m)
        printed = door + printing
        if begun and c.print_end[b] < 0:
            printed, fails = c.print_end[b], False
        elif begun:
            printed = max(printed, 0)
        z.end[s] = printed + cool  # until it is unpacked: when the cake is cool
        least = printed + (min(c.in_machine[b], cool) if fails else c.in_machine[b])
        if fails:
            count = push(z, count, printed + reaction, c.planned[b, LOAD], 4 * (s + n) + LOAD)
        key = least if again or fails else max(least, c.planned[b, UNLOAD])
        return push(z, count, key if c.planned[b, UNLOAD] >= 0 or again or fails else c.planned[b, UNLOAD],
                    c.planned[b, UNLOAD], 4 * s + UNLOAD)  # fmt: skip
    if stage == UNPACK:
        end = planned + minutes if begun else do_unpack(c, z, b, t, minutes)
    else:
        may = c.may_start if stage == UNLOAD else c.may_unpack
        end = planned + minutes if begun else do_hands(c, z, b, stage, planned, t, minutes, may)
    if end >= NEVER:
        return -1
    if stage == UNLOAD:
        z.machine_free[z.machine[s]] = end
        count = wake(c, z, count, max(end, t))
        key = max(end, z.end[s])
        if not again and not fails:
            key = max(key, c.planned[b, UNPACK]) if c.planned[b, UNPACK] >= 0 else c.planned[b, UNPACK]
        return push(z, count, key, c.planned[b, UNPACK], 4 * s + UNPACK)
    if stage == UNPACK:
        z.end[s] = end
        count = release_nodes(c, z, fate, stops, r, s, end, count, slots)
        key = end
        if not again and not fails:
            key = max(end, c.planned[b, CLEAN]) if c.planned[b, CLEAN] >= 0 else c.planned[b, CLEAN]
        return push(z, count, key, c.planned[b, CLEAN], 4 * s + CLEAN)
    z.chamber_free[z.chamber[s]] = end
    return wake(c, z, count, max(end, t))


@kernel
def run_weeks(
    c: Course, z: Scratch, fate: Fate, stops: Stops, reaction: int, horizon: int, longest: IntArray, ready: IntArray
) -> None:
    """Fill `ready` (runs, lines) with the minute at which each line is packed; `horizon` where it never is.

    `longest` is the longest stretch of anybody who may start, and of anybody who may unpack.
    """
    slots = len(z.load)
    for r in range(len(ready)):
        ready[r, :] = -1
        count = start_run(c, z, fate, r)
        while count > 0:
            count = pop(z, count)
            t, what = z.key[count], z.what[count]
            if what < 4 * slots:
                count = step_build(c, z, fate, stops, r, what // 4, what % 4, t, count, reaction, longest)
                if count < 0:
                    ready[r, :] = horizon
                    break
                continue
            k = what - 4 * slots
            end = do_node(c, z, fate, r, k, t)
            if end >= NEVER:  # what follows is never done either; other lines go on
                for line in range(c.node_lines.shape[1]):
                    if c.node_lines[k, line]:
                        ready[r, line] = horizon
                continue
            for line in range(c.node_lines.shape[1]):
                if c.node_done[k] and c.node_lines[k, line]:
                    ready[r, line] = max(ready[r, line], end)
            for i in range(c.succ_at[k], c.succ_at[k + 1]):
                follower = c.succ[i]
                z.left[follower] -= 1
                z.ready[follower] = max(z.ready[follower], end)
                if z.left[follower] == 0:
                    key = max(c.node_planned[follower], z.ready[follower])
                    if c.node_planned[follower] < 0:
                        key = c.node_planned[follower]
                    count = push(z, count, key, c.node_planned[follower], what - k + follower)
        for line in range(ready.shape[1]):
            if ready[r, line] < 0:
                ready[r, line] = horizon
            elif fate.short[r, line] and ready[r, line] < horizon:
                ready[r, line] = min(horizon, made_up(c, z, line, ready[r, line]))
