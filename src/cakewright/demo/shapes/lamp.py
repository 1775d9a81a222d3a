"""Diffuser ring, snap arm, ball joint, lattice shade, pin sleeve."""

from __future__ import annotations

import numpy as np
from manifold3d import Manifold

from cakewright.demo.shapes import kit


def diffuser_ring(wall_mm: float = 2.0) -> Manifold:
    """A U-shaped ring, 140 x 140 x 16, with clips inside and wire holes."""
    w = wall_mm
    channel = kit.lathe(
        [(46, 0), (69, 0), (70, 1), (70, 16), (70 - w, 16), (70 - w, w), (46 + w, w), (46 + w, 12), (46, 12)], 144
    )
    clips = kit.around(kit.block(4, 10, 3, (46 + w - 0.5, -5, 9)), 6)
    ribs = kit.around(kit.block(22, 1.6, 6, (47, -0.8, 0.5)), 12, 15)
    wires = kit.around(kit.along_x(kit.rod(5, 12, 32)).translate((40, 0, 6)), 3, 30)
    return channel + kit.union([*clips, *ribs]) - kit.union(wires)


def snap_arm(length_mm: float, arm_mm: float) -> Manifold:
    """A cantilever snap arm, length x 12 x 9: block with two holes, tapered arm, hook."""
    x = length_mm
    side = [(0, 0), (x - 1.5, 0), (x, 1.0), (x, arm_mm), (x - 1, 9), (x - 2.2, 9), (x - 5.5, arm_mm + 1.6),
            (x - 5.5, arm_mm * 0.8), (11, arm_mm), (8.5, 4.5), (8, 9), (0, 9)]  # fmt: skip
    body = kit.prism(side, 12).rotate((90, 0, 0)).translate((0, 12, 0))
    holes = [kit.rod(3.3, 20, 32).translate((4.2, y, -4)) for y in (3.2, 8.8)]
    sinks = [kit.rod(5.2, 3, 32).translate((4.2, y, 7)) for y in (3.2, 8.8)]
    thumb = kit.along_y(kit.rod(3, 20, 48)).translate((x - 12, -4, -1.0))
    grips = [kit.along_y(kit.rod(0.8, 20, 24)).translate((x - 1.6, -4, z)) for z in (4.4, 5.8, 7.2)]
    return body - kit.union([*holes, *sinks, thumb, *grips])


def ball_joint(ball_mm: float = 16.8) -> Manifold:
    """A socket with its ball printed inside, 31 x 31 x 27; the gap between them is 0.4 all round."""
    r = ball_mm / 2
    middle = 2.4 + r + 1.6
    flange = kit.plate(31, 31, 2.4, 5) - kit.union(kit.at_spots(kit.rod(3.4, 9, 32), kit.corners(23.5, 23.5, -3)))
    cup = Manifold.sphere(r + 2.2, 64).translate((0, 0, middle)) + kit.rod(20, 5, 64)
    cup = cup.trim_by_plane((0, 0, 1), 0.5).trim_by_plane((0, 0, -1), -(middle + r * 0.55))
    slits = [kit.block(40, 1.6, 20, (-20, -0.8, middle - 1)).rotate((0, 0, a)) for a in (0, 60, 120)]
    socket = flange + (cup - kit.union(slits)) - Manifold.sphere(r + 0.4, 64).translate((0, 0, middle))
    stud = kit.rod(7, 27 - middle, 48).translate((0, 0, middle)) - kit.rod(3.2, 12, 24).translate((0, 0, 17))
    ball = Manifold.sphere(r, 64).translate((0, 0, middle)) + stud - kit.rod(3.2, 12, 24).translate((0, 0, 17))
    return socket + ball


def lattice_shade(rim_mm: float = 4.7) -> Manifold:
    """A lamp shade, 160 x 160 x 110: two crossing layers of 1.2 mm struts between a foot and a crown ring."""
    struts = []
    for turn, lift in ((1, 0.13), (-1, -0.09)):  # unlike radii: coinciding edges would leave slivers
        for i in range(20):
            struts.append(kit.sweep(_strut(i / 20, 0.2 * turn, lift), 0.6, 4))
    struts += [kit.sweep(_strut(i / 20, 0.0, -6.0), 0.6, 4) for i in range(20)]
    ties = [_tie(i / 20, t) for i in range(20) for t in (0.125, 0.375, 0.625, 0.875)]
    foot = kit.lathe([(80 - rim_mm - 4, 0), (80, 0), (80, rim_mm), (80 - rim_mm - 4, rim_mm)], 96)
    crown = kit.lathe([(44, 110 - rim_mm), (58, 110 - rim_mm), (58, 110), (44, 110)], 96)
    socket = kit.ring(44, 40, rim_mm, 64).translate((0, 0, 110 - rim_mm))
    spokes = kit.around(kit.block(26, 4, 3, (21, -2, 110 - rim_mm)), 3)
    return kit.union([*struts, *ties, foot, crown, socket, *spokes])


def _radius(t: np.ndarray[tuple[int], np.dtype[np.float64]] | float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """The belly of the shade from foot (t = 0) to crown (t = 1)."""
    return np.asarray(76.5 - 24.0 * np.asarray(t) ** 2.2)


def _strut(start: float, turns: float, inward: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    t = np.linspace(0.0, 1.0, 10)
    angle = 2 * np.pi * (start + turns * t)
    r = _radius(t) + inward
    return np.column_stack([r * np.cos(angle), r * np.sin(angle), 2.0 + 106.0 * t])


def _tie(start: float, t: float) -> Manifold:
    """A radial strut from the inner to the outer layer."""
    angle = 2 * np.pi * start
    out, inner = float(_radius(t)) + 0.2, float(_radius(t)) - 6.2
    ends = [[r * np.cos(angle), r * np.sin(angle), 2.0 + 106.0 * t] for r in (inner, out)]
    return kit.sweep(np.array(ends), 0.6, 4)


def pin_sleeve(bore_mm: float = 5.7) -> Manifold:
    """A sleeve for a hinge pin, 9 x 9 x 22, with chamfers and an oil groove."""
    r, b = 4.5, bore_mm / 2
    body = kit.lathe([(b, 0), (r - 0.5, 0), (r, 0.5), (r, 21.5), (r - 0.5, 22), (b, 22)], 64)
    return body - kit.ring(12, 8.4, 1.2, 64).translate((0, 0, 10.4)) - kit.block(20, 1.5, 20, (0, -0.75, 15))
