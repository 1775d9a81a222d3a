"""After the local search: the exact solver, whole for a small cell, some builds at a time for a larger one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.schedule.bookings import chambers_of, hands_of, stations_of
from cakewright.schedule.cpsat import Effort, cost_of, lateness_of, solve
from cakewright.schedule.cpsat_base import free_all
from cakewright.schedule.decode import book, first_gap
from cakewright.schedule.instance import UNPACK, Instance
from cakewright.schedule.kept import UNSET
from cakewright.schedule.placed import Placed
from cakewright.schedule.pools import Pools, make_pools
from cakewright.schedule.starts import improve_by_starts
from cakewright.sources.schedule import SUBSOLVE_UNITS, WHOLE_MOST_BUILDS, WHOLE_UNITS
from cakewright.stopping import Later, Stop

_H = 60.0


@dataclass(frozen=True, eq=False)
class Polished:
    """A schedule no worse than the one given; `proved`: no schedule of these builds has less weighted lateness.

    `bound` is a lower bound of the weighted minutes late, None where none worth saying is known.
    """

    placed: Placed
    proved: bool
    bound: float | None
    notes: tuple[str, ...]


def polish(instance: Instance, placed: Placed, stop: Stop, seed: int, workers: int = 1) -> Polished:
    """Improve `placed` until `stop` says so; one step is one exact solve.

    Up to `schedule.whole_most_builds` builds are solved whole first, lateness before everything else, and often proved.
    """
    before = lateness_of(instance, placed)
    pools, proved, steps, cost = make_pools(instance), before == 0, 0, cost_of(instance, placed)
    bound: float | None = 0.0 if proved else None
    units, whole = float(SUBSOLVE_UNITS.value), (0, instance.horizon_min)
    if len(instance.builds) > WHOLE_MOST_BUILDS.value:
        units = 2 * WHOLE_UNITS.value
    while units <= WHOLE_UNITS.value and not proved and not stop(steps, cost):
        effort = Effort(units, workers, seed)
        answer = solve(instance, pools, placed, free_all(instance), whole, effort, lateness_first=True)
        placed, proved, bound, cost = answer.placed, answer.proved, answer.bound, answer.cost
        steps, units = steps + 1, 2 * units  # begun anew with more effort, so that it can be stopped in between
        if steps == 1 and not proved:  # what the parts find soon is a better beginning for the rest
            placed, steps = _in_parts(instance, pools, placed, stop, steps, seed, workers, starts=0)
            cost = cost_of(instance, placed)
    if not proved or before == 0:
        placed, steps = _in_parts(instance, pools, placed, stop, steps, seed, workers)
    late = lateness_of(instance, placed)
    notes = [f"{steps} exact solves: {before / _H:.1f} weighted hours late before, {late / _H:.1f} after"]
    if proved:
        notes.append("proved: no schedule of these builds and baskets has less weighted lateness")
    elif bound:
        notes.append(f"no schedule can have less than {bound / _H:.1f} weighted hours of lateness")
    return Polished(rebooked(instance, tidy(instance, placed)), proved, late if proved else bound, tuple(notes))


def _in_parts(
    instance: Instance, pools: Pools, placed: Placed, stop: Stop, done: int, seed: int, workers: int,
    starts: int = 1 << 30,
) -> tuple[Placed, int]:  # fmt: skip
    """A schedule no worse, some builds at a time, and the number of solves with those `done` before."""
    placed, tried = improve_by_starts(
        instance, pools, placed, Later(stop, done), seed + done, workers=workers, starts=starts
    )
    return placed, done + tried


def tidy(instance: Instance, placed: Placed) -> Placed:
    """The same schedule with every chamber cleaned as early as hands allow: the solver does not care, people do."""
    a = instance.arrays
    tidied = Placed(*(x.copy() for x in placed))
    busy, used = a.busy.copy(), a.used.copy()
    for row, start, end in [*a.kept_booking.tolist(), *hands_of(instance, tidied)]:
        book(busy, used, row, start, end)
    skill = instance.skills.index(UNPACK)
    for b in np.argsort(tidied.at[:, 3], kind="stable").tolist():
        minutes, now = int(a.clean[b]), int(tidied.at[b, 3])
        if a.kept_at[b, 3] > UNSET or minutes == 0:
            continue
        found = [
            (int(first_gap(busy[p], used[p], int(tidied.end[b, 2]), minutes)), int(p))
            for p in np.flatnonzero(a.can[skill])
        ]
        start, person = min(found)
        if start + minutes <= now:
            tidied.at[b, 3], tidied.end[b, 3], tidied.by[b, 3] = start, start + minutes, person
            book(busy, used, person, start, start + minutes)  # its old place stays taken: earlier is what matters
    return tidied


def rebooked(instance: Instance, placed: Placed) -> Placed:
    """The same schedule with its tables of busy spans written anew: reasons are read from them."""
    a = instance.arrays
    whole = Placed(*(x.copy() for x in placed))
    whole.used[:] = a.used
    whole.machine_used[:] = a.machine_used
    for r, n in enumerate(a.used):
        whole.busy[r, :n] = a.busy[r, :n]
    for m, n in enumerate(a.machine_used):
        whole.machine_busy[m, :n] = a.machine_busy[m, :n]
    held = [*hands_of(instance, whole), *chambers_of(instance, whole), *stations_of(instance, whole)]
    for row, start, end in [*a.kept_booking.tolist(), *held]:
        book(whole.busy, whole.used, row, start, end)
    for b in np.argsort(whole.at[:, 0], kind="stable"):
        m = whole.machine[b]
        table = np.concatenate(
            [whole.machine_busy[m, : whole.machine_used[m]], [[whole.at[b, 0], whole.end[b, 1], a.material[b]]]]
        )
        whole.machine_used[m] += 1
        whole.machine_busy[m, : whole.machine_used[m]] = table[np.argsort(table[:, 0], kind="stable")]
    return whole
