"""The compiled inside of `simulate`: weeks replayed event by event, each with its own durations.

Whatever can be done next is done next: the open task with the earliest instant goes first, then the one planned first.
Nothing starts before its planned instant, since people come when the calendar says so. Nobody knows the future: a task
takes the first hands that are free when it is ready. Where work may stand is asked of `week_rules`.
"""

from __future__ import annotations

from cakewright.compiled import kernel
from cakewright.schedule.course import Course
from cakewright.schedule.decode import NEVER, book
from cakewright.schedule.instance import IntArray
from cakewright.schedule.week_rules import (
    CLEAN,
    HELD,
    LOAD,
    UNLOAD,
    UNPACK,
    Fate,
    Scratch,
    Stops,
    build_minutes,
    do_hands,
    do_node,
    do_unpack,
    grown,
    place,
    setup_before,
    supplied,
    try_load,
)

__all__ = ["Fate", "Scratch", "Stops", "run_weeks"]


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
    z.machine[:], z.station[:], z.node_at[:] = -1, -1, -HELD
    z.down[:], z.change[:], z.service[:] = 0, 0, 0
    z.loaded[:] = c.machine_material
    z.since[:] = c.service_run
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
def where_to_load(c: Course, z: Scratch, fate: Fate, stops: Stops, r: int, s: int, t: int, minutes: int
                  ) -> tuple[int, int, int, int]:  # fmt: skip
    """(instant, machine, chamber, person) of a loading that is open at t.

    HELD or more: no machine or chamber is known to become free. A later instant and nobody: look again then.
    """
    b = s % len(c.machine)
    at, m, chamber = try_load(c, z, fate, stops, r, s, max(t, c.release[b]), minutes)
    if at > t or at >= HELD:
        return at, m, chamber, -1
    start, who = place(z.busy, z.used, c.may_start, c.who[b, LOAD], t, minutes, 0, -1, -1, -1)
    if start >= NEVER:
        return NEVER, m, chamber, -1
    again, m, chamber = try_load(c, z, fate, stops, r, s, start, minutes)
    if again > start:
        return again, m, chamber, -1
    printing, _ = build_minutes(c, fate, stops, r, s, m)
    there = supplied(c, z, s, m, start, minutes, printing)
    if there > start:
        return there, m, chamber, -1
    return start, m, chamber, who


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
        m, chamber, who = c.machine[b], c.chamber[b], c.who[b, LOAD]
        start = planned
        if not begun:
            start, m, chamber, who = where_to_load(c, z, fate, stops, r, s, t, minutes)
            if start >= HELD:
                z.parked[s] = True
                return count
            if start >= NEVER:
                return -1
            if start > t and who < 0:
                return push(z, count, start, c.planned[b, LOAD], 4 * s + LOAD)
            if who >= 0:
                book(z.busy, z.used, who, start, start + minutes)
        door = start + minutes
        printing, cool = build_minutes(c, fate, stops, r, s, m)
        service, change = setup_before(c, z, s, m, printing)
        if begun:
            service, change = c.service[m] if c.serviced[b] else 0, 0
        z.change[s], z.service[s] = change, service
        z.since[m] = (0 if service > 0 else z.since[m]) + printing
        z.loaded[m] = c.material[b]
        z.machine[s], z.chamber[s], z.load[s] = m, chamber, start
        z.at[s, LOAD], z.till[s, LOAD], z.by[s, LOAD] = start, door, who
        z.machine_free[m], z.chamber_free[chamber] = HELD, HELD
        printed = door + printing
        if begun and c.print_end[b] < 0:
            printed, fails = c.print_end[b], False
        elif begun:
            printed = max(printed, 0)
        z.printed[s], z.cold[s] = printed, printed + cool
        z.end[s] = printed + cool  # until it is unpacked: when the cake is cool
        least = printed + (min(c.in_machine[b], cool) if fails else c.in_machine[b])
        if fails:
            count = push(z, count, printed + reaction, c.planned[b, LOAD], 4 * (s + n) + LOAD)
        key = least if again or fails else max(least, c.planned[b, UNLOAD])
        return push(z, count, key if c.planned[b, UNLOAD] >= 0 or again or fails else c.planned[b, UNLOAD],
                    c.planned[b, UNLOAD], 4 * s + UNLOAD)  # fmt: skip
    if stage == UNPACK:
        end = planned + minutes if begun else do_unpack(c, z, s, t, minutes)
    else:
        may = c.may_start if stage == UNLOAD else c.may_unpack
        end = planned + minutes if begun else do_hands(c, z, s, stage, t, minutes, may)
    if end >= NEVER:
        return -1
    if begun:
        z.at[s, stage], z.till[s, stage], z.by[s, stage] = planned, end, c.who[b, stage]
        z.station[s] = c.bench[b] if stage >= UNPACK else -1
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
