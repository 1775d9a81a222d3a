"""Ducts, bezel, sleds, drone frame, mount, cap, lens cells, baffle, rack, tray, cover plate."""

from __future__ import annotations

import itertools
import math

import numpy as np
from manifold3d import CrossSection, Manifold

from cakewright.demo.shapes import kit


def duct(x: float, y: float, z: float, wall_mm: float) -> Manifold:
    """An air duct, x by y by z: round inlet low on one side, flat outlet on the other, a branch upwards, thin walls."""
    outer, inner = _duct_core(x, y, z, 0.0), _duct_core(x, y, z, wall_mm)
    d = z * 0.72
    collar = kit.along_x(kit.ring(d + 8, d - 2, 6, 72)).translate((-x / 2, 0, d / 2 + 4))
    flange = kit.block(4, y, 62, (x / 2 - 4, -y / 2, 0)) - kit.block(20, y - 16, 42, (x / 2 - 10, -y / 2 + 8, 10))
    beads = [kit.along_x(kit.ring(d + 5, d - 2, 2.5, 72)).translate((-x / 2 + 14, 0, d / 2 + 4))]
    ears = [kit.rod(16, 5, 32).translate((sx * x * 0.2, 0, 0)) for sx in (-1, 1)]
    bolts = [
        kit.along_x(kit.rod(5, 40, 24)).translate((x / 2 - 20, sy * (y / 2 - 4.5), h))
        for sy in (-1, 1)
        for h in (8, 54)
    ]
    body = kit.union([outer, collar, flange, *beads, *[e ^ kit.block(x, y, 5, (-x / 2, -y / 2, 0)) for e in ears]])
    straighteners = [kit.block(x * 0.42, 1.5, z, (x * 0.08, h * y / 12 - 0.75, 0)) for h in (-4, -2, 0, 2, 4)]
    return body - inner - kit.union(bolts) + (kit.union(straighteners) ^ _duct_core(x, y, z, wall_mm / 2))


def _duct_core(x: float, y: float, z: float, wall: float) -> Manifold:
    d = z * 0.72
    over = 1.0 if wall else 0.0
    stations = []
    for i in range(13):
        t = i / 12
        blend = t * t * (3 - 2 * t)
        width, height = d + (y - 8 - d) * blend, d + (58 - d) * blend
        r = max(d / 2 * (1 - blend), 9.0) - wall
        section = kit.outline(height - 2 * wall, width - 2 * wall, max(min(r, (height - 2 * wall) / 2 - 0.1), 2.0), 48)
        middle = (d / 2 + 4) * (1 - blend) + 31 * blend
        at = -x / 2 - over + (x + 2 * over) * t
        stations.append(section.extrude(0.02).rotate((0, -90, 0)).translate((min(at + 0.02, x / 2 + over), 0, middle)))
    body = kit.union(Manifold.batch_hull([a, b]) for a, b in itertools.pairwise(stations))
    top = z + over
    branch = kit.rod(56 - 2 * wall, top - d / 2, 64).translate((-x * 0.12, 0, d / 2))
    return body + branch


def bezel(wall_mm: float) -> Manifold:
    """A vent bezel, 120 x 70 x 18: frame with seven tilted slats and clips."""
    frame = kit.soft_bottom(lambda i: kit.outline(120 - 2 * i, 70 - 2 * i, 12 - i), 14, 4) - kit.plate(
        100, 50, 40, 6
    ).translate((0, 0, -5))
    hollow = kit.plate(120 - 2 * wall_mm, 70 - 2 * wall_mm, 20, 10) - kit.plate(
        100 + 2 * wall_mm, 50 + 2 * wall_mm, 30, 7
    )
    slats = [
        kit.block(104, 1.8, 11, (-52, -0.9, 0)).rotate((28, 0, 0)).translate((0, y, 1.6)) for y in range(-21, 22, 7)
    ]
    clips = [kit.block(8, 2, 12, (x, sy * 33 - 1, 6)) for x in (-44, -4, 36) for sy in (-1, 1)]
    body = frame - hollow.translate((0, 0, wall_mm))
    return body + (kit.union(slats) ^ kit.plate(104, 54, 12, 6)) + kit.union(clips)


def sled(height_mm: float, dots: int) -> Manifold:
    """A clip sled, 34 x 18 x height: runner with two spring tongues; `dots` marks tell A from B."""
    base = kit.plate(34, 18, 2.6, 3)
    rails = [kit.block(30, 2.4, 6, (-15, y, 0)) for y in (-9, 6.6)]
    tongue = kit.prism([(0, 2), (16, 2), (16, 4), (12, height_mm), (9.5, height_mm), (10, 5), (0, 4.4)], 5).rotate(
        (90, 0, 0)
    )
    tongues = [tongue.translate((-14, 5.4, 0)), tongue.mirror((1, 0, 0)).translate((14, -0.4, 0))]
    slot = kit.plate(14, 3, 20, 1.4).translate((0, 0, -5))
    marks = [kit.rod(1.6, 0.8, 24).translate((-13 + 3 * i, -5, 2)) for i in range(dots)]
    holes = [kit.rod(2.4, 20, 24).translate((x, y, -5)) for x, y in ((14, 4.2), (-14, -2.5))]
    return (
        kit.union([base, *[r ^ kit.plate(34, 18, 20, 3) for r in rails], *tongues]) - slot - kit.union([*marks, *holes])
    )


def frame_half(wall_mm: float, revision: str) -> Manifold:
    """Half of a drone frame, 240 x 160 x 28: four arms from a hub tray with lightening holes."""
    tips = [(sx * 104.0, sy * 64.0) for sx in (-1, 1) for sy in (-1, 1)]
    hub = kit.plate(110, 62, 28, 14) - kit.plate(110 - 2 * wall_mm, 62 - 2 * wall_mm, 60, 12).translate((0, 0, wall_mm))
    arms, cores, cuts = [], [], []
    for x, y in tips:
        root = (x * 0.36, y * 0.32)
        dot = CrossSection.circle(15, 48).translate(root), CrossSection.circle(16, 64).translate((x, y))
        arms.append(CrossSection.batch_hull(list(dot)).extrude(15))
        thin = (
            CrossSection.circle(15 - wall_mm, 48).translate(root),
            CrossSection.circle(11 - wall_mm, 48).translate((x * 0.82, y * 0.8)),
        )
        cores.append(CrossSection.batch_hull(list(thin)).extrude(40).translate((0, 0, wall_mm)))
        for f in (0.5, 0.66):
            cuts.append(kit.rod(13, 20, 32).translate((x * f, y * f, -8)))
        cuts += [s.translate((x, y, 0)) for s in kit.around(kit.rod(3.2, 60, 24).translate((8, 0, -5)), 4, 45)]
        cuts.append(kit.rod(8, 60, 32).translate((x, y, -5)))
    cups = [kit.rod(25, 40, 64).translate((x, y, 5)) for x, y in tips]
    vents = [kit.plate(5, 30, 20, 2.4).translate((i * 12, 0, -8)) for i in range(-3, 4)]
    extra = [kit.plate(26, 8, 20, 3).translate((0, s * 22, -8)) for s in (-1, 1)] if revision == "L" else []
    return (hub + kit.union(arms)) - kit.union([*cores, *cups, *cuts, *vents, *extra])


def motor_mount(wall_mm: float) -> Manifold:
    """A motor mount, 42 x 42 x 18: cup with slotted base and four ears."""
    ears = kit.plate(42, 42, 4, 9)
    cup = kit.rod(34, 18, 72) - kit.rod(34 - 2 * wall_mm, 30, 72).translate((0, 0, 3.5))
    slots = kit.around(kit.plate(6, 3.2, 20, 1.5, 24).translate((9, 0, -5)), 4, 45)
    wires = [kit.along_x(kit.rod(9, 40, 32)).translate((0, 0, 9))]
    screws = kit.at_spots(kit.rod(3.4, 20, 24), kit.corners(34, 34, -5))
    lean = [kit.block(9, 9, 5, (x - 4.5, y - 4.5, 4)) for x, y, _ in kit.corners(34, 34)]
    feet = [f ^ kit.plate(42, 42, 9, 9) for f in lean]
    body = (
        (ears + kit.union(feet) + kit.rod(34, 4, 72)) - kit.rod(34 - 2 * wall_mm, 30, 72).translate((0, 0, 3.5)) + cup
    )
    return body - kit.union([*slots, *wires, *screws, kit.rod(7, 20).translate((0, 0, -5))])


def antenna_cap(wall_mm: float) -> Manifold:
    """A rounded cap, 22 x 22 x 34, with grip grooves and a snap bead inside."""
    w = wall_mm
    skin = [(0.0, 34.0)] + [(7 * math.sin(a) + 0.001 * 0, 27 + 7 * math.cos(a)) for a in np.linspace(0.1, 1.5, 10)]
    outer = kit.lathe([(0, 0), (11, 0), (11, 8), (8.2, 12), (7.2, 26), *reversed(skin[1:]), (0, 34)], 96)
    core = kit.lathe([(0, -1), (11 - w, -1), (11 - w, 7), (8.2 - w, 11), (7.2 - w, 26), (0, 33 - w)], 96)
    bead = kit.ring(22 - 2 * w + 0.4, 22 - 2 * w - 1.2, 1, 72).translate((0, 0, 1.5))
    grooves = kit.around(kit.rod(1.6, 7, 12).translate((11.2, 0, 0.5)), 20)
    return outer - core + bead - kit.union(grooves)


def lens_cell(bore_mm: float, outer_mm: float, inner_step_mm: float) -> Manifold:
    """A lens cell of height 12: seat, thread relief grooves, two spanner slots."""
    r, b = outer_mm / 2, bore_mm / 2
    body = kit.lathe(
        [(b - inner_step_mm, 0), (r - 0.6, 0), (r, 0.6), (r, 12), (b, 12), (b, 7), (b - inner_step_mm, 6)], 120
    )
    grooves = kit.union(kit.ring(outer_mm + 4, outer_mm - 1.0, 0.8, 120).translate((0, 0, z)) for z in (3, 5, 7, 9))
    spanner = [kit.block(60, 2, 3, (-30, -1, 10.6))]
    return body - grooves - kit.union(spanner)


def baffle_tube(wall_mm: float) -> Manifold:
    """A tall thin tube, 58 x 58 x 160, with knife-edge baffles inside and a flange."""
    r = 26.0
    tube = kit.ring(2 * r, 2 * r - 2 * wall_mm, 160, 96)
    flange = kit.ring(58, 2 * r - 2, 5, 96) - kit.union(kit.around(kit.rod(2.6, 20, 24).translate((27.2, 0, -5)), 6))
    rings = [
        kit.lathe([(r - 7, z + 0.8), (r - 0.5, z), (r - 0.5, z + 3.4), (r - 7, z + 1.6)], 96)
        for z in range(18, 150, 22)
    ]
    ribs = kit.around(kit.block(2.6, 2, 60, (r - 0.6, -1, 0)), 6, 30)
    return kit.union([tube, flange, *rings, *ribs])


def tube_rack(wall_mm: float) -> Manifold:
    """A rack for 24 tubes, 128 x 86 x 44: two decks on walls, numbered end."""
    w = wall_mm
    box = (
        kit.plate(128, 86, 44, 5)
        - kit.plate(128 - 2 * w, 86 - 2 * w, 15, 4).translate((0, 0, w))
        - kit.plate(128 - 2 * w, 86 - 2 * w, 44 - 3 * w - 15, 4).translate((0, 0, 15 + 2 * w))
    )
    spots = [(-50 + 20 * i, -30 + 20 * j, 0.0) for i in range(6) for j in range(4)]
    bores = kit.union(kit.at_spots(kit.rod(16.5, 60), [(x, y, w) for x, y, _ in spots]))
    drains = kit.union(kit.at_spots(kit.rod(5, 20, 24), [(x, y, -5) for x, y, _ in spots]))
    windows = [
        kit.along_y(kit.plate(15, 9, 200, 3)).translate((x, -100, z))
        for x in (-50, -30, -10, 10, 30, 50)
        for z in (9.5, 30)
    ]
    ends = [kit.along_x(kit.plate(9, 44, 200, 4)).translate((-100, 0, 30)).rotate((0, 0, 0))]
    return box - bores - drains - kit.union([*windows, *ends])


def drip_tray(wall_mm: float) -> Manifold:
    """A large flat tray, 300 x 200 x 22, with a grid of feet, ribs below and a spout corner."""
    w = wall_mm
    outer = kit.soft_bottom(lambda i: kit.outline(300 - 2 * i, 200 - 2 * i, 16 - i), 22, 4)
    inner = kit.soft_bottom(lambda i: kit.outline(300 - 2 * w - 2 * i, 200 - 2 * w - 2 * i, 14 - i), 30, 3).translate(
        (0, 0, w)
    )
    bars = [kit.block(260, 1.4, 4, (-130, y, 1)) for y in range(-70, 80, 28)]
    lip = kit.rod(26, 30, 48).translate((150, 0, 10))
    return outer - inner + kit.union(bars) - lip


def cover_plate(thick_mm: float) -> Manifold:
    """A flat cover, 180 x 120 x 6: rim below, counterbored holes, handle slots."""
    board = kit.plate(180, 120, 6, 10, 64) - kit.plate(168, 108, 9, 6, 64).translate((0, 0, thick_mm))
    spots = [*kit.corners(166, 106), (0.0, 53.0, 0.0), (0.0, -53.0, 0.0)]
    bosses = [kit.rod(11, 6).translate(s) ^ kit.plate(180, 120, 6, 10) for s in spots]
    holes = [
        (kit.rod(4.5, 20, 32).translate((0, 0, -5)) + kit.rod(8.4, 2.5, 32).translate((0, 0, -0.5))).translate(s)
        for s in spots
    ]
    ribs = [kit.block(164, 2, 6, (-82, y, 0)) for y in (-20, 18)]
    grips = [kit.plate(30, 9, 20, 4).translate((0, s * 34, -5)) for s in (-1, 1)]
    return board + kit.union([*bosses, *ribs]) - kit.union([*holes, *grips])
