"""Large flat faces that curl, and letters that stand on or in a face."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.findings import Finding, Severity
from cakewright.model.mesh import FloatArray
from cakewright.parts.limits import PartLimits
from cakewright.parts.patches import Flat

LETTER_FACES = 4  # flat islands at one height over a face, from which they are taken for letters
DEEPEST_LETTER = 3.0  # mm: further from the face it is another feature
LARGEST_LETTER = 40.0  # mm across


@dataclass(frozen=True, slots=True)
class Lettering:
    """Raised (depth above 0) or engraved islands over a face: letters, numbers, a logo."""

    depth_mm: float
    height_mm: float
    stroke_mm: float
    faces: tuple[int, ...]
    at_mm: tuple[float, float, float]


def check_plates(
    flats: Sequence[Flat], thickness_of: dict[int, float], limits: PartLimits, where: str
) -> Iterator[Finding]:
    """Flat faces long and thin enough to curl: index = flat area x length / thickness."""
    worst: tuple[float, Flat, float] | None = None
    for flat in flats:
        thick = thickness_of.get(flat.patch, np.nan)
        if not thick > 0 or flat.longest_mm <= limits["plate_mm"]:
            continue
        index = flat.area_mm2 * flat.longest_mm / thick
        if index > limits["warp_index_mm2"] and (worst is None or index > worst[0]):
            worst = (index, flat, thick)
    if worst is None:
        return
    index, flat, thick = worst
    x, y, z = (float(v) for v in flat.middle)
    yield Finding(
        "part.may-warp",
        Severity.WARNING,
        f"a flat face of {flat.longest_mm:.0f} mm and {flat.area_mm2 / 100:.0f} cm² on {thick:.1f} mm: warp index "
        f"{index / 1000:.0f} thousand mm², limit {limits['warp_index_mm2'] / 1000:.0f} thousand",
        where,
        "tilt it in the build, add ribs, or agree on the flatness that is needed",
        (x, y, z),
    )


def lettering(flats: Sequence[Flat]) -> tuple[Lettering, ...]:
    """Groups of small flat islands parallel to a larger face and at one height over or under it."""
    found = []
    taken: set[int] = set()
    for base in flats:
        if base.patch in taken or base.widest_mm < LARGEST_LETTER / 8:
            continue
        levels: dict[int, list[Flat]] = defaultdict(list)
        for other in flats:
            if other.patch == base.patch or other.patch in taken or other.area_mm2 > 0.2 * base.area_mm2:
                continue
            height = float((other.middle - base.middle) @ base.normal)
            near = float(np.linalg.norm(other.middle - base.middle)) <= base.longest_mm
            level = base.normal @ other.normal > 0.999 and other.longest_mm <= LARGEST_LETTER
            if near and level and 0.05 < abs(height) < DEEPEST_LETTER:
                levels[round(height / 0.05)].append(other)
        for islands in levels.values():
            if len(islands) >= LETTER_FACES and _is_like_letters(islands):
                found.append(_group(base, islands))
                taken |= {i.patch for i in islands}
    return tuple(found)


def _is_like_letters(islands: Sequence[Flat]) -> bool:
    """True for islands of about one height but different outlines, strokes narrow against it: not a row of studs."""
    high = np.array([max(i.longest_mm, i.widest_mm) for i in islands])
    stroke = np.array([_stroke(i) for i in islands])
    areas = np.array([i.area_mm2 for i in islands])
    return bool(np.median(stroke) < 0.45 * np.median(high) and areas.max() > 1.05 * areas.min())


def _stroke(island: Flat) -> float:
    """Width of a bar of this area and outline, mm: P = 2 (w + l), A = w l, for w."""
    rest = max(island.outline_mm**2 - 16 * island.area_mm2, 0.0)
    return float((island.outline_mm - np.sqrt(rest)) / 4)


def _group(base: Flat, islands: Sequence[Flat]) -> Lettering:
    depth = float(np.median([(i.middle - base.middle) @ base.normal for i in islands]))
    tall = float(np.median([i.longest_mm for i in islands]))
    stroke = float(np.median([_stroke(i) for i in islands]))
    x, y, z = (float(v) for v in np.asarray(islands[0].middle))
    return Lettering(depth, tall, stroke, tuple(i.patch for i in islands), (x, y, z))


def check_lettering(groups: Sequence[Lettering], limits: PartLimits, where: str) -> Iterator[Finding]:
    """Letters too low, too flat or too fine to be read after blasting."""
    for group in groups:
        doubts = []
        if group.height_mm < limits["text_height_mm"]:
            doubts.append(f"{group.height_mm:.1f} mm high (limit {limits['text_height_mm']:g})")
        if abs(group.depth_mm) < limits["text_depth_mm"] - 1e-6:
            way = "raised" if group.depth_mm > 0 else "deep"
            doubts.append(f"{abs(group.depth_mm):.2f} mm {way} (limit {limits['text_depth_mm']:g})")
        if group.stroke_mm < limits["text_stroke_mm"]:
            doubts.append(f"strokes of {group.stroke_mm:.2f} mm (limit {limits['text_stroke_mm']:g})")
        if doubts:
            yield Finding(
                "part.fine-lettering",
                Severity.WARNING,
                f"what looks like lettering ({len(group.faces)} pieces) is {', '.join(doubts)}: it may not be legible",
                where,
                "make letters larger and deeper, without serifs, or leave them to a label",
                group.at_mm,
            )


def middle_of(points: FloatArray) -> tuple[float, float, float]:
    """The middle of points (n, 3) as a place."""
    x, y, z = (float(v) for v in points.mean(axis=0))
    return (x, y, z)
