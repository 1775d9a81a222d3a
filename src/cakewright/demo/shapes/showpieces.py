"""Desk model of a hall, plaque with raised letters, drone arm and hub."""

from __future__ import annotations

import itertools

from manifold3d import CrossSection, Manifold, OpType

from cakewright.demo.shapes import kit

# strokes on a grid 4 wide and 6 high, own drawing
_LETTERS: dict[str, list[list[kit.Point]]] = {
    "N": [[(0, 0), (0, 6), (4, 0), (4, 6)]],
    "O": [[(1, 0), (0, 1), (0, 5), (1, 6), (3, 6), (4, 5), (4, 1), (3, 0), (1, 0)]],
    "R": [[(0, 0), (0, 6), (3, 6), (4, 5), (4, 4), (3, 3), (0, 3)], [(2, 3), (4, 0)]],
    "D": [[(0, 0), (0, 6), (2.5, 6), (4, 4.5), (4, 1.5), (2.5, 0), (0, 0)]],
    "L": [[(0, 6), (0, 0), (4, 0)]],
    "I": [[(2, 0), (2, 6)]],
    "C": [[(4, 5), (3, 6), (1, 6), (0, 5), (0, 1), (1, 0), (3, 0), (4, 1)]],
    "H": [[(0, 0), (0, 6)], [(4, 0), (4, 6)], [(0, 3), (4, 3)]],
    "T": [[(2, 0), (2, 6)], [(0, 6), (4, 6)]],
}


def lettering(word: str, height_mm: float, stroke_mm: float, depth_mm: float) -> Manifold:
    """Raised letters, centred; only the letters drawn above exist."""
    unit = height_mm / 6
    pitch = 4 * unit + stroke_mm * 1.9
    bars = []
    for i, letter in enumerate(word):
        for stroke in _LETTERS[letter]:
            points = [(x * unit + i * pitch, y * unit) for x, y in stroke]
            bars += [_bar(a, b, stroke_mm) for a, b in itertools.pairwise(points)]
    flat = CrossSection.batch_boolean(bars, OpType.Add).simplify(0.02)
    x0, y0, x1, y1 = flat.bounds()
    return flat.translate((-(x0 + x1) / 2, -(y0 + y1) / 2)).extrude(depth_mm)


def _bar(a: kit.Point, b: kit.Point, width: float) -> CrossSection:
    dot = CrossSection.circle(width / 2, 16)
    return CrossSection.batch_hull([dot.translate(a), dot.translate(b)])


def plaque(base_mm: float = 3.2) -> Manifold:
    """A plaque, 90 x 30 x 4, with a rim, raised letters and two screw holes."""
    board = kit.plate(90, 30, 4, 4) - kit.plate(87, 27, 4, 2.5).translate((0, 0, base_mm))
    word = lettering("NORDLICHT", 9, 1.5, 3).translate((0, 0, 1))
    holes = [kit.rod(3.2, 9, 32).translate((x, 0, -2)) for x in (-40.5, 40.5)]
    return board + word - kit.union(holes)


def hall(wall_mm: float = 2.75) -> Manifold:
    """A factory hall on a base plate, 180 x 120 x 60: saw-tooth roof, windows, doors, chimney, open floor."""
    w = wall_mm
    base = kit.plate(180, 120, 3.0, 3) - kit.plate(120, 64, 9, 3).translate((0, 0, -3))
    outer, inner = _saw_tooth(160, 100, 0), _saw_tooth(160, 100, w)
    windows = [kit.block(14, 140, 14, (x, -70, 14)) for x in range(-72, 70, 20) if abs(x + 7) > 14]
    doors = kit.block(22, 140, 26, (-11, -70, 3)) + kit.block(200, 30, 24, (-100, -15, 3))
    bays = [kit.block(4, 86, 9, (x, -43, 33)).rotate((0, 0, 0)) for x in (-69.5, -37.5, -5.5, 26.5, 58.5)]
    ribs = [kit.block(2.4, 2.4, 34, (x, y, 0)) for x in range(-76, 80, 20) for y in (-51.2, 48.8)]
    pillars = [kit.rod(4, 36, 16).translate((x, y, 0)) for x in (-48, -16, 16, 48) for y in (-33, 33)]
    stack = kit.ring(11, 6, 60, 40).translate((72, 48, 0)) + kit.lathe([(5.5, 54), (7, 56), (5.5, 58)], 40).translate(
        (72, 48, 0)
    )
    shell = outer - inner - kit.union([*windows, doors, *bays])
    return kit.union([base, shell, *ribs, *pillars, stack])


def _saw_tooth(x: float, y: float, wall: float) -> Manifold:
    """A hall with five roof teeth; `wall` > 0 gives the room inside."""
    edge: list[kit.Point] = [(-x / 2 + wall, 0 if not wall else -1), (-x / 2 + wall, 34 - wall)]
    bay = x / 5
    for i in range(5):
        left = -x / 2 + i * bay
        edge += [(left + 5 + wall * 0.5, 50 - 1.6 * wall), (left + bay - (wall if i == 4 else 0), 34 - wall)]
    edge.append((x / 2 - wall, 0 if not wall else -1))
    return kit.prism(edge, y - 2 * wall).rotate((90, 0, 0)).translate((0, y / 2 - wall, 0))


def drone_arm(wall_mm: float = 2.4) -> Manifold:
    """An arm with motor ring and clamp, 130 x 28 x 20: trussed walls on a floor."""
    head = kit.ring(28, 21, 11, 72) + kit.rod(28, 2.6, 72)
    beam = Manifold.batch_hull([kit.block(1, 20, 10, (10, -10, 0)), kit.block(1, 24, 20, (115, -12, 0))])
    hollow = Manifold.batch_hull(
        [
            kit.block(1, 20 - 2 * wall_mm, 30, (9, -10 + wall_mm, wall_mm)),
            kit.block(1, 24 - 2 * wall_mm, 40, (107, -12 + wall_mm, wall_mm)),
        ]
    )
    windows = [
        kit.prism([(x, 2.6), (x + 16, 2.6), (x + 8, 4.5 + (x + 8) * 0.08)], 60).rotate((90, 0, 0)).translate((0, 30, 0))
        for x in (22, 42, 62, 82)
    ]
    floor = [kit.rod(9, 9, 6).translate((x, 0, -3)) for x in (30, 50, 70, 90)]
    motor = [*kit.around(kit.rod(3.2, 9, 24).translate((6.5, 0, -3)), 4, 45), kit.rod(6, 9, 32).translate((0, 0, -3))]
    clamp = [kit.along_y(kit.rod(4.1, 50, 32)).translate((111.5, -25, z)) for z in (5.5, 14.5)]
    arm = beam - hollow - kit.union([*windows, *floor]) - kit.rod(21, 30, 72).translate((0, 0, 2.6))
    return arm + head - kit.union([*motor, *clamp])


def drone_hub(wall_mm: float = 2.65) -> Manifold:
    """A hub, 92 x 92 x 36: eight-sided tray with four arm sockets and insert bores of diameter 4.1."""
    w = wall_mm
    outer = kit.soft_bottom(lambda i: _octagon(92 - 2 * i), 36, 3, 3)
    inner = kit.soft_bottom(lambda i: _octagon(92 - 2 * w - 2 * i), 40, 2, 3).translate((0, 0, w))
    sockets = kit.around(kit.block(16, 29, 25, (30, -14.5, 0)), 4)
    slots = kit.around(kit.block(40, 24.4, 20.4, (31, -12.2, 2.4)), 4)
    posts = kit.around(kit.rod(9, 36).translate((37, 0, 0)), 4, 45)
    bores = kit.around(kit.rod(4.1, 12, 32).translate((37, 0, 26)), 4, 45)
    deck = [*kit.around(kit.rod(4.1, 20, 32).translate((16, 0, -5)), 4, 45), kit.rod(20, 20, 64).translate((0, 0, -5))]
    pins = kit.around(kit.along_x(kit.rod(4.1, 40, 32)).rotate((0, 0, 90)).translate((39, -20, 12)), 4)
    body = (outer - inner) + (kit.union([*sockets, *posts]) ^ outer)
    return body - kit.union([*slots, *bores, *deck, *pins])


def _octagon(across: float) -> CrossSection:
    return CrossSection.square((across, across), True) ^ CrossSection.square(
        (across * 1.06, across * 1.06), True
    ).rotate(45)
