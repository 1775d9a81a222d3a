"""Pools: people, chambers and stations that cannot be told apart. A solver counts them; names come after the solve.

Naming interchangeable things inside a solver multiplies the schedules that are the same but for names. Any set of
spans of which never more than n overlap can be shared out among n names from left to right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.errors import NotConvergedError
from cakewright.schedule.calendars import Span
from cakewright.schedule.instance import Arrays, Instance
from cakewright.schedule.kept import UNSET


@dataclass(frozen=True, slots=True)
class Pool:
    """Rows of the busy table that are alike, and the spans in which none of them can be used."""

    rows: tuple[int, ...]
    closed: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class Pools:
    """The pools of an instance."""

    people: tuple[Pool, ...]
    chambers: tuple[Pool, ...]
    stations: tuple[Pool, ...]


def make_pools(instance: Instance) -> Pools:
    """Rows with the same calendar, the same abilities and nothing of their own: nothing kept, no powder on a bench."""
    a = instance.arrays
    last = instance.station_row + len(instance.cell.stations)
    people = _alike(a, range(instance.chamber_row), lambda r: a.can[:, r].tobytes())
    kept = {int(a.kept_place[b, 1]) for b in range(len(a.load)) if a.kept_at[b, 0] > UNSET}
    chambers = _alike(
        a,
        range(instance.chamber_row, instance.station_row),
        lambda r: (a.chamber_ok[:, r].tobytes(), r if r in kept else -1),
    )
    stations = _alike(
        a,
        range(instance.station_row, last),
        lambda r: (
            a.unpack_ok[:, r].tobytes(),
            a.step_ok[:, r].tobytes(),
            float(a.capacity_l[r]),
            r if a.has_clean_down and a.clean_down[r] > 0 else -1,
        ),
    )
    return Pools(people, chambers, stations)


def _alike(a: Arrays, rows: Sequence[int], ability: object) -> tuple[Pool, ...]:
    groups: dict[object, list[int]] = {}
    for r in rows:
        booked = a.kept_booking[a.kept_booking[:, 0] == r, 1:]
        own = a.busy[r, : a.used[r]]
        key = (own.tobytes(), booked.tobytes(), ability(r))  # type: ignore[operator]
        groups.setdefault(key, []).append(r)
    return tuple(Pool(tuple(rows), _closed(a, rows[0])) for rows in groups.values())


def _closed(a: Arrays, row: int) -> tuple[Span, ...]:
    booked = a.kept_booking[a.kept_booking[:, 0] == row, 1:]
    spans = np.concatenate([a.busy[row, : a.used[row]], booked])
    return tuple((int(s), int(e)) for s, e in spans[np.argsort(spans[:, 0], kind="stable")])


def share_out(spans: Sequence[Span], rows: Sequence[int]) -> list[int]:
    """A row for each span so that no row has two at once; NotConvergedError when there are too few rows."""
    free = dict.fromkeys(rows, UNSET)
    given = [-1] * len(spans)
    for i in sorted(range(len(spans)), key=lambda i: spans[i]):
        start, end = spans[i]
        row = next((r for r in rows if free[r] <= start), None)
        if row is None:
            raise NotConvergedError(
                f"more than {len(rows)} at once at minute {start}", remedy="this is a mistake in the program; report it"
            )
        given[i], free[row] = row, end
    return given
