"""What a build needs besides machine, chamber and hands: powder in stock, utilities to print on, eyes at the start."""

from __future__ import annotations

from cakewright.compiled import kernel
from cakewright.schedule.gaps import NEVER, first_gap
from cakewright.schedule.instance import Arrays
from cakewright.schedule.placed import Placed


@kernel
def supplied(a: Arrays, p: Placed, b: int, m: int, load: int) -> int:
    """First loading at or after `load` with powder, with utilities to print, and watched as long as it must be."""
    while load < NEVER:
        before = load
        load = powder_there(a, p, b, load)
        door = load + a.load[b]
        if a.watched[m] > 0:
            row = a.start_row
            door = first_gap(p.busy[row], p.used[row], door, min(a.watched[m], a.printing[b, m]))
        for u in range(len(a.utility_most)):
            if a.utility_of[m, u] and a.utility_most[u] > 0:
                door = utility_free(a, p, b, m, u, door)
        load = door - a.load[b]
        if load == before:
            break
    return load


@kernel
def powder_there(a: Arrays, p: Placed, b: int, t: int) -> int:
    """First minute at or after t from which on the virgin powder of build b is in stock and stays enough for others."""
    if a.virgin[b] <= 0 or lasts(a, p, b, t):
        return t
    for i in range(a.arrival.shape[0]):
        if a.arrival[i, 0] == a.material[b] and a.arrival[i, 1] > t and lasts(a, p, b, a.arrival[i, 1]):
            later: int = a.arrival[i, 1]
            return later
    return NEVER


@kernel
def lasts(a: Arrays, p: Placed, b: int, t: int) -> bool:
    """True when the powder of build b, taken at t, is missing to nobody from then on."""
    if stock_at(a, p, b, t) < a.virgin[b]:
        return False
    for other in range(len(a.virgin)):
        placed = p.machine[other] >= 0 and other != b and a.material[other] == a.material[b]
        if placed and p.at[other, 0] > t and stock_at(a, p, b, p.at[other, 0]) < a.virgin[b]:
            return False
    return True


@kernel
def stock_at(a: Arrays, p: Placed, b: int, t: int) -> int:
    """Grams of virgin powder of the material of build b at minute t, its own charge not taken."""
    grams: int = a.stock[a.material[b]]
    for i in range(a.arrival.shape[0]):
        if a.arrival[i, 0] == a.material[b] and a.arrival[i, 1] <= t:
            grams += a.arrival[i, 2]
    for other in range(len(a.virgin)):
        if p.machine[other] >= 0 and other != b and a.material[other] == a.material[b] and 0 <= p.at[other, 0] <= t:
            grams -= a.virgin[other]
    return grams


@kernel
def utility_free(a: Arrays, p: Placed, b: int, m: int, u: int, door: int) -> int:
    """First print start at or after `door` at which utility u carries one machine more all the time."""
    while True:
        end, blocked = door + a.printing[b, m], NEVER
        for first in range(-1, len(p.machine)):
            at = door if first < 0 else p.end[first, 0]
            if first >= 0 and (p.machine[first] < 0 or at <= door or at >= end or first == b):
                continue
            count, until = 0, NEVER
            for other in range(len(p.machine)):
                on = p.machine[other]
                if on >= 0 and other != b and a.utility_of[on, u] and p.end[other, 0] <= at < p.printed[other]:
                    count += 1
                    until = min(until, p.printed[other])
            if count >= a.utility_most[u]:
                blocked = min(blocked, until)
        if blocked >= NEVER:
            return door
        door = blocked
