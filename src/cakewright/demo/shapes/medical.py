"""Finger rests in three sizes and the two-handed device shell."""

from __future__ import annotations

from manifold3d import CrossSection, Manifold

from cakewright.demo.shapes import kit


def finger_rest(x: float, y: float, z: float, wall_mm: float = 1.3) -> Manifold:
    """A saddle for a finger, x by y by z, hollow below, with a strap slot."""
    outer = kit.soft(x, y, z, 3.0, 32) ^ kit.block(200, 200, z, (-100, -100, 0))
    d = y * 0.76
    groove = kit.along_x(kit.rod(d, x + 20, 72)).translate((-x / 2 - 10, 0, z + d * 0.16))
    under = kit.plate(x - 2 * wall_mm, y - 2 * wall_mm, z, 4).translate((0, 0, -2.2))
    roof = kit.along_x(kit.rod(d + 2 * wall_mm, x + 20, 72)).translate((-x / 2 - 10, 0, z + d * 0.16))
    ribs = [kit.block(wall_mm * 0.8, y - 2, z, (sx * x / 5 - wall_mm * 0.4, -y / 2 + 1, 0)) for sx in (-1, 1)]
    hollow = under - roof - kit.union(ribs)
    strap = kit.plate(7, y + 10, 2.6, 1).translate((0, 0, 2.2))
    return outer - groove - hollow - strap


def device_shell(wall_mm: float = 2.72, revision: str = "F") -> Manifold:
    """Left half of a hand-held device, 172 x 88 x 34; revision G has more vents."""
    outer = kit.soft_bottom(_pear, 34, 10)
    inner = kit.soft_bottom(lambda i: _pear(i + wall_mm), 34, 9).translate((0, 0, wall_mm))
    bosses = [kit.rod(8, 33) - kit.rod(2.7, 30).translate((0, 0, 8)) for _ in range(5)]
    spots = [(-62.0, 20.0, 0.5), (-62.0, -20.0, 0.5), (10.0, 30.0, 0.5), (10.0, -30.0, 0.5), (66.0, 0.0, 0.5)]
    ribs = [kit.block(1.6, 84, 8, (x, -42, 1)) for x in (-34, 34)] + [kit.block(120, 1.6, 6, (-60, 8, 1))]
    inside = kit.union([*(b.translate(s) for b, s in zip(bosses, spots, strict=True)), *ribs]) ^ outer
    display = kit.plate(52, 34, 20, 5).translate((-46, 0, -8))
    keys = [kit.rod(11, 20).translate((x, y, -8)) for x, y in ((8, 12), (24, 12), (8, -6), (24, -6))]
    vents = [kit.plate(2.4, 16, 20, 1.1).translate((x, 18, -8)) for x in range(46, 67 if revision == "G" else 60, 5)]
    trigger = kit.along_y(kit.plate(30, 14, 40, 6)).translate((20, 20, 22))
    plug = kit.along_x(kit.plate(9, 14, 40, 3)).translate((-100, -14, 18))
    lip = (_pear(wall_mm * 0.5) - _pear(wall_mm * 1.3)).extrude(3).translate((0, 0, 32.5))
    return outer - inner + inside - lip - kit.union([display, *keys, *vents, trigger, plug])


def _pear(inset: float) -> CrossSection:
    """Outline of the device: wide head at -x, narrow tail at +x, 172 x 88."""
    head = CrossSection.circle(44 - inset, 96).translate((-42, 0))
    tail = CrossSection.circle(28 - inset, 64).translate((58, 0))
    return CrossSection.batch_hull([head, tail])
