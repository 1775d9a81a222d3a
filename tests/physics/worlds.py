"""Tiny named worlds for the physics tests: one powder, one chamber, one machine."""

import numpy as np

from cakewright.model.build import LayerProfile, Placement
from cakewright.model.cell import ChamberType, Machine, Material

SAME = np.eye(3)


def placed(piece, at=(0.0, 0.0, 0.0), rotation=SAME, part="cube", size_z=10.0):
    """A piece standing at `at`."""
    return Placement(piece, part, 1, np.array(rotation), np.array(at), at[2], at[2] + size_z)


def powder(**changes):
    """A PA12-like powder with the reference numbers of the published cooling cases."""
    numbers = {
        "name": "test-12",
        "sintered_density_g_cm3": 0.95,
        "bed_density_g_cm3": 0.45,
        "bed_temperature_c": 170.0,
        "opening_temperature_c": 50.0,
        "cake_conductivity_w_mk": 0.10,
        "cake_heat_capacity_j_kgk": 2400.0,
        "virgin_price_per_kg": 60.0,
        "virgin_kg": 100.0,
        "used_kg": 100.0,
        "loss_fraction": 0.05,
        "minimum_wall_mm": 0.7,
    }
    return Material(**{**numbers, **changes})


def chamber(**changes):
    """A small chamber whose wall lets 10 W/(m² K) through."""
    numbers = {
        "name": "small",
        "x_mm": 200.0,
        "y_mm": 200.0,
        "z_mm": 330.0,
        "wall_margin_mm": 5.0,
        "base_mm": 10.0,
        "cover_mm": 5.0,
        "surface_coefficient_w_m2k": 10.0,
        "clean_min": 30,
    }
    return ChamberType(**{**numbers, **changes})


def machine(**changes):
    """A machine with the round numbers of the hand calculation: 0.25 mm x 4000 mm/s, 10 s recoat."""
    numbers = {
        "name": "M1",
        "material": "test-12",
        "chamber_type": "small",
        "layer_mm": 0.10,
        "warm_up_min": 90.0,
        "recoat_s": 10.0,
        "minimum_layer_s": 0.0,
        "hatch_spacing_mm": 0.25,
        "hatch_speed_mm_s": 4000.0,
        "contour_speed_mm_s": 2000.0,
        "jump_s": 0.05,
        "end_min": 20.0,
        "load_min": 15,
        "unload_min": 15,
        "minimum_cool_in_machine_min": 120,
        "rate_per_h": 15.0,
        "feed_overflow_fraction": 0.1,
        "dead_powder_kg": 1.0,
    }
    return Machine(**{**numbers, **changes})


def profile_of(area, contour=None, outlines=None, layer_mm=0.10):
    """A profile written down layer by layer."""
    area = np.asarray(area, dtype=float)
    contour = np.zeros_like(area) if contour is None else np.asarray(contour, dtype=float)
    outlines = np.zeros(len(area), dtype=np.int32) if outlines is None else np.asarray(outlines, dtype=np.int32)
    return LayerProfile(layer_mm, area, contour, outlines)


def empty(height_mm, layer_mm=0.10):
    """Nothing but powder."""
    return profile_of(np.zeros(round(height_mm / layer_mm)), layer_mm=layer_mm)
