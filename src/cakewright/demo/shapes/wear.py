"""Earcup and slider, foot brace, wrist splint, mask, helmet, armour plate."""

from __future__ import annotations

import numpy as np
from manifold3d import CrossSection, Manifold

from cakewright.demo.shapes import kit


def earcup(wall_mm: float) -> Manifold:
    """Left earcup, 78 x 66 x 29: an oval dome, acoustic slots, a yoke socket and a cable gate on one side."""

    def oval(inset: float) -> CrossSection:
        return CrossSection.circle(1.0, 96).scale((39 - inset, 33 - inset))

    outer = kit.soft_bottom(oval, 29, 11)
    inner = kit.soft_bottom(lambda i: oval(i + wall_mm), 29, 10).translate((0, 0, wall_mm))
    posts = [
        (kit.rod(6.5, 22) - kit.rod(2.2, 40)).translate((x, y, 0.5))
        for x, y in ((22, 14), (-24, 10), (-8, -22), (18, -16))
    ]
    slots = [kit.plate(2, 14 + 2 * i, 20, 0.9, 16).translate((-8 + 5 * i, 6, -10)) for i in range(4)]
    gate = kit.along_y(kit.rod(7, 30)).translate((-20, -48, 17))
    socket = kit.along_x(kit.rod(5, 16)).translate((28, 9, 19))
    seat = kit.block(9, 16, 16, (26, 1, 12)) ^ outer
    return (outer - inner) + (kit.union(posts) ^ outer) + seat - kit.union([*slots, gate, socket])


def slider(thick_mm: float) -> Manifold:
    """A headband slider, 64 x 14 x 6: notched bar with a round end."""
    bar = kit.plate(52, 11, thick_mm, 3).translate((-6, 0, 0))
    end = kit.rod(14, 6).translate((25, 0, 0))
    grip = kit.plate(6, 14, 6, 2).translate((-18, 0, 0))
    teeth = [kit.along_y(kit.rod(1.2, 30, 12)).translate((x, -15, thick_mm)) for x in np.arange(-8, 16, 2.4)]
    slot = kit.plate(22, 3.2, 20, 1.5).translate((2, 0, -5))
    return (bar + end + grip) - kit.union(teeth) - slot - kit.rod(5.2, 20).translate((25, 0, -5))


def foot_brace(x: float, y: float, z: float, wall_mm: float) -> Manifold:
    """Left foot brace, x by y by z: sole shell, open calf shell with windows, strap slots; wider on one side."""
    sole_out = _sole(x, y, 0.0).extrude(34)
    sole_in = _sole(x, y, wall_mm).extrude(60).translate((0, 0, wall_mm))
    sole = (sole_out - sole_in).trim_by_plane((-0.14, 0, -1), -30)
    heel = (-x / 2 + y * 0.42, 0.0)
    calf = _calf(y, z, 0.0).translate((*heel, 0)) - _calf(y, z, wall_mm).translate((*heel, 0))
    calf -= kit.block(x, y * 2, z * 2, (heel[0] + y * 0.12, -y, 34 if z < 152 else 35))
    calf -= _sole(x, y, wall_mm).extrude(60).translate((0, 0, wall_mm)) ^ kit.block(x, y, 30, (-x / 2, -y / 2, 0))
    hole = kit.along_x(kit.rod(11, 80, 24))
    rows = [(h, turn + around) for h, turn in ((64, 0), (82, 14), (100, 0), (118, 14)) for around in (152, 180, 208)]
    holes = [hole.rotate((0, 0, a)).translate((heel[0], 0, h)) for h, a in rows]
    straps = [kit.along_y(kit.plate(5, 22, y * 3, 2)).translate((heel[0] - 4, -y * 1.5, z - 24))]
    vents = [kit.rod(8, 30, 24).translate((cx, cy, -10)) for cx in (-30, -8, 14, 36) for cy in (-16, 2, 20)]
    body = (sole + calf) - kit.union([*holes, *straps, *vents])
    return body


def _sole(x: float, y: float, inset: float) -> CrossSection:
    """Outline of a left foot, x by y, toes at +x."""
    heel = CrossSection.circle(y * 0.36 - inset, 64).translate((-x / 2 + y * 0.36, -y * 0.02))
    ball = CrossSection.circle(y * 0.40 - inset, 64).translate((x / 2 - y * 0.75, y * 0.10))
    outer = CrossSection.circle(y * 0.30 - inset, 64).translate((x / 2 - y * 0.95, -y * 0.20))
    toe = CrossSection.circle(y * 0.26 - inset, 64).translate((x / 2 - y * 0.26, y * 0.16))
    return CrossSection.batch_hull([heel, ball, outer, toe])


def _calf(y: float, z: float, inset: float) -> Manifold:
    low = CrossSection.circle(y * 0.36 - inset, 64).extrude(0.01).translate((-y * 0.06, -y * 0.02, inset * 2))
    high = CrossSection.circle(y * 0.42 - inset, 64).extrude(0.01).translate((0, 0, z - (0.01 if not inset else -1)))
    return Manifold.batch_hull([low, high])


def wrist_splint(x: float, y: float, z: float, wall_mm: float) -> Manifold:
    """An open splint, x by y by z, along the forearm: perforated half-shell with a thumb hole and strap slots."""
    outer = _forearm(x, y, z, 0.0)
    inner = _forearm(x, y, z, wall_mm)
    shell = (outer - inner).trim_by_plane((0, 0, 1), 0.0)
    skin = []
    for i in range(13):
        for j in range(-4, 5):
            angle = j * 19 + (9.5 if i % 2 else 0)
            hole = kit.rod(10.5, y * 2, 6).rotate((0, 0, 30)).rotate((angle, 0, 0))
            skin.append(hole.translate((-x / 2 + 16 + i * (x - 32) / 12, 0, 0)))
    band = kit.block(x, y * 2, 7, (-x / 2, -y, 0)) + kit.union(
        kit.block(9, y * 2, z * 2, (sx, -y, 0)) for sx in (-x / 2, x / 2 - 9)
    )
    holes = kit.union(skin) - band
    thumb = kit.rod(36, 200).rotate((70, 0, 0)).translate((x * 0.27, 0, z * 0.4))
    rim = (kit.ring(43, 36, 300).rotate((70, 0, 0)).translate((x * 0.27, 0, z * 0.4)).translate((0, 140, -51))) ^ (
        outer - inner
    )
    straps = kit.union(
        kit.along_y(kit.plate(20, 3, y * 2, 1.2)).translate((sx, -y, 3.4)) for sx in (-x * 0.36, -x * 0.05)
    )
    return (shell - holes - thumb) + rim.trim_by_plane((0, 0, 1), 0.0) - straps


def _forearm(x: float, y: float, z: float, wall: float) -> Manifold:
    """A tapering half tube lying along x; its round back up."""
    slices = []
    for s, fx in ((1.0, -0.5), (0.86, 0.1), (0.94, 0.5)):
        oval = CrossSection.circle(1.0, 72).scale((z * s - wall, y / 2 * s - wall)).extrude(0.01)
        reach = fx * x + (0.0 if not wall else 2.0 * (1 if fx == 0.5 else -1 if fx == -0.5 else 0))
        slices.append(oval.rotate((0, -90, 0)).translate((min(reach + 0.01, x / 2) if not wall else reach, 0, 0)))
    return Manifold.batch_hull(slices[:2]) + Manifold.batch_hull(slices[1:])


def mask(wall_mm: float) -> Manifold:
    """A face mask blank, 190 x 150 x 90, open at the back: brow, nose, eye openings, strap slots."""
    outer = _face(0.0)
    shell = (outer - _face(wall_mm)).trim_by_plane((0, 0, 1), 0.0)
    eyes = [kit.plate(17, 38, 200, 8).rotate((0, 0, 10 * s)).translate((18, s * 34, 0)) for s in (-1, 1)]
    breath = [kit.rod(4, 200, 24).translate((-52 - 7 * (i % 2), -12 + 6 * i, 0)) for i in range(5)]
    straps = [kit.along_y(kit.plate(24, 4, 400, 1.5)).translate((5, -200, 12))]
    return shell - kit.union([*eyes, *breath, *straps])


def _face(inset: float) -> Manifold:
    i = inset
    skull = Manifold.sphere(1.0, 64).scale((95 - i, 75 - i, 72 - i))
    nose = Manifold.batch_hull(
        [
            Manifold.sphere(14 - i / 2, 32).translate((-18, 0, 76 - i / 2)),
            Manifold.sphere(9, 32).translate((22, 0, 62 - i)),
        ]
    )
    brow = Manifold.batch_hull([Manifold.sphere(12 - i / 2, 32).translate((40, y, 48 - i / 2)) for y in (-36, 36)])
    return skull + nose + brow


def helmet(wall_mm: float) -> Manifold:
    """A helmet shell, 280 x 240 x 230, open below and in front: crest, visor opening, side vents."""
    outer = Manifold.sphere(1.0, 96).scale((140, 120, 150)).translate((0, 0, 70))
    inner = Manifold.sphere(1.0, 96).scale((140 - wall_mm, 120 - wall_mm, 150 - wall_mm)).translate((0, 0, 70))
    crest = kit.along_y(kit.rod(300, 10, 96)).translate((0, -5, 80)) ^ kit.block(230, 20, 170, (-130, -10, 60))
    face = kit.block(120, 130, 78, (60, -65, 30)) + kit.block(120, 44, 90, (70, -22, -10))
    vents = [kit.along_y(kit.plate(34, 7, 400, 3)).translate((-20 - 6 * i, -200, 40 + 16 * i)) for i in range(3)]
    neck = kit.block(400, 400, 200, (-200, -200, -200))
    rim_outer = Manifold.sphere(1.0, 96).scale((140, 120, 150)).translate((0, 0, 70)) ^ kit.block(
        400, 400, 6, (-200, -200, 0)
    )
    rim = rim_outer - rim_outer.scale((0.95, 0.94, 1.4)).translate((0, 0, -1))
    peak = kit.plate(44, 120, 5, 18, 48).translate((118, 0, 107))
    slab = kit.block(400, 400, 230, (-200, -200, 0))
    return (((outer + crest + peak) - inner) + rim - neck - kit.union([face, *vents])) ^ slab


def armour_plate(thick_mm: float) -> Manifold:
    """A curved scale, 40 x 32 x 6, with a keel and four holes."""
    dots = ((6, -14, 10), (6, -14, -10), (3, 17, 0), (8, 2, 8), (8, 2, -8))
    leaf = CrossSection.batch_hull([CrossSection.circle(r, 48).translate((x, y)) for r, x, y in dots])
    arch_out = kit.along_x(kit.rod(2 * 30, 60, 128)).translate((-30, 0, -24.9))
    arch_in = kit.along_x(kit.rod(2 * (30 - thick_mm), 60, 128)).translate((-30, 0, -24.9))
    keel = Manifold.batch_hull(
        [kit.rod(2, 0.2, 16).translate((16, 0, 4.9)), kit.rod(3, 1.2, 24).translate((-12, 0, 4.8))]
    )
    body = (leaf.extrude(9) ^ (arch_out - arch_in)) + keel
    wide = kit.plate(40, 32, 1.0, 6).translate((0, 0, 0)) ^ leaf.extrude(3)
    return (body + (wide - arch_in)) - kit.union(
        kit.rod(1.8, 20, 24).translate((x, y, -5)) for x in (-15, -10) for y in (-8, 8)
    )
