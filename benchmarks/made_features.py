"""Parts made with one feature of known size, on both sides of each limit, for the benchmark of features.

Each `Made` tells the finding it is about, the size of the feature over its limit, and whether the finding is due.
`allowed` are findings that the part truly deserves beside it; anything else is a false alarm.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import manifold3d as m3
import numpy as np

from cakewright.model.mesh import Mesh
from cakewright.parts.limits import PartLimits
from cakewright.parts.orient import random_rotations

ALWAYS = frozenset({"mesh.degenerate-faces"})  # what the modeller leaves behind
SMALLER, LARGER = (0.5, 0.7, 0.85, 0.95), (1.05, 1.15, 1.4, 2.0)
Body = m3.Manifold


@dataclass(frozen=True)
class Made:
    """One part: `code` due or not, `ratio` of the feature's size to its limit."""

    code: str
    shape: str
    ratio: float
    is_due: bool
    body: Body
    allowed: frozenset[str] = field(default_factory=frozenset)


def block(x: float, y: float, z: float, at: tuple[float, float, float] = (0, 0, 0)) -> Body:
    return Body.cube([x, y, z]).translate(at)


def rod(length: float, d: float, at=(0, 0, 0), turn=(0, 0, 0), sides: int = 48) -> Body:
    return Body.cylinder(length, d / 2, d / 2, sides).rotate(turn).translate(at)


def mesh_of(body: Body) -> Mesh:
    raw = body.to_mesh64()
    return Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts))


# --- walls ----------------------------------------------------------------------------------------------------------
def rib(t: float) -> Body:
    return block(40, 20, 3) + block(t, 20, 12, (15, 0, 2))


def shell(t: float) -> Body:
    return block(30, 24, 18) - block(30 - 2 * t, 24 - 2 * t, 18, (t, t, 3))


def pipe(t: float) -> Body:
    return rod(25, 20, sides=96) - rod(27, 20 - 2 * t, (0, 0, -1), sides=96)


def sheet(t: float) -> Body:
    return block(30, 20, t)


# --- gaps -----------------------------------------------------------------------------------------------------------
def saw_cut(g: float) -> Body:
    return block(30, 20, 9) - block(g, 22, 6, (15, -1, 3.5))


def two_ribs(g: float) -> Body:
    return block(30, 20, 3) + block(3, 20, 8, (8, 0, 2)) + block(3, 20, 8, (11 + g, 0, 2))


def ring_groove(g: float) -> Body:
    return rod(9, 24, sides=96) - (rod(6, 14 + 2 * g, (0, 0, 4), sides=96) - rod(8, 14, (0, 0, 3), sides=96))


def two_plates(g: float) -> Body:
    return block(20, 20, 3) + block(20, 20, 3, (0, 0, 3 + g))


def shaft_in_bush(g: float) -> Body:
    return (rod(9, 16, sides=96) - rod(11, 8 + 2 * g, (0, 0, -1), sides=96)) + rod(9, 8, sides=96)


def two_small_faces(g: float) -> Body:
    return block(3, 3, 6) + block(3, 3, 6, (3 + g, 0, 0))


# --- round things ---------------------------------------------------------------------------------------------------
def through_hole(d: float) -> Body:
    return block(20, 16, 5) - rod(9, d, (10, 8, -2))


def hole_in_sheet(d: float) -> Body:
    return block(20, 16, 1.5) - rod(9, d, (10, 8, -2))


def blind_hole(d: float) -> Body:
    return block(20, 16, 9) - rod(9, d, (10, 8, 9 - 2 * d))


def row_of_holes(d: float) -> Body:
    body = block(40, 12, 5)
    for i in range(4):
        body -= rod(9, d, (6 + 9 * i, 6, -2), sides=20)
    return body


def deep_blind(ratio: float) -> Body:
    return block(9, 9, 3 * ratio + 4) - rod(3 * ratio + 4, 3, (4.5, 4.5, 4))


def long_channel(d: float) -> Body:
    length = 12 * d
    return block(length, d + 6, d + 6) - rod(length + 2, d, (-1, d / 2 + 3, d / 2 + 3), (0, 90, 0))


def bent_channel(d: float) -> Body:
    far = 6 * d
    way = rod(far + 1, d, (-1, d, d), (0, 90, 0)) + Body.sphere(d / 2, 48).translate((far, d, d))
    return block(far + d + 4, 2 * d, far + d) - (way + rod(far + 9, d, (far, d, d)))


def pin_on_plate(d: float) -> Body:
    return block(20, 16, 4) + rod(5 * d + 1, d, (10, 8, 3))


def pins_sideways(d: float) -> Body:
    return block(4, 30, 12) + sum(
        (rod(4, d, (3.5, 5 + 7 * i, 6), (0, 90, 0), sides=24) for i in range(1, 4)),
        rod(4, d, (3.5, 5, 6), (0, 90, 0), sides=24),
    )


def antenna(ratio: float) -> Body:
    return block(20, 16, 4) + rod(2 * ratio + 1, 2, (10, 8, 3))


# --- powder, heat ---------------------------------------------------------------------------------------------------
def box_with_a_hole(d: float) -> Body:
    return block(24, 24, 24) - block(18, 18, 18, (3, 3, 3)) - rod(9, d, (12, 12, 18))


def ball_with_a_neck(d: float) -> Body:
    return Body.sphere(14, 96) - Body.sphere(10, 96) - rod(20, d, (0, 0, 5), sides=48)


def lump(t: float) -> Body:
    return block(3 * t, 3 * t, t)


def drum(t: float) -> Body:
    return rod(2 * t, t, sides=96)


def plate(ratio: float) -> Body:
    return block(150, 60, 150 * 60 * 150 / (200_000 * ratio))


# --- letters, edges, facets -----------------------------------------------------------------------------------------
def letters(tall: float, stroke: float, deep: float, *, engraved: bool = False) -> Body:
    def bar(x: float, y: float, w: float, h: float) -> Body:
        return block(w, h, 2 * deep, (x, y, 4 - deep))

    x = 5.0
    t = bar(x, 5 + tall - stroke, tall * 0.7, stroke) + bar(x + tall * 0.35 - stroke / 2, 5, stroke, tall)
    x += 2 * tall
    ell = bar(x, 5, stroke, tall) + bar(x, 5, tall * 0.5, stroke)
    x += 1.4 * tall
    i = bar(x, 5, stroke, tall)
    x += 1.0 * tall
    u = bar(x, 5, stroke, tall) + bar(x, 5, tall * 0.6, stroke) + bar(x + tall * 0.6 - stroke, 5, stroke, tall)
    base = block(x + tall + 10, tall + 10, 4)
    written = t + ell + i + u
    return base - written if engraved else base + (written - block(200, 200, 10, (-5, -5, -6)))


def wedge(angle_deg: float) -> Body:
    high = 30 * np.tan(np.radians(angle_deg))
    return m3.CrossSection([[(0, 0), (30, 0), (30, high)]]).extrude(20)


def blade(angle_deg: float) -> Body:
    half = np.tan(np.radians(angle_deg / 2))
    edge = m3.CrossSection([[(0, 0), (10, -10 * half), (16, -10 * half), (16, 10 * half), (10, 10 * half)]])
    return edge.extrude(25)


def faceted(ratio: float) -> Body:
    """A cylinder of 40 mm whose chords stand ratio x 0.075 mm off: sides from r (1 - cos(pi / n))."""
    sides = round(np.pi / np.arccos(1 - ratio * 0.075 / 20))
    return rod(9, 40, sides=sides)


def faceted_ratio(ratio: float) -> float:
    sides = round(np.pi / np.arccos(1 - ratio * 0.075 / 20))
    return float(20 * (1 - np.cos(np.pi / sides)) / 0.075)


Sized = tuple[str, str, tuple[Callable[[float], Body], ...], bool, tuple[str, ...]]


def made_parts(limits: PartLimits) -> Iterator[Made]:
    """Every shape at every ratio. The third entry: due below the limit (True) or above it."""
    table: tuple[Sized, ...] = (
        ("part.thin-wall", "wall_mm", (rib, shell, pipe, sheet), True, ()),
        ("part.narrow-gap", "slot_mm", (saw_cut, two_ribs, ring_groove), True, ()),
        ("part.moving-gap", "moving_mm", (two_plates, shaft_in_bush), True, ("part.several-bodies",)),
        ("part.moving-gap", "moving_small_mm", (two_small_faces,), True, ("part.several-bodies",)),
        (
            "part.small-hole",
            "hole_mm",
            (through_hole, hole_in_sheet, blind_hole, row_of_holes),
            True,
            ("part.cleaning-time",),
        ),
        ("part.hard-to-clean", "depth_ratio", (deep_blind,), False, ("part.cleaning-time",)),
        ("part.hard-to-clean", "channel_mm", (long_channel,), True, ("part.cleaning-time", "part.small-hole")),
        ("part.hard-to-clean", "blind_channel_mm", (bent_channel,), True, ("part.cleaning-time", "part.thick-section")),
        ("part.thin-pin", "pin_mm", (pin_on_plate, pins_sideways), True, ()),
        ("part.slender", "slender_ratio", (antenna,), False, ()),
        ("part.trapped-powder", "escape_mm", (box_with_a_hole, ball_with_a_neck), True, ("part.cleaning-time",)),
        ("part.thick-section", "thick_mm", (lump, drum), False, ()),
        ("part.knife-edge", "knife_deg", (wedge, blade), True, ("part.thick-section",)),
    )
    for code, name, shapes, due_below, allowed in table:
        for shape in shapes:
            for ratio in SMALLER + LARGER:
                if shape is long_channel and ratio * limits[name] < limits["hole_mm"]:
                    continue  # told as a hole that closes
                yield Made(code, shape.__name__, ratio, (ratio < 1) is due_below, shape(ratio * limits[name]),
                           frozenset(allowed) | ALWAYS)  # fmt: skip
    for ratio in SMALLER + LARGER:
        # the limit is asked of plates: 150 mm long, index ratio x limit
        yield Made("part.may-warp", "plate", ratio, ratio > 1, plate(ratio), frozenset({"part.thick-section"}) | ALWAYS)
        real = faceted_ratio(ratio)
        yield Made("part.coarse-facets", "faceted", real, real > 1, faceted(ratio))
        for engraved in (False, True):
            name = "engraved" if engraved else "raised"
            depth = ratio * limits["text_depth_mm"]
            yield Made(
                "part.fine-lettering", f"{name} depth", ratio, ratio < 1, letters(5, 0.9, depth, engraved=engraved)
            )
            high = ratio * limits["text_height_mm"]
            yield Made("part.fine-lettering", f"{name} height", ratio, ratio < 1,
                       letters(high, 0.25 * high if ratio < 1 else max(0.25 * high, 0.52), 0.8, engraved=engraved),
                       ALWAYS)  # fmt: skip
            yield Made("part.fine-lettering", f"{name} stroke", ratio, ratio < 1,
                       letters(5, ratio * limits["text_stroke_mm"], 0.8, engraved=engraved))  # fmt: skip


def as_made(mesh: Mesh, body: Body, seed: int) -> Mesh:
    return mesh


def turned(mesh: Mesh, body: Body, seed: int) -> Mesh:
    """Anywhere, any way up."""
    return mesh.placed(random_rotations(1, seed)[0], np.array([120.0, -40.0, 15.0]))


def refined(mesh: Mesh, body: Body, seed: int) -> Mesh:
    """Cut again into triangles of at most 2.5 mm, turned."""
    return turned(mesh_of(body.refine_to_length(2.5)), body, seed)


def rounded(mesh: Mesh, body: Body, seed: int) -> Mesh:
    """Turned and put into single precision, as in an STL file."""
    there = turned(mesh, body, seed + 1)
    return Mesh(there.vertices.astype(np.float32).astype(np.float64), there.faces)


COPIES = {"as made": as_made, "turned": turned, "cut finer": refined, "single precision": rounded}
