"""What a part is, whatever its name, place, turn and triangles: to find twins and look-alikes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.measure import signed_volume
from cakewright.parts.moments import surface_moments
from cakewright.parts.shape_curve import shape_curve
from cakewright.parts.smallest_box import smallest_box
from cakewright.sources import parts as limits

Kind = Literal["mirror", "near", "same"]


@dataclass(frozen=True, eq=False)
class Signature:
    """Numbers that do not change when a part is moved, turned or cut into other triangles.

    `volume_mm3`, `area_mm2`; `box_mm` (3,) smallest box, longest edge first; `spreads_mm` (3,) principal spreads
    of the surface; `skew` (3,) lopsidedness; `hands` (4,) which change sign in the mirror; `curve` (64,)
    shape distribution.
    """

    volume_mm3: float
    area_mm2: float
    box_mm: tuple[float, float, float]
    spreads_mm: FloatArray
    skew: FloatArray
    hands: FloatArray
    curve: FloatArray


METHOD = 2  # raise it whenever the numbers change their meaning: stored ones are then computed anew


def numbers_of(found: Signature) -> FloatArray:
    """A signature as one row of numbers, to be kept."""
    head = [found.volume_mm3, found.area_mm2, *found.box_mm]
    return np.concatenate([head, found.spreads_mm, found.skew, found.hands, found.curve])


def signature_from(numbers: FloatArray) -> Signature:
    """The signature of a row made by `numbers_of` with the same METHOD."""
    volume, area, a, b, c = (float(v) for v in numbers[:5])
    return Signature(volume, area, (a, b, c), numbers[5:8], numbers[8:11], numbers[11:15], numbers[15:])


@dataclass(frozen=True, slots=True)
class LookAlike:
    """Two parts that callipers and a scale cannot tell apart: 'same' part, 'mirror' twin or 'near' (another part)."""

    first: str
    second: str
    kind: Kind
    reason: str


def signature(mesh: Mesh, seed: int = 1) -> Signature:
    """Compute the signature of a mesh in mm. Works on open meshes too; only the volume is then unsure."""
    moments = surface_moments(mesh)
    return Signature(
        volume_mm3=abs(signed_volume(mesh)),
        area_mm2=moments.area_mm2,
        box_mm=smallest_box(mesh),
        spreads_mm=moments.spreads,
        skew=moments.skew,
        hands=moments.hands,
        curve=shape_curve(mesh, moments.length_mm, seed),
    )


def look_alikes(signatures: Mapping[str, Signature]) -> tuple[LookAlike, ...]:
    """Pairs that a person with callipers (0.5 mm) and a scale (3 %) cannot separate, in the order of the keys."""
    names = list(signatures)
    order = sorted(names, key=lambda name: signatures[name].volume_mm3)
    found: list[LookAlike] = []
    for place, first in enumerate(order):
        for second in order[place + 1 :]:
            if signatures[second].volume_mm3 > signatures[first].volume_mm3 * (1 + float(limits.SCALE)):
                break
            if not are_told_apart(signatures[first], signatures[second]):
                a, b = sorted((first, second), key=names.index)
                found.append(_named(a, b, signatures[a], signatures[b]))
    return tuple(sorted(found, key=lambda pair: (names.index(pair.first), names.index(pair.second))))


def are_told_apart(a: Signature, b: Signature) -> bool:
    """True when callipers on the smallest box or a scale separate two parts of one material."""
    heavier, lighter = max(a.volume_mm3, b.volume_mm3), min(a.volume_mm3, b.volume_mm3)
    by_scale = heavier > lighter * (1 + float(limits.SCALE))
    by_callipers = max(abs(p - q) for p, q in zip(a.box_mm, b.box_mm, strict=True)) > float(limits.CALLIPER)
    return by_scale or by_callipers


def kind_of_pair(a: Signature, b: Signature) -> Kind:
    """'same', 'mirror' or 'near' for two parts that look alike."""
    if not _is_same_shape(a, b):
        return "near"
    return "mirror" if _is_mirrored(a.hands, b.hands) else "same"


def _is_same_shape(a: Signature, b: Signature) -> bool:
    """Equal in everything that a mirror leaves alone."""
    tolerance = float(limits.SAME_MOMENTS)
    length = max(float(a.spreads_mm[0]), 1e-9)
    return (
        abs(a.volume_mm3 - b.volume_mm3) <= _volume_tolerance(a, b)
        and abs(a.area_mm2 - b.area_mm2) <= float(limits.SAME_AREA) * max(a.area_mm2, b.area_mm2)
        and bool((np.abs(a.spreads_mm - b.spreads_mm) <= tolerance * length).all())
        and bool((np.abs(a.skew - b.skew) <= tolerance).all())
        and float(np.abs(a.curve - b.curve).max()) <= float(limits.SAME_SHAPE)
    )


def _volume_tolerance(a: Signature, b: Signature) -> float:
    """mm³ by which two exports of one part may differ: a share of the volume, or a thin skin of facets on curves."""
    share = float(limits.SAME_VOLUME) * max(a.volume_mm3, b.volume_mm3)
    return max(share, float(limits.SAME_SKIN) * max(a.area_mm2, b.area_mm2))


def _is_mirrored(a: FloatArray, b: FloatArray) -> bool:
    """True when the hands are opposite: their sum is small against their difference, above the noise."""
    size = max(float(np.abs(a).max()), float(np.abs(b).max()))
    if size < float(limits.CHIRAL):
        return False
    k = int(np.argmax(np.abs(a) + np.abs(b)))
    return bool(abs(a[k] + b[k]) < float(limits.HAND_AGREES) * abs(a[k] - b[k]))


def _named(first: str, second: str, a: Signature, b: Signature) -> LookAlike:
    kind = kind_of_pair(a, b)
    box = " x ".join(f"{edge:.1f}" for edge in a.box_mm)
    percent = 100 * abs(a.volume_mm3 - b.volume_mm3) / max(a.volume_mm3, b.volume_mm3)
    text = {
        "same": f"the same shape under two names, {box} mm",
        "mirror": f"left and right hand of one shape, {box} mm: mirror images of each other",
        "near": f"different parts of nearly one size, {box} mm, and of masses {percent:.1f} % apart",
    }[kind]
    return LookAlike(first, second, kind, text)


def is_same_part(a: Signature, b: Signature) -> bool:
    """True for one part under two names, turns or sets of triangles; a mirror twin is another part."""
    return _is_same_shape(a, b) and not _is_mirrored(a.hands, b.hands)
