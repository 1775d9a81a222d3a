"""Housings, cable clip, light guide holder, gasket frame, antenna mast, test strap."""

from __future__ import annotations

from manifold3d import Manifold

from cakewright.demo.shapes import kit


def housing_lower(wall_mm: float = 2.08, revision: str = "D") -> Manifold:
    """Lower half of a sensor housing, 94 x 61 x 28; revision E has a second strain relief."""
    outer = kit.soft_bottom(lambda i: kit.outline(94 - 2 * i, 61 - 2 * i, 8 - i), 28, 4)
    w = wall_mm
    inner = kit.soft_bottom(lambda i: kit.outline(94 - 2 * w - 2 * i, 61 - 2 * w - 2 * i, 6 - i), 28, 3)
    rebate = kit.plate(94 - w, 61 - w, 4, 7).translate((0, 0, 26))
    body = outer - inner.translate((0, 0, w)) - rebate
    bosses = [b ^ outer for b in kit.at_spots(kit.rod(7.5, 24), kit.corners(78, 45, 1))]
    board = kit.at_spots(kit.rod(6, 8) - kit.rod(2.2, 12), kit.corners(52, 30, 1))
    ribs = [kit.block(1.6, 57, 5, (x, -28.5, 1)) for x in (-13, 13)]
    reliefs = [kit.plate(7, 14, 10, 1).translate((36, 0, 1))] if revision == "E" else []
    body += kit.union([*bosses, *board, *ribs, *reliefs]) - kit.union(
        kit.at_spots(kit.rod(2.6, 20), kit.corners(78, 45, 9))
    )
    cable = kit.along_x(kit.rod(6.5, 20)).translate((36, 0, 16)) + kit.block(20, 6.5, 20, (36, -3.25, 16))
    plug = kit.along_x(kit.plate(8, 14, 20, 2)).translate((-56, 0, 14))
    return body - cable - plug


def housing_upper(wall_mm: float = 2.22) -> Manifold:
    """Upper half, 94 x 61 x 17, lying on its face: tongue, screw towers, vents and a light window."""
    outer = kit.soft_bottom(lambda i: kit.outline(94 - 2 * i, 61 - 2 * i, 8 - i), 15.2, 4)
    w = wall_mm
    tongue = kit.plate(94 - w - 0.4, 61 - w - 0.4, 17, 7) ^ kit.block(100, 100, 9, (-50, -50, 8))
    inner = kit.soft_bottom(lambda i: kit.outline(94 - 2 * w - 2 * i, 61 - 2 * w - 2 * i, 6 - i), 28, 3)
    body = outer + tongue - inner.translate((0, 0, w))
    towers = [t ^ (outer + tongue) for t in kit.at_spots(kit.rod(7.5, 14), kit.corners(78, 45, 1))]
    stiff = [kit.block(60, 1.6, 4, (-30, y, 1)) for y in (-18, 17)]
    vents = [kit.plate(2, 20, 10, 1).translate((x, 0, -3)) for x in range(-30, -5, 5)]
    window = kit.rod(9, 10).translate((24, 0, -3))
    screws = kit.at_spots(kit.rod(3.4, 40) + kit.rod(6.2, 7.6), kit.corners(78, 45, -5))
    return body + kit.union([*towers, *stiff]) - kit.union([*vents, window, *screws])


def cable_clip(wall_mm: float = 1.35) -> Manifold:
    """A screw-down cable clip, 18 x 9 x 8."""
    base = kit.plate(18, 9, 3.0, 2, 24)
    hook = kit.along_y(kit.rod(8, 9, 64)).translate((-5, -4.5, 4))
    hole = kit.along_y(kit.rod(8 - 2 * wall_mm, 11, 64)).translate((-5, -5.5, 4))
    mouth = kit.block(6, 12, 2.9, (-4.6, -6, 3.0))
    lip = kit.along_y(kit.rod(1.5, 9, 16)).translate((-2.0, -4.5, 6.3))
    screw = kit.rod(3.2, 6, 32).translate((4.5, 0, -1)) + kit.rod(3.2, 1.5, 32, top=6.2).translate((4.5, 0, 1.5))
    return (base + hook) - hole - mouth + lip - screw


def light_guide_holder(wall_mm: float = 0.8) -> Manifold:
    """Six thin tubes on a plate, 33 x 22 x 14."""
    base = kit.plate(33, 22, 1.0, 2, 24)
    spots = [(x, y, 0.0) for x in (-11, 0, 11) for y in (-5.5, 5.5)]
    tubes = kit.union(kit.at_spots(kit.rod(10.0, 14, 64), spots))
    bores = kit.union(kit.at_spots(kit.rod(10.0 - 2 * wall_mm, 30, 64), [(x, y, -5.0) for x, y, _ in spots]))
    screws = kit.union(kit.at_spots(kit.rod(2.2, 9, 24), [(-5.5, 0, -3), (5.5, 0, -3)]))
    return base + tubes - bores - screws


def gasket_frame(width_mm: float = 6.3) -> Manifold:
    """A flat frame, 88 x 55 x 3, with a bead groove and holes."""
    frame = kit.plate(88, 55, 3, 9, 64) - kit.plate(88 - 2 * width_mm, 55 - 2 * width_mm, 9, 6, 64).translate(
        (0, 0, -3)
    )
    lugs = kit.union((kit.rod(9, 3).translate(spot) ^ kit.plate(88, 55, 3, 9, 64)) for spot in kit.corners(76, 43))
    groove = (kit.outline(81, 48, 7, 64) - kit.outline(79, 46, 6.2, 64)).extrude(2).translate((0, 0, 2.2))
    return frame + lugs - groove - kit.union(kit.at_spots(kit.rod(3.4, 9, 32), kit.corners(76, 43, -3)))


def antenna_mast(foot_mm: float = 9.0) -> Manifold:
    """A slender mast, 12 x 12 x 190, with a clamp foot, beads and a cable bore in the foot."""
    foot = kit.plate(12, 12, 12, 2, 24)
    shaft = kit.rod(foot_mm, 180, top=6.2).translate((0, 0, 8))
    beads = [kit.lathe([(0, z - 2), (4.2, z), (0, z + 2)], 48) for z in (60, 100, 140)]
    tip = kit.lathe([(0, 182), (3.1, 182), (4.2, 186), (3.2, 190), (0, 190)], 64)
    bolt = kit.along_y(kit.rod(4.2, 20, 32)).translate((0, -10, 6))
    return kit.union([foot, shaft, *beads, tip]) - bolt - kit.rod(3, 40, 24).translate((0, 0, -1))


def test_strap(hole_mm: float = 3.2) -> Manifold:
    """A flexible strap, 120 x 15 x 2, with holes and a slot."""
    strap = kit.plate(120, 15, 2, 7.4, 64)
    holes = [kit.rod(hole_mm, 6, 32).translate((x, 0, -2)) for x in (-48, -40, -32, -24)]
    slot = kit.plate(2.4, 9, 6, 1.1, 24).translate((46, 0, -2))
    notch = [kit.block(0.8, 4, 0.5, (x, -2, 1.6)) for x in range(-10, 35, 4)]
    return strap - kit.union([*holes, slot, *notch])
