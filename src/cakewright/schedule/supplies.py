"""What a build needs besides machine, chamber and hands: powder in stock, utilities to print on, a clean bench.

The kernels ask arrays of what is placed already, so that planned and simulated weeks keep the same rules. `on` is the
machine of each build (-1: not placed yet), `load`, `door` and `printed` are its minutes.
"""

from __future__ import annotations

from cakewright.compiled import bare_kernel
from cakewright.schedule.gaps import NEVER
from cakewright.schedule.instance import BoolArray, IntArray


@bare_kernel
def powder_there(
    stock: IntArray,
    arrival: IntArray,
    virgin: IntArray,
    material: IntArray,
    on: IntArray,
    load: IntArray,
    b: int,
    t: int,
) -> int:
    """First minute at or after t from which on the virgin powder of build b is in stock and stays enough for others."""
    if virgin[b] <= 0 or _lasts(stock, arrival, virgin, material, on, load, b, t):
        return t
    for i in range(arrival.shape[0]):
        later: int = arrival[i, 1]
        arrives = arrival[i, 0] == material[b] and later > t
        if arrives and _lasts(stock, arrival, virgin, material, on, load, b, later):
            return later
    return NEVER


@bare_kernel
def _lasts(
    stock: IntArray,
    arrival: IntArray,
    virgin: IntArray,
    material: IntArray,
    on: IntArray,
    load: IntArray,
    b: int,
    t: int,
) -> bool:
    """True when the powder of build b, taken at t, is missing to nobody from then on."""
    if stock_at(stock, arrival, virgin, material, on, load, b, t) < virgin[b]:
        return False
    for other in range(len(virgin)):
        follows = on[other] >= 0 and other != b and material[other] == material[b] and load[other] > t
        if follows and stock_at(stock, arrival, virgin, material, on, load, b, load[other]) < virgin[b]:
            return False
    return True


@bare_kernel
def stock_at(
    stock: IntArray,
    arrival: IntArray,
    virgin: IntArray,
    material: IntArray,
    on: IntArray,
    load: IntArray,
    b: int,
    t: int,
) -> int:
    """Grams of virgin powder of the material of build b at minute t, its own charge not taken."""
    grams: int = stock[material[b]]
    for i in range(arrival.shape[0]):
        if arrival[i, 0] == material[b] and arrival[i, 1] <= t:
            grams += arrival[i, 2]
    for other in range(len(virgin)):
        if on[other] >= 0 and other != b and material[other] == material[b] and 0 <= load[other] <= t:
            grams -= virgin[other]
    return grams


@bare_kernel
def utility_free(
    utility_of: BoolArray, most: int, u: int, on: IntArray, doors: IntArray, printed: IntArray, b: int, minutes: int,
    door: int,
) -> int:  # fmt: skip
    """First print start of b at or after `door` at which utility u carries one machine more for all its minutes."""
    while True:
        end, blocked = door + minutes, NEVER
        for first in range(-1, len(on)):
            at = door if first < 0 else doors[first]
            if first >= 0 and (on[first] < 0 or at <= door or at >= end or first == b):
                continue
            count, until = 0, NEVER
            for other in range(len(on)):
                m = on[other]
                if m >= 0 and other != b and utility_of[m, u] and doors[other] <= at < printed[other]:
                    count += 1
                    until = min(until, printed[other])
            if count >= most:
                blocked = min(blocked, until)
        if blocked >= NEVER:
            return door
        door = blocked


@bare_kernel
def clean_down_before(
    minutes: int, material: IntArray, on: IntArray, stations: IntArray, begin: IntArray, end: IntArray, down: IntArray,
    b: int, station: int, t: int,
) -> tuple[int, int]:  # fmt: skip
    """Clean-down that build b needs at a station from t on, and the first start that leaves the next bench clean.

    `begin`, `end` and `down` are start, end and clean-down of the unpackings placed already. The next cake was placed
    before this one: it may not find a bench dirty that was clean.
    """
    last, dusty, following = -NEVER, -1, -1
    for other in range(len(on)):
        if on[other] < 0 or other == b or stations[other] != station:
            continue
        if begin[other] - down[other] < t:
            if begin[other] > last:
                last, dusty = begin[other], material[other]
        elif following < 0 or begin[other] < begin[following]:
            following = other
    if following >= 0 and material[following] != material[b] and down[following] == 0:
        return 0, end[following]
    return minutes if dusty >= 0 and dusty != material[b] else 0, t
