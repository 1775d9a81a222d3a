"""Hinge leaf, knurled knob, spout with a curved channel, involute gear."""

from __future__ import annotations

import math

import numpy as np
from manifold3d import Manifold

from cakewright.demo.shapes import kit


def hinge_leaf(leaf_mm: float = 3.95) -> Manifold:
    """Left leaf of a hinge, 62 x 38 x 24: three knuckles, countersunk holes, a stop at one end only."""
    barrel = [kit.along_x(kit.rod(16, w)).translate((x, 8, 8)) for x, w in ((0, 13), (25, 13), (49, 13))]
    leaf = kit.block(62, 26, leaf_mm, (0, 12, 0))
    webs = [kit.block(w, 8, 10, (x, 8, 0)) for x, w in ((0, 13), (25, 13), (49, 13))]
    stop = kit.block(7, 8, 24, (0, 30, 0)) + kit.prism([(0, 0), (14, 0), (0, 14)], 4).rotate((90, 0, 0)).translate(
        (7, 38, leaf_mm)
    )
    body = kit.union([*barrel, leaf, *webs, stop])
    pin = kit.along_x(kit.rod(6, 70)).translate((-4, 8, 8))
    screw = kit.rod(5, 30).translate((0, 0, -5)) + kit.rod(5, 2.5, top=10).translate((0, 0, leaf_mm - 2.5))
    screw += kit.rod(10, 20).translate((0, 0, leaf_mm))
    return body - pin - kit.union(screw.translate((x, 28, 0)) for x in (16, 34, 52))


def knob(d: float, top_mm: float) -> Manifold:
    """A knurled knob of diameter d, 19 high, hollow below, with a D-shaped shaft hole and a pointer."""
    r = d / 2
    skin = kit.lathe([(0, 0), (r, 0), (r, 14), (r - 1.0, 17.2), (r - 4, 18.6), (0, 19)], 144)
    grooves = kit.around(kit.rod(2.2, 15, 12).translate((r + 0.35, 0, 2)), 28)
    hollow = kit.ring(d - 4.4, 11, 19 - top_mm, 96).translate((0, 0, -0.01))
    shaft = kit.rod(6.1, 15, 32) - kit.block(8, 4, 20, (-4, 1.6, -1))
    pointer = kit.block(r - 3, 1.2, 3, (2.5, -0.6, 17.6))
    ribs = [kit.block(d - 6, 1.6, 12, (-(d - 6) / 2, -0.8, 6)).rotate((0, 0, a)) for a in (0, 60, 120)]
    body = skin - kit.union(grooves) - hollow + kit.union(ribs)
    return body - shaft.translate((0, 0, -0.5)) - pointer


def spout(radius_mm: float = 7.65) -> Manifold:
    """A spout, 40 x 40 x 85: an S-shaped neck on a flange, with an open channel of diameter 5 and length 120."""
    path = _wave(120.0, 85.0, 3.0)
    neck = kit.union(
        kit.capsule(_spot(a), _spot(b), radius_mm, segments=24)
        for a, b in zip(path[::4][:-1], path[::4][1:], strict=True)
    )
    flange = kit.plate(40, 40, 5, 9, 48)
    collar = kit.lathe([(0, 5), (16, 5), (12, 9), (0, 9)]).translate((0, 0, -0.01))
    slab = kit.block(80, 80, 85, (-40, -40, 0))
    outlet = kit.rod(13, 6).translate((0, 0, 79))
    holes = kit.union(kit.at_spots(kit.rod(4.3, 9), kit.corners(30, 30, -2)))
    ends = np.vstack([path[0] - [0, 0, 3], path, path[-1] + [0, 0, 3]])
    return ((neck + flange + collar + outlet) ^ slab) - kit.sweep(ends, 2.5, 24) - holes


def _wave(length: float, height: float, waves: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """A sine from (0, 0, 0) to (0, 0, height) with upright ends and the given length along the curve."""
    t = np.linspace(0, 1, 121)
    fade = np.sin(np.pi * t) ** 0.5  # the swing dies out towards both ends
    low, high = 0.0, 30.0
    for _ in range(50):
        swing = (low + high) / 2
        path = np.column_stack([swing * fade * np.sin(2 * np.pi * waves * t / 2), 0 * t, height * t])
        path[:, 1] = swing * 0.5 * fade * np.sin(2 * np.pi * waves * t)
        run = np.linalg.norm(np.diff(path, axis=0), axis=1).sum()
        low, high = (swing, high) if run < length else (low, swing)
    return path


def _spot(point: np.ndarray[tuple[int], np.dtype[np.float64]]) -> kit.Spot:
    return (float(point[0]), float(point[1]), float(point[2]))


def involute_outline(teeth: int, module_mm: float, pressure_deg: float = 20.0) -> list[kit.Point]:
    """Outline of a spur gear: involute flanks, addendum 1 module, dedendum 1.25 modules, a tooth on +x.

    Standard gear geometry: base radius = pitch radius x cos(pressure angle), flank point at radius r
    stands at angle inv(a) = tan(a) - a with cos(a) = base radius / r.
    """
    pitch = module_mm * teeth / 2
    base, tip, root = pitch * math.cos(math.radians(pressure_deg)), pitch + module_mm, pitch - 1.25 * module_mm
    half = math.pi / (2 * teeth) + _inv(math.radians(pressure_deg))  # half tooth angle at the base circle
    radii = np.linspace(max(base, root), tip, 7)
    flank = [(float(r), half - _inv(math.acos(min(1.0, base / r)))) for r in radii]
    points: list[kit.Point] = []
    for tooth in range(teeth):
        middle = 2 * math.pi * tooth / teeth
        polar = [(root, -half - 0.01), *((r, -a) for r, a in flank), *reversed(flank), (root, half + 0.01)]
        polar.insert(8, (tip, 0.0))
        points += [(r * math.cos(middle + a), r * math.sin(middle + a)) for r, a in polar]
    return points


def _inv(angle: float) -> float:
    return math.tan(angle) - angle


def gear(teeth: int, web_mm: float = 8.6) -> Manifold:
    """A spur gear of module 1, 10 high, with a keyed bore and a thinner web."""
    body = kit.prism(involute_outline(teeth, 1.0), 10)
    recess = kit.ring(teeth - 6.5, 11, 10, 64)
    deep = (10 - web_mm) / 2
    key = kit.block(4, 2, 20, (0, -1, -5))
    web_holes = kit.around(kit.rod(2.4, 20, 24).translate((7.2 + (teeth - 24) * 0.2, 0, -5)), 6, 30)
    return (
        body
        - recess.translate((0, 0, 10 - deep))
        - recess.translate((0, 0, deep - 10))
        - kit.rod(5, 30, 48).translate((0, 0, -5))
        - key
        - kit.union(web_holes)
    )
