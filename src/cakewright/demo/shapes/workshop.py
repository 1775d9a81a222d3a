"""Drill jig, soft jaw, tray bracket, machine foot, vacuum nozzle, sorting tray."""

from __future__ import annotations

from manifold3d import CrossSection, Manifold

from cakewright.demo.shapes import kit


def drill_jig(plate_mm: float = 6.3) -> Manifold:
    """A drill jig, 150 x 70 x 22: base, two fences, six bushes of diameter 6."""
    base = kit.plate(150, 70, plate_mm, 4)
    fences = kit.block(150, 9, 22, (-75, 26, 0)) + kit.block(9, 70, 22, (-75, -35, 0))
    spots = [(x, y) for x in (-38, 6, 50) for y in (-20, 10)]
    bushes = kit.union(kit.rod(14, plate_mm + 5).translate((x, y, 0)) for x, y in spots)
    holes = kit.union(kit.rod(6, 40).translate((x, y, -5)) for x, y in spots)
    sights = [kit.plate(22, 9, 30, 4).translate((x, -5, -8)) for x in (-16, 28)]
    relief = kit.rod(5, 40).translate((-66, 26, plate_mm))
    trimmed = (base + fences) ^ kit.plate(150, 70, 22, 4)
    return trimmed + bushes - holes - kit.union([*sights, relief])


def soft_jaw(pocket_mm: float = 10.6) -> Manifold:
    """A vice jaw, 120 x 45 x 18: pocketed back, V grooves and a step on the face, two counterbored holes."""
    body = kit.plate(120, 45, 18, 2, 24)
    step = kit.block(130, 6, 5, (-65, 17, 14))
    level = kit.along_x(kit.rod(7, 130, 4)).translate((-65, -6, 18))
    bolt = kit.rod(9, 40).translate((0, 0, -5)) + kit.rod(15, 10).translate((0, 0, 9))
    cells = [
        kit.plate(w, 17.5, pocket_mm, 3).translate((x, y, -0.01))
        for x, w in ((-48.5, 17), (0, 43), (48.5, 17))
        for y in (-10.5, 9.5)
    ]
    v_groove = _v(60).translate((0, 0, 18))
    return body - step - level - v_groove - kit.union([*(bolt.translate((x, 0, 0)) for x in (-31, 31)), *cells])


def _v(length: float) -> Manifold:
    """A V groove along y, to be cut from a face at z = 0."""
    return kit.along_y(kit.rod(9, length, 4)).translate((0, -length / 2, 0))


def tray_bracket(leg_mm: float = 2.5) -> Manifold:
    """An angle bracket, 70 x 40 x 40, with slots and two gussets."""
    legs = kit.block(70, 40, leg_mm, (-35, 0, 0)) + kit.block(70, leg_mm, 40, (-35, 0, 0))
    gusset = kit.prism([(0, 0), (34, 0), (0, 34)], 3.2).rotate((90, 0, 90))
    body = legs + kit.union(gusset.translate((x, leg_mm - 0.5, leg_mm - 0.5)) for x in (-35, -1.6, 31.8))
    slots = [kit.plate(14, 5.5, 20, 2.7).translate((x, 24, -5)) for x in (-18, 18)]
    bolts = [kit.along_y(kit.plate(5.5, 14, 20, 2.7)).translate((x, -5, 24)) for x in (-18, 18)]
    return body - kit.union([*slots, *bolts])


def machine_foot(neck_mm: float = 22.4) -> Manifold:
    """A levelling foot, 45 x 45 x 22, with a nut pocket and a ribbed sole."""
    body = kit.lathe([(0, 0), (21.5, 0), (22.5, 1), (22.5, 5), (neck_mm / 2, 20), (neck_mm / 2 - 1, 22), (0, 22)], 96)
    nut = kit.rod(19.6, 9, 6).translate((0, 0, 13.5))
    bolt = kit.rod(10.5, 40).translate((0, 0, 5))
    sole = [kit.ring(d, d - 3, 2, 64).translate((0, 0, -0.6)) for d in (16, 25, 34)]
    waist = kit.around(kit.rod(10, 30, 40).translate((20, 0, 5)), 6, 30)
    return body - nut - bolt - kit.union([*sole, *waist])


def vacuum_nozzle(wall_mm: float = 3.8) -> Manifold:
    """A hollow nozzle, 110 x 60 x 60: rectangular mouth to a round hose end, powder exit of diameter 10."""
    outer = _funnel(110, 60, 46, 0)
    inner = _funnel(110, 60, 46, wall_mm)
    collar = [kit.ring(49, 40, 2.4, 64).translate((0, 0, z)) for z in (47, 53)]
    feet = [kit.block(4, 60, 6, (x, -30, 0)) for x in (-38, -2, 34)]
    exit_hole = kit.along_y(kit.rod(10, 40)).translate((30, -40, 16))
    return outer + kit.union(c ^ kit.rod(60, 80) for c in collar) - inner + (kit.union(feet) ^ outer) - exit_hole


def _funnel(x: float, y: float, d: float, wall: float) -> Manifold:
    skirt = kit.plate(x - 2 * wall, y - 2 * wall, 9, 8 - wall).translate((0, 0, -0.5 if wall else 0))
    neck = CrossSection.circle(d / 2 - wall, 64).extrude(0.01).translate((0, 0, 38))
    lower = kit.plate(x - 2 * wall, y - 2 * wall, 0.01, 8 - wall).translate((0, 0, 8.4 if wall else 8.9))
    tube = kit.rod(d - 2 * wall, 25 if wall else 22.2, 64).translate((0, 0, 37.8))
    return skirt + Manifold.batch_hull([lower, neck]) + tube


def sorting_tray(wall_mm: float = 1.47) -> Manifold:
    """A tray insert, 185 x 120 x 25, with twelve rounded bins and finger notches."""
    w = wall_mm
    bx, by = (185 - 5 * w) / 4, (120 - 4 * w) / 3
    bin_ = kit.soft_bottom(lambda i: kit.outline(bx - 2 * i, by - 2 * i, 6 - i, 24), 30, 4, 3)
    spots = [
        (-92.5 + w + bx / 2 + i * (bx + w), -60 + w + by / 2 + j * (by + w), w) for i in range(4) for j in range(3)
    ]
    notch = kit.along_y(kit.rod(20, 140)).translate((0, -70, 27))
    body = kit.plate(185, 120, 25, 6) - kit.union(kit.at_spots(bin_, spots))
    return body - kit.union(notch.translate((x, 0, 0)) for x in (spots[0][0], spots[-1][0]))
