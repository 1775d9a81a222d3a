"""Baskets: lines of the same builds and the same finish go through blasting or dye together.

A basket is never larger than hands can treat in one go; a line that is larger is spread over several.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, inf

from cakewright.errors import InputError, NoCalendarError
from cakewright.model.cell import Finish, FinishStep
from cakewright.schedule.jobs import LineJob
from cakewright.sources.schedule import BASKET_HANDS_MIN
from cakewright.units import S_PER_MIN


@dataclass(frozen=True, slots=True)
class Basket:
    """Pieces that share every step of a finish; `litres` is 0 when the volume of a line is not known."""

    name: str
    finish: Finish
    builds: tuple[str, ...]
    lines: tuple[int, ...]
    pieces: int
    litres: float


def step_minutes(step: FinishStep, pieces: int) -> tuple[int, int]:
    """(hands, station) minutes of one step for a basket of so many pieces.

    Work per piece is handling: it lengthens the station time always, and the hands' time whenever the
    step needs hands at all.
    """
    handling = ceil(step.per_piece_s * pieces / S_PER_MIN)
    run = step.minutes + handling
    hands = min(step.staffed_min + handling, run) if step.staffed_min > 0 else 0
    return hands, run


def portions(minutes: int, longest: int) -> list[int]:
    """Work cut into nearly equal whole-minute portions, none longer than `longest`."""
    if minutes == 0:
        return []
    n = ceil(minutes / longest)
    return [minutes * (i + 1) // n - minutes * i // n for i in range(n)]


def make_baskets(
    lines: Sequence[LineJob],
    longest_stretch: Mapping[str, int],
    capacity_l: Mapping[str, float],
    begun: Mapping[str, tuple[int, ...]] | None = None,
) -> list[Basket]:
    """Baskets for all lines, most urgent first.

    `longest_stretch` is the longest unbroken span of each skill, `capacity_l` the largest station of each kind (0
    or missing: no limit). `begun` gives name and lines of baskets that have been begun: they come back as they were,
    or InputError says which does not.
    """
    begun = begun or {}
    together = _linked(begun.values())
    groups: dict[tuple[Finish, frozenset[str], frozenset[int]], list[LineJob]] = {}
    for job in sorted(lines, key=lambda j: (j.due_by, -j.weight, j.line)):
        if job.finish.steps and job.builds:
            key = (job.finish, frozenset(job.builds), together.get(job.line, frozenset()))
            groups.setdefault(key, []).append(job)
    baskets: list[Basket] = []
    names = _Names(begun)
    for (finish, _, _), members in groups.items():
        most = min(_most_pieces(finish, step, longest_stretch) for step in finish.steps)
        limits = [capacity_l.get(step.station_kind, 0.0) for step in finish.steps]
        for filling in _fill(members, most, min((c for c in limits if c > 0), default=inf)):
            numbers = tuple(job.line for job, _ in filling)
            name = names.take(numbers)
            pieces = sum(count for _, count in filling)
            known = all(job.litres > 0 for job, _ in filling)
            litres = sum(job.litres * count / job.pieces for job, count in filling) if known else 0.0
            baskets.append(Basket(name, finish, members[0].builds, numbers, pieces, litres))
    names.finish()
    return baskets


class _Names:
    """Numbers new baskets around the names of those that have been begun."""

    def __init__(self, begun: Mapping[str, tuple[int, ...]]) -> None:
        self.waiting: dict[frozenset[int], list[str]] = {}
        for name, numbers in begun.items():
            self.waiting.setdefault(frozenset(numbers), []).append(name)
        self.taken, self.last = set(begun), 0

    def take(self, numbers: tuple[int, ...]) -> str:
        """The name of a basket with these lines."""
        if queue := self.waiting.get(frozenset(numbers)):
            return queue.pop(0)
        self.last += 1
        while f"basket {self.last}" in self.taken:
            self.last += 1
        return f"basket {self.last}"

    def finish(self) -> None:
        """Refuse a begun basket that no longer comes about."""
        left = [name for queue in self.waiting.values() for name in queue]
        if left:
            raise InputError(
                f"{', '.join(left)} cannot be put together again: lines, pieces or hours have changed since",
                remedy="leave out the kept tasks of that basket, or the lines that are done",
            )


def _linked(sets: Iterable[tuple[int, ...]]) -> dict[int, frozenset[int]]:
    """For each line in a begun basket: all lines that are linked to it by such baskets."""
    groups: list[frozenset[int]] = []
    for members in map(frozenset, sets):
        linked = [g for g in groups if g & members]
        groups = [g for g in groups if not g & members] + [members.union(*linked)]
    return {line: group for group in groups for line in group}


def _fill(members: Sequence[LineJob], most: int, most_l: float) -> list[list[tuple[LineJob, int]]]:
    """Lines in order into baskets of at most so many pieces and litres; a line too big is spread evenly."""
    fillings: list[list[tuple[LineJob, int]]] = []
    room, room_l = 0, 0.0
    for job in members:
        each_l = job.litres / job.pieces
        fit = most if each_l <= 0 else max(1, min(most, floor(most_l / each_l + 1e-9))) if most_l < inf else most
        for count in portions(job.pieces, fit):
            if count > room or count * each_l > room_l + 1e-9 or any(other is job for other, _ in fillings[-1]):
                fillings.append([])
                room, room_l = most, most_l
            fillings[-1].append((job, count))
            room, room_l = room - count, room_l - count * each_l
    return fillings


def _most_pieces(finish: Finish, step: FinishStep, longest_stretch: Mapping[str, int]) -> int:
    if step.staffed_min == 0 or step.per_piece_s <= 0:
        return 1 << 30
    stretch = longest_stretch.get(step.skill, 0)
    comfortable = min(stretch, int(BASKET_HANDS_MIN.value))
    most = floor((comfortable - step.staffed_min) * S_PER_MIN / step.per_piece_s)
    if most >= 1:
        return most
    most = floor((stretch - step.staffed_min) * S_PER_MIN / step.per_piece_s)
    if most >= 1:
        return most
    raise NoCalendarError(
        f"one piece needs {step_minutes(step, 1)[0]} min of hands for {step.station_kind}, and the longest unbroken "
        f"stretch of anybody with skill {step.skill!r} is {stretch} min",
        remedy="shorten the step, lengthen a shift, or give somebody the skill",
        where=f"finish {finish.name}",
    )
