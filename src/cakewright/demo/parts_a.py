"""The parts of demo cell A: one body for each of its forty order lines."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from manifold3d import Manifold

from cakewright.demo.shapes import gauges, kitchen, lamp, medical, sensor, showpieces, workshop


def mirrored(make: Callable[[], Manifold]) -> Callable[[], Manifold]:
    """The same part for the other hand."""
    return lambda: make().mirror((1, 0, 0))


BODIES: dict[int, Callable[[], Manifold]] = {
    1: kitchen.hinge_leaf,
    2: mirrored(kitchen.hinge_leaf),
    3: partial(kitchen.knob, 28, 2.3),
    4: partial(kitchen.knob, 30, 2.9),
    5: partial(kitchen.knob, 32, 3.3),
    6: partial(sensor.housing_lower, revision="D"),
    7: sensor.housing_upper,
    8: sensor.cable_clip,
    9: sensor.light_guide_holder,
    10: workshop.drill_jig,
    11: workshop.soft_jaw,
    12: lamp.diffuser_ring,
    13: partial(lamp.snap_arm, 46, 2.2),
    14: partial(lamp.snap_arm, 52, 2.5),
    15: lamp.ball_joint,
    16: kitchen.spout,
    17: partial(medical.finger_rest, 36, 24, 20),
    18: partial(medical.finger_rest, 39, 26, 21),
    19: partial(medical.finger_rest, 42, 28, 23),
    20: medical.device_shell,
    21: mirrored(medical.device_shell),
    22: workshop.tray_bracket,
    23: workshop.machine_foot,
    24: sensor.gasket_frame,
    25: sensor.antenna_mast,
    26: showpieces.hall,
    27: showpieces.plaque,
    28: lamp.lattice_shade,
    29: partial(kitchen.gear, 24),
    30: partial(kitchen.gear, 25),
    31: showpieces.drone_arm,
    32: showpieces.drone_hub,
    33: partial(sensor.housing_lower, revision="E"),
    34: sensor.test_strap,
    35: workshop.vacuum_nozzle,
    36: workshop.sorting_tray,
    37: partial(medical.device_shell, revision="G"),
    38: lamp.pin_sleeve,
    39: gauges.tensile_bar,
    40: gauges.shrink_ladder,
}

KINDS = {11: "obj", 12: "3mf", 20: "3mf", 21: "3mf", 22: "stl-inch", 26: "3mf", 34: "stl-ascii", 36: "ply", 37: "3mf"}
