"""The parts of demo cell B: one body for each of its forty order lines."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from manifold3d import Manifold

from cakewright.demo.parts_a import mirrored
from cakewright.demo.shapes import fleet, gauges, pumps, wear

_BRACE = (partial(wear.foot_brace, 235, 98, 150, 2.37), partial(wear.foot_brace, 248, 101, 155, 2.37))

BODIES: dict[int, Callable[[], Manifold]] = {
    1: partial(pumps.impeller_cover, 5.5),
    2: partial(pumps.volute, 3.2),
    3: partial(wear.earcup, 1.8),
    4: mirrored(partial(wear.earcup, 1.8)),
    5: partial(wear.slider, 4.0),
    6: _BRACE[0],
    7: mirrored(_BRACE[0]),
    8: _BRACE[1],
    9: mirrored(_BRACE[1]),
    10: partial(pumps.gripper_finger, 1.6, 7),
    11: partial(pumps.chain_link, 3.6),
    12: partial(fleet.duct, 310, 180, 120, 1.87),
    13: partial(fleet.duct, 295, 190, 130, 1.96),
    14: partial(fleet.bezel, 1.2),
    15: partial(fleet.sled, 11, 1),
    16: partial(fleet.sled, 12, 2),
    17: partial(fleet.tube_rack, 3.0),
    18: partial(pumps.manifold_block, 15.0),
    19: partial(fleet.frame_half, 1.55, "K"),
    20: partial(fleet.motor_mount, 2.2),
    21: partial(fleet.antenna_cap, 1.7),
    22: partial(wear.mask, 3.7),
    23: partial(wear.armour_plate, 2.1),
    24: partial(pumps.bearing_seat, 4.1),
    25: partial(fleet.cover_plate, 2.6),
    26: partial(pumps.impeller, 5, 60, 5.2),
    27: partial(pumps.impeller, 6, 70, 4.3),
    28: partial(pumps.impeller, 7, 80, 3.2),
    29: partial(fleet.lens_cell, 28, 31, 9.4),
    30: partial(fleet.lens_cell, 30, 33, 9.45),
    31: partial(fleet.baffle_tube, 2.0),
    32: partial(wear.wrist_splint, 210, 110, 85, 1.7),
    33: partial(wear.wrist_splint, 205, 108, 84, 1.73),
    34: partial(fleet.drip_tray, 2.37),
    35: partial(pumps.gripper_finger, 1.5, 8),
    36: partial(wear.helmet, 2.36),
    37: partial(fleet.frame_half, 1.53, "L"),
    38: partial(fleet.bezel, 1.2),
    39: gauges.tensile_bar,
    40: gauges.tensile_bar,
}

KINDS = {2: "3mf", 12: "3mf", 13: "3mf", 22: "obj", 36: "3mf", 6: "3mf", 7: "3mf", 8: "3mf", 9: "3mf", 17: "ply",
         25: "stl-inch", 31: "stl-ascii"}  # fmt: skip
