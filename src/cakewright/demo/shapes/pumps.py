"""Impeller and its cover, volute body, manifold, gripper finger, bearing seat, cable chain link."""

from __future__ import annotations

import itertools
import math

import numpy as np
from manifold3d import CrossSection, Manifold, OpType

from cakewright.demo.shapes import kit


def impeller_cover(wall_mm: float) -> Manifold:
    """A dished cover, 84 x 84 x 31, with an eye, a rim with eight screws and ribs outside."""
    w = wall_mm
    dish = kit.lathe([(14, 25), (20, 25), (33, 9), (42, 9), (42, 0), (34, 0), (34 - w, 9 - w / 3), (20 - w / 3, 25 - w),
                      (14, 25 - w)], 120)  # fmt: skip
    eye = kit.ring(34, 26, 12, 96).translate((0, 0, 19))
    ribs = kit.around(kit.prism([(16.5, 21), (24, 21), (40, 7), (40, 2), (16.5, 2)], 3).rotate((90, 0, 0)), 8)
    outside = kit.lathe([(13, 31), (45, 31), (45, 5), (35, 5), (19, 24), (13, 24)], 120)
    ribs_out = kit.union(ribs).translate((0, 1.5, 0)) ^ outside
    screws = kit.around(kit.rod(3.4, 30, 24).translate((38, 0, -5)), 8, 22.5)
    return dish + eye + ribs_out - kit.union(screws) - kit.rod(26, 60, 96).translate((0, 0, -5))


def impeller(vanes: int, lean_deg: float, vane_mm: float) -> Manifold:
    """A test impeller, 90 x 90 x 35: curved vanes on a back plate with a keyed hub."""
    back = kit.lathe([(0, 0), (45, 0), (45, 4.5), (22, 8), (14, 15), (13, 35), (0, 35)], 120)
    blades = kit.around(_vane(lean_deg, vane_mm), vanes)
    bore = kit.rod(12, 60).translate((0, 0, -5)) + kit.block(8, 4, 60, (0, -2, -5))
    marks = [kit.rod(2, 2, 24).translate((17 + 4 * i, 0, -1)) for i in range(vanes - 4)]
    return back + kit.union(blades) - bore - kit.union(marks)


def _vane(lean_deg: float, thick: float) -> Manifold:
    t = np.linspace(0, 1, 14)
    radius, angle = 11 + 33.9 * t, np.radians(lean_deg) * t**0.9
    pts = [(float(r * math.cos(a)), float(r * math.sin(a))) for r, a in zip(radius, angle, strict=True)]
    dots = [CrossSection.circle(thick / 2, 16).translate(p) for p in pts]
    bar = [CrossSection.batch_hull([a, b]) for a, b in itertools.pairwise(dots)]
    flat = CrossSection.batch_boolean(bar, OpType.Add)
    crown = kit.lathe([(0, 0.5), (45, 0.5), (45, 20), (13, 33), (0, 33)], 120)
    return flat.extrude(34) ^ crown


def volute(wall_mm: float) -> Manifold:
    """A volute test body, 160 x 140 x 95: snail around an open eye, outlet flange, measuring channel on the foot."""
    t = np.linspace(0.0, 1.0, 37)
    inner, snail = kit.union(_snail(t, 0.0)), kit.union(_snail(t, wall_mm))
    base = kit.plate(160, 131, 4.5, 12).translate((0, -4.5, 0))
    hub = kit.rod(68, 95, 96)
    outlet = kit.along_y(kit.rod(36 + 2 * wall_mm, 60, 64)).translate((46, 5, 45))
    flange = kit.along_y(kit.plate(64, 64, 8, 10)).translate((46, 62, 45))
    eye = kit.rod(58, 120, 96).translate((0, 0, 9))
    duct = kit.along_y(kit.rod(36, 120, 64)).translate((46, 5, 45))
    shaft = kit.rod(34, 60, 72).translate((0, 0, -5))
    path = measuring_path()
    bead = kit.sweep(path, 6.5, 24)
    feet = kit.union(
        kit.at_spots(kit.rod(7, 30), [(sx * 72.0, -4.5 + sy * 57.0, -5.0) for sx in (-1, 1) for sy in (-1, 1)])
    )
    bolts = kit.along_y(kit.rod(6.6, 30))
    bolts = kit.union(bolts.translate((46 + x, 50, 45 + z)) for x in (-25, 25) for z in (-25, 25))
    body = kit.union([snail, base, hub, outlet, flange, bead]) ^ kit.block(160, 140, 95, (-80, -70, 0))
    return body - inner - eye - shaft - duct - kit.sweep(path, 4.0, 24) - feet - bolts


def _snail(t: np.ndarray[tuple[int], np.dtype[np.float64]], wall: float) -> list[Manifold]:
    """Balls growing along a turn about the eye, hulled pair by pair."""
    angle = np.radians(-310 + 300 * t)
    balls = []
    for a, s in zip(angle, t, strict=True):
        ball = Manifold.sphere(9 + 9 * s + wall, 32)
        balls.append(ball.translate((47 * math.cos(a), 47 * math.sin(a), 45)))
    return [Manifold.batch_hull([p, q]) for p, q in itertools.pairwise(balls)]


def measuring_path() -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """The channel of diameter 8: along one side of the foot, round the corner, along the next; about 260 mm inside."""
    a = np.radians(np.linspace(180, 90, 16))
    corner = np.column_stack([-48 + 12 * np.cos(a), 42 + 12 * np.sin(a), np.full_like(a, 9.0)])
    return np.vstack([[-60.0, -72.0, 9.0], corner, [82.0, 54.0, 9.0]])


def manifold_block(bar_mm: float) -> Manifold:
    """A four-way manifold, 90 x 90 x 40: crossing channels of diameter 4 in a cross of bars, ports on four sides."""
    base = kit.plate(90, 90, 4, 6)
    bars = [kit.plate(90, bar_mm, 32, 1), kit.plate(bar_mm, 90, 32, 1)]
    ends = kit.around(kit.along_x(kit.rod(19, 9)).translate((36, 0, 22)), 4)
    centre = kit.rod(26, 40, 72)
    path = _circle(24.0, 22.0)
    bead = kit.sweep(path, 4.5, 20)
    body = kit.union([base, *bars, *ends, centre, bead])
    ports = kit.around(kit.along_x(kit.rod(11, 12)).translate((36, 0, 22)), 4)
    holes = kit.around(kit.along_x(kit.rod(4, 100, 24)).translate((-1, 0, 22)), 4)
    drop = kit.rod(4, 40, 24).translate((0, 0, 20)) + kit.rod(9, 10).translate((0, 0, 33))
    feet = kit.union(kit.at_spots(kit.rod(5.5, 20), kit.corners(76, 76, -5)))
    return body - kit.union([*ports, *holes, drop, kit.sweep(path, 2.0, 20)]) - feet


def _circle(radius: float, z: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """A full ring; its ends overlap inside a drilled bar."""
    a = np.linspace(-0.02, 2 * np.pi + 0.02, 97)
    return np.column_stack([radius * np.cos(a), radius * np.sin(a), np.full_like(a, z)])


def gripper_finger(web_mm: float, version: int) -> Manifold:
    """A finger with fin-ray ribs, 92 x 30 x 22, two bores of diameter 5; version 8 has one rib more."""
    side = [(0.0, 0.0), (92.0, 0.0), (92.0, 4.0), (26.0, 30.0), (0.0, 30.0)]
    body = kit.prism(side, 22)
    w = web_mm
    ribs = 4 if version == 7 else 5
    room = kit.prism([(22.6, w), (92 - 3.2 * w, w), (29, 30 - 2.1 * w), (22.6, 30 - 2.1 * w)], 30).translate((0, 0, -4))
    bars = [
        kit.block(1.8, 40, 22, (0, -5, 0)).rotate((0, 0, -14)).translate((32 + i * 42 / ribs, 0, 0))
        for i in range(ribs)
    ]
    pads = [kit.along_x(kit.rod(2.2, 60, 16)).translate((28, -0.4, z)) for z in (4, 8, 12, 16)]
    bores = [kit.rod(5, 60).translate((x, 22, -10)) for x in (6, 18)] + [
        kit.along_y(kit.rod(5, 60)).translate((11, -5, 11))
    ]
    return (body - room) + (kit.union(bars) ^ body) - kit.union([*pads, *bores])


def bearing_seat(wall_mm: float) -> Manifold:
    """A flanged seat, 40 x 40 x 22, for a bearing of diameter 19."""
    flange = kit.plate(40, 40, 5, 6)
    cup = kit.rod(19 + 2 * wall_mm, 22, 72)
    ribs = kit.around(kit.prism([(9, 4), (19, 4), (9, 20)], 2.4).rotate((90, 0, 0)).translate((0, 1.2, 0)), 4, 45)
    bore = kit.rod(19, 30, 96).translate((0, 0, 4)) + kit.rod(13, 30, 72).translate((0, 0, -5))
    screws = kit.union(kit.at_spots(kit.rod(4.4, 20, 32), kit.corners(30, 30, -5)))
    return flange + cup + kit.union(ribs) - bore - screws


def chain_link(wall_mm: float) -> Manifold:
    """A link of a cable chain, 38 x 24 x 16: two cheeks with pin and eye, a floor and a bridge."""
    w = wall_mm
    cheek = Manifold.batch_hull(
        [kit.along_y(kit.rod(16, w, 48)).translate((8, 0, 8)), kit.along_y(kit.rod(16, w, 48)).translate((30, 0, 8))]
    )
    pin = kit.along_y(kit.rod(5, w + 1.8, 32)).translate((30, -1.8, 8))
    eye = kit.along_y(kit.rod(5.6, 10, 32)).translate((8, -3, 8))
    side = cheek - eye
    other = side.mirror((0, 1, 0)).translate((0, 20.4, 0)) + pin.mirror((0, 1, 0)).translate((0, 20.4, 0))
    floor = kit.block(18, 20.4, 2, (10, 0, 0)) + kit.block(9, 20.4, 2, (14, 0, 14))
    return kit.union([side, pin, other, floor])
