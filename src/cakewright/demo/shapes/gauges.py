"""Tensile bar and shrink gauge of the cell itself."""

from __future__ import annotations

import math

from manifold3d import Manifold

from cakewright.demo.shapes import kit


def tensile_bar() -> Manifold:
    """A multipurpose bar after ISO 527-2 type 1A: 170 x 20 x 4, narrow part 10 wide and 80 long, radius 24.

    Dimensions of the type from memory; the shoulder is drawn as a straight arc from 10 to 20 wide.
    """
    half = _edge(24.0)
    mirror = [(-x, y) for x, y in reversed(half)]
    top = mirror + half
    bar = kit.prism([(x, -y) for x, y in top] + [(x, y) for x, y in reversed(top)], 4)
    marks = [kit.rod(1.5, 0.6, 24).translate((x, 0, 3.6)) for x in (-75, 75)] + [
        kit.rod(1.5, 0.6, 24).translate((70, 0, 3.6))
    ]
    return bar - kit.union(marks)


def _edge(radius: float) -> list[kit.Point]:
    """Upper edge for x >= 0: straight to 40, arc of `radius` up to half-width 10, straight to the end."""
    reach = math.acos(1 - 5 / radius)
    arc = [(40 + radius * math.sin(reach * i / 40), 5 + radius * (1 - math.cos(reach * i / 40))) for i in range(41)]
    return [*arc, (84, 10.0), (84.7, 9.7), (85, 9.0)]


def shrink_ladder(rail_mm: float = 2.9) -> Manifold:
    """A ladder for shrinkage, 180 x 30 x 30: fins at 10, 20, 40, 80 and 170 mm from the datum, pins of 10 to 30."""
    rail = kit.block(180, 30, rail_mm) - kit.union(
        kit.rod(8, 20, 48).translate((x, 15, -5)) for x in (60, 105, 120, 135, 150)
    )
    datum = kit.block(5, 30, 30)
    fins = [kit.block(2.5, 30, h, (5 + x - 2.5, 0, 0)) for x, h in ((12.5, 14), (25, 18), (42.5, 22), (82.5, 26))]
    end = kit.block(5, 30, 30, (175, 0, 0))
    pins = [kit.rod(5, z, 40).translate((x, y, 0)) for x, z in ((100, 10), (120, 20), (140, 30)) for y in (6, 24)]
    grid = [kit.block(100, 2, 8, (80, y, 0)) for y in (0, 28)]
    return kit.union([rail, datum, *fins, end, *pins, *grid])
