"""Where the powder of one can came from, as a small graph that can be drawn: cans in columns, shares on the ways."""

from __future__ import annotations

from dataclasses import dataclass

from cakewright.app.powder_books import PowderView
from cakewright.powder.ledger import ContainerKind

LEAST, MOST_CANS, MOST_COLUMNS = 0.01, 36, 7  # what is left out of the picture is counted beside it


@dataclass(frozen=True, slots=True)
class FamilyCan:
    """A can in the picture: `column` steps before the can asked for, `share` of its powder that passed through."""

    key: str
    kind: str
    lot: str
    column: int
    share: float


@dataclass(frozen=True, slots=True)
class FamilyWay:
    """Powder that went from one can to another: `share` of what is in the can asked for."""

    source: str
    target: str
    share: float


@dataclass(frozen=True, slots=True)
class Family:
    """The picture's content. `left_out` counts ways too small to draw."""

    can: str
    cans: tuple[FamilyCan, ...]
    ways: tuple[FamilyWay, ...]
    left_out: int


def family_of(view: PowderView, can: str) -> Family:
    """The graph behind a can that holds, or held, powder."""
    containers = view.ledger.containers
    all_ways = {w: s for w, s in view.graph.ways(can).items() if containers[w[0]].kind is not ContainerKind.SUPPLIER}
    strong = {way: share for way, share in all_ways.items() if share >= LEAST}
    columns = {can: 0}
    todo = [can]
    while todo and len(columns) < MOST_CANS:
        here = todo.pop(0)
        sources = sorted((w for w in strong if w[1] == here), key=lambda w: -strong[w])
        for source, _ in sources:
            if source not in columns and len(columns) < MOST_CANS and columns[here] < MOST_COLUMNS - 1:
                columns[source] = columns[here] + 1
                todo.append(source)
    ways = [FamilyWay(a, b, s) for (a, b), s in strong.items() if a in columns and b in columns]
    passed = {key: sum(w.share for w in ways if w.source == key) for key in columns}
    passed[can] = 1.0
    cans = [FamilyCan(k, containers[k].kind.value, containers[k].lot or "", c, passed[k]) for k, c in columns.items()]
    return Family(can, tuple(cans), tuple(ways), len(all_ways) - len(ways))
