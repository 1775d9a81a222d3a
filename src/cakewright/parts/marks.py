"""How many different marks keep look-alikes apart: a colouring of who can be taken for whom."""

from __future__ import annotations

from collections.abc import Iterable

from cakewright.parts.signature import LookAlike


def marks_for(pairs: Iterable[LookAlike]) -> dict[str, int]:
    """A mark (0, 1, 2 ...) for each part that occurs in `pairs`, different for every two that look alike.

    Brelaz 1979 (most constrained first). Exact for groups in which all look alike; at worst a few marks too many.
    The number of different marks needed is the largest mark plus one.
    """
    like: dict[str, set[str]] = {}
    for pair in pairs:
        like.setdefault(pair.first, set()).add(pair.second)
        like.setdefault(pair.second, set()).add(pair.first)
    marks: dict[str, int] = {}
    waiting = dict.fromkeys(like)
    while waiting:
        part = max(waiting, key=lambda name: (len({marks[o] for o in like[name] if o in marks}), len(like[name])))
        taken = {marks[other] for other in like[part] if other in marks}
        marks[part] = next(mark for mark in range(len(like)) if mark not in taken)
        del waiting[part]
    return marks
