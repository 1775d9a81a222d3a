"""Random changes of the orders from which a schedule is decoded.

Small ones move one build in the order or to another machine. Larger ones keep builds of one powder together, since a
change of powder costs a day for one build as for five: a build joins another of its powder or trades places with it, a
campaign (builds of one powder one after the other on a machine) goes elsewhere whole or in part, or trades places with
the next; two machines trade everything from some build on.
"""

from __future__ import annotations

import numpy as np

from cakewright.compiled import bare_kernel, kernel
from cakewright.schedule.instance import Arrays, IntArray


@bare_kernel
def carry(order: IntArray, i: int, j: int) -> None:
    """Take the entry at i out and put it in at j."""
    taken = order[i]
    while i < j:
        order[i] = order[i + 1]
        i += 1
    while i > j:
        order[i] = order[i - 1]
        i -= 1
    order[j] = taken


@kernel
def near(rng: np.random.Generator, i: int, far: int, low: int, high: int) -> int:
    """A place within `far` of i, or now and then anywhere, at least `low` and below `high`."""
    if rng.random() < 0.15:
        return int(rng.integers(low, high))
    place: int = min(max(i + int(rng.integers(-far, far + 1)), low), high - 1)
    return place


@kernel
def change(
    rng: np.random.Generator, a: Arrays, builds: IntArray, machines: IntArray, lines: IntArray, first: int, far: int,
    run: int, scratch: IntArray,
) -> bool:  # fmt: skip
    """One random change of the orders, in place; builds before `first` stay. False when nothing has changed.

    `far` places is how far most changes reach, `run` the most builds that are moved together; `scratch` (b,).
    """
    kind, n = rng.random(), len(builds)
    i = int(rng.integers(first, n))
    b, m = builds[i], int(rng.integers(0, a.printing.shape[1]))
    other = bool(a.printing[b, m] > 0 and machines[b] != m)
    if kind < 0.05:
        if other:
            machines[b] = m
        return other
    if kind < 0.35:
        j = near(rng, i, far, first, n)
        if rng.random() < 0.3:
            builds[i], builds[j] = builds[j], b
        else:
            carry(builds, i, j)
        other = other and rng.random() < 0.3
        if other:
            machines[b] = m
        return other or i != j
    if kind < 0.45:
        to = m if other and rng.random() < 0.4 else -1
        gather(a, builds, machines, i, near(rng, i, 3 * far, first, n), int(rng.integers(2, run + 1)), to)
        return True
    if kind < 0.60:
        return join(a, builds, machines, i, alike(rng, a, builds, i, first), rng.random() < 0.5)
    if kind < 0.80:
        return trade(a, builds, machines, i, alike(rng, a, builds, i, first))
    if kind < 0.85:
        return turn(a, builds, machines, first_of_campaign(a, builds, machines, i, first), scratch)
    if kind < 0.95:
        begin = first_of_campaign(a, builds, machines, i, first)
        size = campaign(a, builds, machines, begin, scratch)
        part, low, high = rng.random(), 0, size
        if part < 0.33:
            low = int(rng.integers(0, size))
        elif part < 0.66:
            high = int(rng.integers(1, size + 1))
        how = rng.random()
        if how < 0.6 and not other:
            return False
        shift = int(rng.integers(-3 * far, 3 * far + 1)) if how > 0.3 else 0
        move(a, builds, machines, scratch[low:high], m if how < 0.6 else -1, shift, first)
        return other or shift != 0
    if kind < 0.98:
        if other:
            for j in range(i, n):
                c = builds[j]
                if machines[c] == m and a.printing[c, machines[b]] > 0:
                    machines[c] = machines[b]
                elif j > i and machines[c] == machines[b] and a.printing[c, m] > 0:
                    machines[c] = m
            machines[b] = m
        return other
    i = int(rng.integers(0, len(lines)))
    j = near(rng, i, far, 0, len(lines))
    carry(lines, i, j)
    return i != j


@kernel
def alike(rng: np.random.Generator, a: Arrays, builds: IntArray, i: int, first: int) -> int:
    """Position of another build of the powder of the one at i; i when there is none."""
    powder, count = a.material[builds[i]], 0
    for j in range(first, len(builds)):
        if j != i and a.material[builds[j]] == powder:
            count += 1
    pick = int(rng.integers(0, count)) if count else 0
    for j in range(first, len(builds)):
        if j != i and a.material[builds[j]] == powder:
            if pick == 0:
                return j
            pick -= 1
    return i


@bare_kernel
def gather(a: Arrays, builds: IntArray, machines: IntArray, i: int, j: int, left: int, to: int) -> None:
    """Up to `left` builds of one powder from position i on go to j, one after the other, and to machine `to`."""
    n, powder = len(builds), a.material[builds[i]]
    while i < n and left > 0:
        one = builds[i]
        if a.material[one] == powder:
            carry(builds, i, j)
            if to >= 0 and a.printing[one, to] > 0:
                machines[one] = to
            left -= 1
            if j <= i:
                j, i = min(j + 1, n - 1), i + 1
        else:
            i += 1


@bare_kernel
def join(a: Arrays, builds: IntArray, machines: IntArray, i: int, j: int, behind: bool) -> bool:
    """The build at i goes to the machine of the one at j, right before or behind it."""
    b, m = builds[i], machines[builds[j]]
    if i == j or m < 0 or a.printing[b, m] <= 0:
        return False
    if i < j:
        carry(builds, i, j if behind else j - 1)
    else:
        carry(builds, i, j + 1 if behind else j)
    machines[b] = m
    return True


@bare_kernel
def trade(a: Arrays, builds: IntArray, machines: IntArray, i: int, j: int) -> bool:
    """Two builds take each other's place in the order and machine."""
    b, c = builds[i], builds[j]
    if i == j or machines[b] < 0 or machines[c] < 0:
        return False
    if a.printing[b, machines[c]] <= 0 or a.printing[c, machines[b]] <= 0:
        return False
    builds[i], builds[j] = c, b
    machines[b], machines[c] = machines[c], machines[b]
    return True


@bare_kernel
def first_of_campaign(a: Arrays, builds: IntArray, machines: IntArray, i: int, first: int) -> int:
    """Position of the first build of the campaign to which the one at i belongs."""
    b, begin = builds[i], i
    for j in range(i - 1, first - 1, -1):
        if machines[builds[j]] == machines[b]:
            if a.material[builds[j]] != a.material[b]:
                break
            begin = j
    return begin


@bare_kernel
def campaign(a: Arrays, builds: IntArray, machines: IntArray, begin: int, members: IntArray) -> int:
    """Writes the builds of the campaign that begins at a position to `members`; how many they are."""
    b, size = builds[begin], 0
    for j in range(begin, len(builds)):
        if machines[builds[j]] == machines[b]:
            if a.material[builds[j]] != a.material[b]:
                break
            members[size] = builds[j]
            size += 1
    return size


@bare_kernel
def turn(a: Arrays, builds: IntArray, machines: IntArray, begin: int, members: IntArray) -> bool:
    """The campaign that begins at a position and the next one on the machine trade places; False without a next one."""
    size = campaign(a, builds, machines, begin, members)
    b, second = builds[begin], -1
    for j in range(begin, len(builds)):
        c = builds[j]
        if machines[c] != machines[b]:
            continue
        if second < 0 and a.material[c] != a.material[b]:
            second = a.material[c]
        if second >= 0 and a.material[c] != second:
            break
        if second >= 0:
            members[size] = c
            size += 1
    if second < 0:
        return False
    place, ahead = begin, 0
    while a.material[members[ahead]] == a.material[b]:
        ahead += 1
    for k in range(size):
        while machines[builds[place]] != machines[b]:
            place += 1
        builds[place] = members[(ahead + k) % size]
        place += 1
    return True


@bare_kernel
def move(a: Arrays, builds: IntArray, machines: IntArray, members: IntArray, to: int, shift: int, first: int) -> None:
    """These builds go to machine `to` (-1: stay) and `shift` places later in the order, none before `first`."""
    n, count = len(builds), len(members)
    for k in range(count):
        one = members[k] if shift < 0 else members[count - 1 - k]
        if to >= 0 and a.printing[one, to] > 0:
            machines[one] = to
        if shift != 0:
            i = first
            while builds[i] != one:
                i += 1
            carry(builds, i, min(max(i + shift, first), n - 1))
