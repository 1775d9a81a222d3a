"""Large flat faces that curl, and letters that stand on or in a face."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding, Severity
from cakewright.model.mesh import FloatArray
from cakewright.parts.limits import PartLimits
from cakewright.parts.patches import Flat

LETTER_FACES = 4  # flat islands at one height over a face, from which they are taken for letters
UPRIGHT = 0.35  # cosine: the side of a letter, tapered or not
LEVEL_MM = 0.02  # faces nearer than this in height are of one level
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
    normal: tuple[float, float, float] = (0.0, 0.0, 1.0)
    slab_mm: tuple[float, float] = (0.0, 0.0)
    middles: tuple[tuple[float, float, float], ...] = ()

    def holds(self, at: FloatArray, normal: FloatArray) -> NDArray[np.bool_]:
        """Which points (n, 3) with these normals stand on the sides of the letters: no walls and no slots."""
        up = np.asarray(self.normal)
        height = at @ up
        level = (height > self.slab_mm[0] - 1e-3) & (height < self.slab_mm[1] + 1e-3) & (np.abs(normal @ up) < UPRIGHT)
        near = np.linalg.norm(at[:, None] - np.array(self.middles)[None], axis=2).min(axis=1) if level.any() else None
        return level if near is None else np.asarray(level & (near < self.height_mm + abs(self.depth_mm)))


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
    yield Finding(
        "part.may-warp",
        Severity.WARNING,
        f"a flat face of {flat.longest_mm:.0f} mm and {flat.area_mm2 / 100:.0f} cm² on {thick:.1f} mm: warp index "
        f"{index / 1000:.0f} thousand mm², limit {limits['warp_index_mm2'] / 1000:.0f} thousand",
        where,
        "tilt it in the build, add ribs, or agree on the flatness that is needed",
        flat.place,
        index,
        limits["warp_index_mm2"],
        "mm²",
    )


def lettering(flats: Sequence[Flat]) -> tuple[Lettering, ...]:
    """Groups of small flat islands parallel to a larger face and at one height over or under it."""
    found = []
    taken: set[int] = set()
    for base in flats:
        if base.patch in taken or base.widest_mm < LARGEST_LETTER / 8:
            continue
        over: list[tuple[float, Flat]] = []
        for other in flats:
            if other.patch == base.patch or other.patch in taken or other.area_mm2 > 0.2 * base.area_mm2:
                continue
            height = float((other.middle - base.middle) @ base.normal)
            near = float(np.linalg.norm(other.middle - base.middle)) <= base.longest_mm
            level = base.normal @ other.normal > 0.999 and other.longest_mm <= LARGEST_LETTER
            if near and level and 0.05 < abs(height) < DEEPEST_LETTER:
                over.append((height, other))
        for islands in _levels(over):
            if len(islands) >= LETTER_FACES and _is_like_letters(islands):
                found.append(_group(base, islands))
                taken |= {i.patch for i in islands}
    return tuple(found)


def _levels(over: Sequence[tuple[float, Flat]]) -> Iterator[list[Flat]]:
    """Faces of about one height: a new level begins where the next one is further than `LEVEL_MM`."""
    level: list[Flat] = []
    last = -np.inf
    for height, flat in sorted(over, key=lambda pair: pair[0]):
        if level and height - last > LEVEL_MM:
            yield level
            level = []
        level.append(flat)
        last = height
    if level:
        yield level


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
    up = (float(base.normal[0]), float(base.normal[1]), float(base.normal[2]))
    low = float(base.middle @ base.normal)
    middles = tuple((float(i.middle[0]), float(i.middle[1]), float(i.middle[2])) for i in islands)
    return Lettering(depth, tall, stroke, tuple(i.patch for i in islands), (x, y, z), up,
                     (min(low, low + depth), max(low, low + depth)), middles)  # fmt: skip


def check_lettering(groups: Sequence[Lettering], limits: PartLimits, where: str) -> Iterator[Finding]:
    """Letters too low, too flat or too fine to be read after blasting."""
    for group in groups:
        doubts: list[tuple[str, float, float]] = []
        if group.height_mm < limits["text_height_mm"]:
            said = f"{group.height_mm:.1f} mm high (limit {limits['text_height_mm']:g})"
            doubts.append((said, group.height_mm, limits["text_height_mm"]))
        if abs(group.depth_mm) < limits["text_depth_mm"] - 1e-6:
            way = "raised" if group.depth_mm > 0 else "deep"
            said = f"{abs(group.depth_mm):.2f} mm {way} (limit {limits['text_depth_mm']:g})"
            doubts.append((said, abs(group.depth_mm), limits["text_depth_mm"]))
        if group.stroke_mm < limits["text_stroke_mm"]:
            said = f"strokes of {group.stroke_mm:.2f} mm (limit {limits['text_stroke_mm']:g})"
            doubts.append((said, group.stroke_mm, limits["text_stroke_mm"]))
        if doubts:
            yield Finding(
                "part.fine-lettering",
                Severity.WARNING,
                f"what looks like lettering ({len(group.faces)} pieces) is {', '.join(d[0] for d in doubts)}: "
                "it may not be legible",
                where,
                "make letters larger and deeper, without serifs, or leave them to a label",
                group.at_mm,
                *min(((value, limit) for _, value, limit in doubts), key=lambda pair: pair[0] / pair[1]),
                "mm",
            )


def middle_of(points: FloatArray) -> tuple[float, float, float]:
    """The middle of points (n, 3) as a place."""
    x, y, z = (float(v) for v in points.mean(axis=0))
    return (x, y, z)
