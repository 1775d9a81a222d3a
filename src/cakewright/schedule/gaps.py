"""First free minutes in rows of busy spans, and booking them: the small kernels under `decode`."""

from __future__ import annotations

from cakewright.compiled import bare_kernel
from cakewright.schedule.calendars import FAR
from cakewright.schedule.instance import BoolArray, IntArray

NEVER = FAR // 2  # starts beyond this lie outside the horizon


@bare_kernel
def first_gap(busy: IntArray, count: int, t: int, minutes: int) -> int:
    """First start at or after t at which a row is free for so many minutes."""
    low, high = 0, count
    while low < high:
        mid = (low + high) // 2
        if busy[mid, 1] <= t:
            low = mid + 1
        else:
            high = mid
    s = t
    for i in range(low, count):
        if busy[i, 0] - s >= minutes:
            return s
        s = max(s, busy[i, 1])
    return s


@bare_kernel
def book(busy: IntArray, counts: IntArray, row: int, start: int, end: int) -> None:
    """Put [start, end) into a row, keeping starts and ends sorted; what overlaps still covers the same minutes."""
    if end <= start:
        return
    i = counts[row]
    while i > 0 and busy[row, i - 1, 0] > start:
        busy[row, i, 0] = busy[row, i - 1, 0]
        busy[row, i, 1] = busy[row, i - 1, 1]
        i -= 1
    busy[row, i, 0] = start
    busy[row, i, 1] = max(end, busy[row, i - 1, 1]) if i > 0 else end
    counts[row] += 1
    while i + 1 < counts[row] and busy[row, i + 1, 1] < busy[row, i, 1]:
        busy[row, i + 1, 1] = busy[row, i, 1]
        i += 1


@bare_kernel
def place_hands(
    busy: IntArray,
    counts: IntArray,
    can: BoolArray,
    skill: int,
    t: int,
    hands: int,
    run: int,
    station: int,
    day: int,
    watch: int = -1,
) -> tuple[int, int]:
    """(start, person) of the earliest task at one station (-1: none) on allowed days (-1: any).

    `watch` is a row that must be free for the whole run: somebody is in (-1: may run unwatched).
    """
    best, who = NEVER, -1
    people = can.shape[1] if hands > 0 else 1
    for p in range(people):
        if hands > 0 and not can[skill, p]:
            continue
        s = t
        while s < best:
            before = s
            if hands > 0:
                s = first_gap(busy[p], counts[p], s, hands)
            if station >= 0:
                s = first_gap(busy[station], counts[station], s, run)
            if day >= 0:
                s = first_gap(busy[day], counts[day], s, max(hands, 1))
            if watch >= 0:
                s = first_gap(busy[watch], counts[watch], s, run)
            if s == before:
                break
        if s < best:
            best = s
            who = p if hands > 0 else -1
    return best, who


@bare_kernel
def place_at_station(
    busy: IntArray,
    counts: IntArray,
    can: BoolArray,
    skill: int,
    t: int,
    hands: int,
    run: int,
    allowed: BoolArray,
    day: int,
    watch: int = -1,
) -> tuple[int, int, int]:
    """(start, person, station) of the earliest task at any allowed station."""
    best, who, where = NEVER, -1, -1
    for station in range(len(allowed)):
        if allowed[station]:
            s, p = place_hands(busy, counts, can, skill, t, hands, run, station, day, watch)
            if s < best:
                best, who, where = s, p, station
    return best, who, where


@bare_kernel
def first_machine_gap(
    busy: IntArray, count: int, first_material: int, material: int, changeover: int, t: int, minutes: int
) -> int:
    """First start at or after t at which a machine is free, with time to change material before and after."""
    s = t
    loaded = first_material
    for i in range(count + 1):
        setup = changeover if loaded != material else 0
        end_before = busy[i - 1, 1] if i > 0 else 0
        s = max(s, end_before + setup)
        if i == count:
            return s
        after = changeover if busy[i, 2] != material and busy[i, 2] >= 0 else 0
        if busy[i, 0] - after - s >= minutes:
            return s
        if busy[i, 2] >= 0:
            loaded = busy[i, 2]
    return s
