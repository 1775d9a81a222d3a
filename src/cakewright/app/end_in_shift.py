"""Does a print end while somebody is there? If not: how much lower it would have to be, in words, and a try."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from cakewright.model.build import Build
from cakewright.model.cell import Cell, Machine
from cakewright.model.plan import Schedule, TaskKind
from cakewright.physics.buildtime import as_learnt
from cakewright.schedule.batching import staffed_hours
from cakewright.schedule.calendars import minutes_after, words
from cakewright.sources.endings import LOWER_MOST, LOWER_TRIED

_BEGINS = "; on the calendar its print ends "
Hours = Sequence[tuple[datetime, datetime]]


@dataclass(frozen=True, slots=True)
class Ending:
    """When the print of a build ends and whether somebody is there.

    `lower_mm` is how much lower the build would have to be to end at `lower_end`, within the shift before;
    None when that is too much to ask. `waits` is how long it stands until somebody comes.
    """

    build: str
    end: datetime
    is_staffed: bool
    waits: timedelta = timedelta(0)
    next_shift: datetime | None = None
    lower_mm: float | None = None
    lower_end: datetime | None = None


def seconds_per_mm(machine: Machine) -> float:
    """Least that a mm of height saves: its layers need no recoating; the area is sintered all the same."""
    return as_learnt(machine).recoat_s / machine.layer_mm


def ending(build: Build, machine: Machine, schedule: Schedule, hours: Hours) -> Ending | None:
    """How the print of a build ends in a schedule; None when it is not scheduled. `hours` are staffed spans."""
    prints = [t for t in schedule.of_build(build.key) if t.kind is TaskKind.PRINT]
    if not prints:
        return None
    end = prints[-1].end
    if any(a <= end <= b for a, b in hours):
        return Ending(build.key, end, True)
    later = min((a for a, _ in hours if a > end), default=None)
    before = max((b for _, b in hours if b < end), default=None)
    found = Ending(build.key, end, False, later - end if later else timedelta(0), later)
    if before is None or before <= prints[0].start:
        return found
    lower = _whole_layers((end - before).total_seconds() / seconds_per_mm(machine), machine)
    if lower > LOWER_MOST.value * build.nest.height_mm:
        return found
    return replace(found, lower_mm=lower, lower_end=end - timedelta(seconds=lower * seconds_per_mm(machine)))


def _whole_layers(height_mm: float, machine: Machine) -> float:
    layers = -int(-height_mm // machine.layer_mm)
    return round(layers * machine.layer_mm, 6)


def ending_words(found: Ending, start: datetime, cell: Cell) -> str:
    """'on the calendar its print ends Tue 02:10, 4 h 50 min before somebody comes; 31 mm lower it would end ...'."""

    def when(instant: datetime) -> str:
        return words(start, minutes_after(start, instant), cell.zone)

    if found.is_staffed:
        return f"on the calendar its print ends {when(found.end)}, while somebody is there"
    said = f"on the calendar its print ends {when(found.end)}, when nobody is there"
    if found.next_shift is not None:
        minutes = int(found.waits.total_seconds() // 60)
        waits = f"{minutes // 60} h {minutes % 60:02d} min"
        said = f"on the calendar its print ends {when(found.end)}, {waits} before somebody comes"
    if found.lower_mm is None or found.lower_end is None:
        return said
    return f"{said}; {found.lower_mm:.0f} mm lower it would end {when(found.lower_end)}"


def endings(builds: Sequence[Build], schedule: Schedule, cell: Cell) -> dict[str, Ending]:
    """How each scheduled print ends, by build."""
    hours = staffed_hours(cell, schedule.start)
    found = (ending(b, cell.machine(b.machine), schedule, hours) for b in builds)
    return {e.build: e for e in found if e is not None}


def target_mm(build: Build, found: Ending | None) -> float | None:
    """The height worth a second search: so little lower that a nest may be found; None otherwise."""
    if found is None or found.lower_mm is None or found.lower_mm > LOWER_TRIED.value * build.nest.height_mm:
        return None
    return build.nest.height_mm - found.lower_mm


def with_endings(builds: Sequence[Build], schedule: Schedule, cell: Cell) -> tuple[Build, ...]:
    """The builds with what there is to say about the end of their prints in their reason, in place of earlier words."""
    found = endings(builds, schedule, cell)
    plain = [replace(b, reason=b.reason.split(_BEGINS)[0]) for b in builds]
    return tuple(
        replace(b, reason=f"{b.reason}; {ending_words(found[b.key], schedule.start, cell)}") if b.key in found else b
        for b in plain
    )
