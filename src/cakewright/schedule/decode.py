"""From orders of preference to a schedule: every task gets the first place where all it needs is free.

The kernel is a serial schedule generator with insertion: builds in the given order (each whole: load, print,
lift out, unpack, clean), so that work that keeps machines running finds hands first; then the bench work of the
lines in the given order. It books into a copy of the busy table, so it can be called again and again.
"""

from __future__ import annotations

import numpy as np

from cakewright.compiled import bare_kernel, kernel
from cakewright.schedule.gaps import NEVER, book, first_gap, first_machine_gap, place_at_station, place_hands
from cakewright.schedule.instance import Arrays, IntArray
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed, empty_placed
from cakewright.schedule.supplies import clean_down_before, powder_there, utility_free

__all__ = ["NEVER", "Placed", "book", "decode", "empty_placed", "first_gap", "first_machine_gap"]

TRIAL = 18  # numbers that describe where a build would go


@bare_kernel
def try_machine(
    a: Arrays, p: Placed, b: int, m: int, skill_start: int, skill_unpack: int, limit: int, trial: IntArray
) -> int:
    """Unpack end of build b on machine m at its earliest place, NEVER when it cannot beat `limit`.

    `trial` receives machine, chamber, station, then start, person and end of load, lifting out, unpacking, cleaning,
    print end, minute when cold, clean-down. The machine and the chamber are held until somebody comes: when that makes
    the stay too long for the gap, the whole build moves to the next gap.
    """
    t = a.release[b]
    on_machine, loaded, material, change = p.machine_busy[m], a.machine_material[m], a.material[b], a.changeover[m]
    least = a.load[b] + a.printing[b, m] + a.in_machine[b] + a.unload[b]
    while True:
        load, who_loads = t, -1
        while load < NEVER:
            before = load
            if a.has_services:
                load = max(load, after_last(a, p, b, m))
            load = first_machine_gap(on_machine, p.machine_used[m], loaded, material, change, load, least)
            if a.has_supplies:
                load = supplied(a, p, b, m, load)
            load, who_loads = place_hands(p.busy, p.used, a.can, skill_start, load, a.load[b], 0, -1, -1)
            if load == before:
                break
        printed = load + a.load[b] + a.printing[b, m]
        if printed >= limit:
            return NEVER
        lift, who_lifts = place_hands(
            p.busy, p.used, a.can, skill_start, printed + a.in_machine[b], a.unload[b], 0, -1, -1
        )
        lifted = lift + a.unload[b]
        again = first_machine_gap(on_machine, p.machine_used[m], loaded, material, change, load, lifted - load)
        if again != load:
            t = again
            continue
        if a.has_clean_down:
            unpack, who_unpacks, station, down = place_unpack(
                a, p, b, lifted, max(lifted, printed + a.cool[b]), skill_unpack
            )
        else:
            down = 0
            unpack, who_unpacks, station = place_at_station(
                p.busy, p.used, a.can, skill_unpack, max(lifted, printed + a.cool[b]), a.unpack[b], a.unpack[b],
                a.unpack_ok[b], -1,
            )  # fmt: skip
        end: int = unpack + a.unpack[b]
        clean, who_cleans = place_hands(p.busy, p.used, a.can, skill_unpack, end, a.clean[b], 0, -1, -1)
        if end >= limit or clean >= NEVER:
            return NEVER
        soonest, chamber = NEVER, -1
        for c in range(a.chamber_ok.shape[1]):
            if a.chamber_ok[b, c]:
                s = first_gap(p.busy[c], p.used[c], load, clean + a.clean[b] - load)
                if s < soonest:
                    soonest, chamber = s, c
        if soonest == load:
            trial[0], trial[1], trial[2] = m, chamber, station
            trial[3], trial[4], trial[5], trial[6] = load, lift, unpack, clean
            trial[7], trial[8], trial[9], trial[10] = who_loads, who_lifts, who_unpacks, who_cleans
            trial[11], trial[12], trial[13], trial[14] = load + a.load[b], lifted, end, clean + a.clean[b]
            trial[15], trial[16], trial[17] = printed, printed + a.cool[b], down
            return end
        if soonest >= NEVER:
            return NEVER
        t = soonest


@bare_kernel
def supplied(a: Arrays, p: Placed, b: int, m: int, load: int) -> int:
    """First loading at or after `load` with powder, with utilities to print, and watched as long as it must be."""
    while load < NEVER:
        before = load
        load = powder_there(a.stock, a.arrival, a.virgin, a.material, p.machine, p.at[:, 0], b, load)
        door = load + a.load[b]
        if a.watched[m] > 0:
            row = a.start_row
            door = first_gap(p.busy[row], p.used[row], door, min(a.watched[m], a.printing[b, m]))
        for u in range(len(a.utility_most)):
            if a.utility_of[m, u] and a.utility_most[u] > 0:
                door = utility_free(
                    a.utility_of, a.utility_most[u], u, p.machine, p.end[:, 0], p.printed, b, a.printing[b, m], door
                )
        load = door - a.load[b]
        if load == before:
            break
    return load


@bare_kernel
def after_last(a: Arrays, p: Placed, b: int, m: int) -> int:
    """First start after everything on a machine with services by printed hours, service and changeover included.

    Such a machine takes builds one after the other only, so that its hours can be counted.
    """
    if a.service_every[m] <= 0:
        return 0
    until, material = last_stay(a, p, m)
    if service_due(a, p, b, m):
        until += a.service[m]
    if material != a.material[b]:
        until += a.changeover[m]
    return until


@bare_kernel
def last_stay(a: Arrays, p: Placed, m: int) -> tuple[int, int]:
    """End and material of the last build on a machine; 0 and its own material when there is none."""
    until, material = 0, a.machine_material[m]
    for i in range(p.machine_used[m]):
        if p.machine_busy[m, i, 2] >= 0:
            until, material = max(0, p.machine_busy[m, i, 1]), p.machine_busy[m, i, 2]
    return until, material


@bare_kernel
def service_due(a: Arrays, p: Placed, b: int, m: int) -> bool:
    """True when build b would print past the hours after which machine m is serviced."""
    hours: int = p.since_service[m]
    every: int = a.service_every[m]
    return every > 0 and hours > 0 and hours + int(a.printing[b, m]) > every


@bare_kernel
def place_unpack(a: Arrays, p: Placed, b: int, lifted: int, t: int, skill: int) -> tuple[int, int, int, int]:
    """(start of unpacking, person, station, clean-down before it) at the station where it ends soonest.

    The cake is opened at `t` or later; the bench may be cleaned for it from `lifted` on, while it still cools.
    """
    best, who, where, down = NEVER, -1, -1, 0
    for station in range(a.unpack_ok.shape[1]):
        if not a.unpack_ok[b, station]:
            continue
        s, need, soonest = t, 0, lifted
        while s < NEVER:
            s, person = place_hands(
                p.busy, p.used, a.can, skill, s, need + a.unpack[b], need + a.unpack[b], station, -1
            )
            if a.clean_down[station] <= 0:
                break
            wanted, after = clean_down_before(
                a.clean_down[station], a.material, p.machine, p.station, p.at[:, 2], p.end[:, 2], p.clean_down, b,
                station, s,
            )  # fmt: skip
            if wanted == need and after == s:
                break
            if wanted > need:
                s = max(soonest, t - wanted)
            else:
                s = max(after, t)
                soonest = s
            need = wanted
        if s + need < best:
            best, who, where, down = s + need, person, station, need
    return best, who, where, down


@bare_kernel
def place_started(a: Arrays, p: Placed, b: int, skill_start: int, skill_unpack: int, trial: IntArray) -> int:
    """End of unpacking of a build whose loading is kept: what is not kept comes as early as hands allow."""
    at, ends = a.kept_at[b], a.kept_end[b]
    m, chamber, station = a.kept_place[b]
    printed = a.kept_heat[b, 0] if a.kept_heat[b, 0] > UNSET else ends[0] + a.printing[b, m]
    cold = a.kept_heat[b, 1] if a.kept_heat[b, 1] > UNSET else printed + a.cool[b]
    trial[0], trial[1], trial[2], trial[15], trial[16], trial[17] = m, chamber, station, printed, cold, 0
    trial[3], trial[7], trial[11] = at[0], a.kept_by[b, 0], ends[0]
    minutes = (a.load[b], a.unload[b], a.unpack[b], a.clean[b])
    ready = max(0, printed + a.in_machine[b])
    for i in range(1, 4):
        if at[i] > UNSET:
            start, who, end = at[i], a.kept_by[b, i], ends[i]
            trial[17] = a.kept_down[b] if i == 2 else trial[17]
        elif i == 2:
            start, who, trial[2], trial[17] = place_unpack(a, p, b, ready, max(ready, cold), skill_unpack)
            end = start + minutes[i]
        else:
            skill = skill_start if i == 1 else skill_unpack
            start, who = place_hands(p.busy, p.used, a.can, skill, ready, minutes[i], 0, -1, -1)
            end = start + minutes[i]
        if start >= NEVER:
            return NEVER
        trial[3 + i], trial[7 + i], trial[11 + i] = start, who, end
        ready = max(0, end)
    unpacked: int = trial[13]
    return unpacked


@bare_kernel
def book_build(a: Arrays, p: Placed, b: int, best: IntArray, skill_inspect: int) -> bool:
    """Write a placed build down and book machine, chamber, station and people, those of kept tasks excepted.

    False when there is no place for the test of its specimens.
    """
    m, down = best[0], best[17]
    if a.kept_service[b]:
        p.since_service[m] = 0
    elif a.kept_at[b, 0] == UNSET and service_due(a, p, b, m):
        p.serviced[b] = last_stay(a, p, m)[0]
        p.since_service[m] = 0
    p.since_service[m] += a.printing[b, m]
    p.clean_down[b] = down
    p.machine[b], p.chamber[b], p.station[b] = best[0], best[1], best[2]
    p.printed[b], p.cold[b] = best[15], best[16]
    for i in range(4):
        p.at[b, i], p.by[b, i], p.end[b, i] = best[3 + i], best[7 + i], best[11 + i]
        if best[7 + i] >= 0 and a.kept_at[b, i] == UNSET:
            book(p.busy, p.used, best[7 + i], best[3 + i] - (down if i == 2 else 0), best[11 + i])
    book(p.busy, p.used, best[1], best[3], best[14])
    if a.kept_at[b, 2] == UNSET:
        book(p.busy, p.used, best[2], best[5] - down, best[13])
    i = p.machine_used[m]
    while i > 0 and p.machine_busy[m, i - 1, 0] > best[3]:
        for j in range(3):
            p.machine_busy[m, i, j] = p.machine_busy[m, i - 1, j]
        i -= 1
    p.machine_busy[m, i, 0], p.machine_busy[m, i, 1], p.machine_busy[m, i, 2] = best[3], best[12], a.material[b]
    p.machine_used[m] += 1
    return place_test(a, p, b, skill_inspect)


@bare_kernel
def place_test(a: Arrays, p: Placed, b: int, skill: int) -> bool:
    """Test the specimens of a build as soon as somebody can; True when that is within the horizon."""
    if a.test[b] <= 0:
        return True
    if a.kept_test[b, 0] > UNSET:
        p.test[b, 0], p.test[b, 1], p.test[b, 2] = a.kept_test[b, 0], -1, a.kept_test[b, 1]
        return True
    start, who = place_hands(p.busy, p.used, a.can, skill, p.end[b, 2], a.test[b], 0, -1, -1)
    if start >= NEVER:
        return False
    book(p.busy, p.used, who, start, start + a.test[b])
    p.test[b, 0], p.test[b, 1], p.test[b, 2] = start, who, start + a.test[b] + a.test_wait[b]
    return True


@bare_kernel
def running_bath(a: Arrays, p: Placed, s: int, t: int, start: int) -> int:
    """A step already placed whose bath this step can join: same treatment, room left, not before t, not later."""
    if a.step_shared[s] < 0:
        return -1
    best, soonest = -1, start + 1
    for other in range(len(p.step_start)):
        if a.step_shared[other] != a.step_shared[s] or other == s:
            continue
        begins, station = p.step_start[other], p.step_station[other]
        if begins < t or begins >= soonest or not a.step_ok[s, station]:
            continue
        if a.kept_step[other, 0] > UNSET and a.kept_step[other, 1] - begins != a.step_run[s]:
            continue
        limit, litres, known = a.capacity_l[station], a.step_litres[s], a.step_litres[s] > 0
        for third in range(len(p.step_start)):
            if p.step_station[third] == station and p.step_start[third] == begins:
                litres += a.step_litres[third]
                known = known and a.step_litres[third] > 0
        if limit <= 0 or (known and litres <= limit + 1e-9):
            best, soonest = other, begins
    return best


@bare_kernel
def place_basket(a: Arrays, p: Placed, k: int) -> int:
    """Send a basket through its steps; minute at which it is out of the last one."""
    t = 0
    for i in range(a.basket_build_at[k], a.basket_build_at[k + 1]):
        t = max(t, p.end[a.basket_build[i], 2])
    for s in range(a.step_at[k], a.step_at[k + 1]):
        if a.kept_step[s, 0] > UNSET:
            p.step_by[s] = a.kept_step_who[s, 0]
            t = max(0, a.kept_step[s, 2])
            continue
        start, who, station = place_at_station(
            p.busy, p.used, a.can, a.step_skill[s], t, a.step_hands[s], a.step_run[s], a.step_ok[s], a.step_day_row[s],
            a.step_watch_row[s],
        )  # fmt: skip
        joined = running_bath(a, p, s, t, start)
        if joined >= 0:
            start, who, station = p.step_start[joined], p.step_by[joined], p.step_station[joined]
        if start >= NEVER:
            return NEVER
        p.step_start[s], p.step_by[s], p.step_station[s] = start, who, station
        if joined < 0:
            if who >= 0:
                book(p.busy, p.used, who, start, start + a.step_hands[s])
            book(p.busy, p.used, station, start, start + a.step_run[s])
        t = start + a.step_run[s] + a.step_wait[s]
    p.basket_end[k] = t
    return t


@bare_kernel
def place_line(a: Arrays, p: Placed, line: int) -> int:
    """Finish, inspect and pack a line; the minute at which it is ready."""
    t = 0
    for i in range(a.line_build_at[line], a.line_build_at[line + 1]):
        t = max(t, p.end[a.line_build[i], 2])
    for i in range(a.line_basket_at[line], a.line_basket_at[line + 1]):
        k = a.line_basket[i]
        end = p.basket_end[k]
        if end < 0:
            end = place_basket(a, p, k)
        t = max(t, end)
    if t >= NEVER:
        return NEVER
    for i in range(a.op_at[line], a.op_at[line + 1]):
        if a.kept_op[i, 0] > UNSET:
            p.op_start[i], p.op_by[i] = a.kept_op[i, 0], a.kept_op_by[i]
            t = max(0, a.kept_op[i, 1])
            continue
        if a.op_gate[i]:
            for j in range(a.line_build_at[line], a.line_build_at[line + 1]):
                t = max(t, p.test[a.line_build[j], 2])
        start, who = place_hands(p.busy, p.used, a.can, a.op_skill[i], t, a.op_hands[i], 0, -1, -1)
        if start >= NEVER:
            return NEVER
        p.op_start[i], p.op_by[i] = start, who
        book(p.busy, p.used, who, start, start + a.op_hands[i])
        t = start + a.op_hands[i]
    return t


@bare_kernel
def clear(a: Arrays, p: Placed) -> None:
    """Nothing is placed yet: only closures and what is kept takes people, stations and machines."""
    for r in range(len(a.used)):
        n = a.used[r]
        p.used[r] = n
        for i in range(n):
            p.busy[r, i, 0], p.busy[r, i, 1] = a.busy[r, i, 0], a.busy[r, i, 1]
    for m in range(len(a.machine_used)):
        n = a.machine_used[m]
        p.machine_used[m] = n
        for i in range(n):
            for j in range(3):
                p.machine_busy[m, i, j] = a.machine_busy[m, i, j]
    for i in range(a.kept_booking.shape[0]):
        book(p.busy, p.used, a.kept_booking[i, 0], a.kept_booking[i, 1], a.kept_booking[i, 2])
    p.machine[:] = -1
    p.serviced[:] = -1
    p.test[:] = -1
    for m in range(len(a.service_run)):
        p.since_service[m] = a.service_run[m]
    p.basket_end[:] = -1
    p.step_start[:] = -1
    p.step_station[:] = -1
    for s in range(len(a.step_run)):
        if a.kept_step[s, 0] > UNSET:
            p.step_start[s], p.step_station[s] = a.kept_step[s, 0], a.kept_step_who[s, 1]


@bare_kernel
def find_place(
    a: Arrays, p: Placed, b: int, wanted: int, skill_start: int, skill_unpack: int, trial: IntArray, best: IntArray
) -> int:
    """Unpack end of build b at its earliest place, which `best` receives as in `try_machine`; NEVER without one."""
    if a.kept_at[b, 0] > UNSET:
        kept: int = place_started(a, p, b, skill_start, skill_unpack, best)
        return kept
    soonest = NEVER
    for m in range(a.printing.shape[1]):
        if a.printing[b, m] > 0 and (wanted < 0 or wanted == m):
            end = try_machine(a, p, b, m, skill_start, skill_unpack, soonest, trial)
            if end < soonest:
                soonest = end
                for i in range(len(trial)):
                    best[i] = trial[i]
    return soonest


@bare_kernel
def place_all(
    a: Arrays,
    p: Placed,
    build_order: IntArray,
    wanted_machine: IntArray,
    line_order: IntArray,
    skill_start: int,
    skill_unpack: int,
    skill_inspect: int,
    earliness: float,
    trial: IntArray,
    best: IntArray,
) -> float:
    """Place everything in the given orders and return the cost; infinite when the horizon is too short.

    Cost = sum of weight x minutes late + earliness x (sum of weight x ready minute + last minute). `wanted_machine`
    (b,) is -1 where the machine with the earliest end of unpacking is taken; `trial` and `best` are scratch (TRIAL,).
    """
    clear(a, p)
    cost, last = 0.0, 0
    for begun in (True, False):  # what is begun stays, so it is placed before everything else
        for b in build_order:
            if (a.kept_at[b, 0] > UNSET) != begun:
                continue
            if find_place(a, p, b, wanted_machine[b], skill_start, skill_unpack, trial, best) >= NEVER:
                return np.inf
            if not book_build(a, p, b, best, skill_inspect):
                return np.inf
            cost += unsteady(a, b, best)
    for line in line_order:
        ready = place_line(a, p, line)
        if ready >= NEVER:
            return np.inf
        p.ready[line] = ready
        last = max(last, ready)
        cost += line_cost(a, line, ready, earliness)
    return cost + earliness * last


@bare_kernel
def unsteady(a: Arrays, b: int, place: IntArray) -> float:
    """Cost of loading a build that has not begun at another minute than in the plan before."""
    if a.kept_at[b, 0] > UNSET or a.steady_at[b] == UNSET:
        return 0.0
    cost: float = a.steady * abs(place[3] - a.steady_at[b])
    return cost


@bare_kernel
def line_cost(a: Arrays, line: int, ready: int, earliness: float) -> float:
    """Cost of a line that is ready at a minute."""
    cost: float = a.weight[line] * (max(0, ready - a.due[line]) + earliness * ready)
    return cost


@kernel
def decode(
    a: Arrays,
    p: Placed,
    build_order: IntArray,
    wanted_machine: IntArray,
    line_order: IntArray,
    skill_start: int,
    skill_unpack: int,
    skill_inspect: int,
    earliness: float,
) -> float:
    """As `place_all`, for callers outside of kernels."""
    trial, best = np.empty(TRIAL, np.int64), np.empty(TRIAL, np.int64)
    return place_all(
        a, p, build_order, wanted_machine, line_order, skill_start, skill_unpack, skill_inspect, earliness, trial, best
    )
