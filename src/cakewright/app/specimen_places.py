"""Where the test specimens of a build stand, and when they come to the bench."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cakewright.app.line_flags import is_witness
from cakewright.model.build import Build, Placement
from cakewright.model.plan import TaskKind, WeekPlan

_AXES = "XYZ"


@dataclass(frozen=True, slots=True)
class SpecimenPlace:
    """One specimen: its line, middle (mm from the front left corner of the platform), third of the height, axis.

    `along` is the machine axis of its longest side, which is the direction in which a bar is pulled.
    """

    piece: str
    line: int
    middle_mm: tuple[float, float, float]
    third: str
    along: str


def asks_for_test(plan: WeekPlan, line: int) -> bool:
    """True when the class of a line wants specimens tested before it is packed."""
    return plan.cell.quality_class(plan.line(line).quality_class).specimen_min > 0


def specimen_places(plan: WeekPlan, build: Build) -> tuple[SpecimenPlace, ...]:
    """The pieces of a build that are specimens, from the bottom up."""
    lines = {n for n in build.lines if is_witness(plan.line(n))}
    pieces = [p for p in build.nest.placements if p.line in lines and not p.is_cage]
    return tuple(sorted((_place(plan, build, p) for p in pieces), key=lambda s: (s.middle_mm[2], s.piece)))


def bench_day(plan: WeekPlan, build: str) -> tuple[datetime | None, datetime | None]:
    """(when the specimens of a build are planned to be tested, when the result is planned); None: not planned."""
    mine = [t for t in plan.schedule.tasks if t.build == build]
    test = next((t for t in mine if t.kind is TaskKind.TEST), None)
    result = next((t for t in mine if t.kind is TaskKind.RESULT), None)
    return (test.start if test else None), (result.end if result else test.end if test else None)


def places_words(places: Iterable[SpecimenPlace]) -> str:
    """'2 low, 1 in the middle, 2 high; lying along X and Z'."""
    found = list(places)
    low, middle, high = (sum(p.third == word for p in found) for word in ("low", "in the middle", "high"))
    thirds = [
        words for n, words in ((low, f"{low} low"), (middle, f"{middle} in the middle"), (high, f"{high} high")) if n
    ]
    axes = " and ".join(a for a in _AXES if any(p.along == a for p in found))
    return f"{', '.join(thirds)}; lying along {axes}" if found else "no specimen"


def _place(plan: WeekPlan, build: Build, piece: Placement) -> SpecimenPlace:
    low, high = plan.parts[piece.part_key].mesh.placed(piece.rotation, piece.translation).box_mm
    middle = (np.asarray(low) + np.asarray(high)) / 2.0
    share = float(middle[2]) / max(build.nest.height_mm, 1e-9)
    third = "low" if share < 1 / 3 else "high" if share > 2 / 3 else "in the middle"
    along = _AXES[int(np.argmax(np.asarray(high) - np.asarray(low)))]
    at = (float(middle[0]), float(middle[1]), float(middle[2]))
    return SpecimenPlace(piece.piece, piece.line, at, third, along)
