"""Tolerance grades of ISO 286 and how a measured deviation rates."""

from __future__ import annotations

import math

from cakewright.errors import InputError
from cakewright.sources.quality import ISO286_CUBE_ROOT, ISO286_LINEAR, ISO286_MULTIPLES, ISO286_STEPS_MM


def tolerance_unit_um(size_mm: float) -> float:
    """Tolerance unit i of the band a size lies in, µm: 0.45 D^(1/3) + 0.001 D, D the band's geometric mean."""
    d = _band_mean(size_mm)
    return ISO286_CUBE_ROOT.value * math.cbrt(d) + ISO286_LINEAR.value * d


def grade_tolerance_um(grade: int, size_mm: float) -> float:
    """Width of an IT grade (5..16), µm, before the standard's rounding."""
    if grade not in ISO286_MULTIPLES:
        raise InputError(f"grade IT{grade}", remedy="use IT5 to IT16")
    return ISO286_MULTIPLES[grade] * tolerance_unit_um(size_mm)


def rate_deviation(nominal_mm: float, measured_mm: float) -> tuple[float, int | None]:
    """(n, grade): deviation in tolerance units, and the finest grade that holds it (None: coarser than IT16)."""
    n = 1000.0 * abs(measured_mm - nominal_mm) / tolerance_unit_um(nominal_mm)
    return n, next((g for g, multiple in sorted(ISO286_MULTIPLES.items()) if n <= multiple), None)


def _band_mean(size_mm: float) -> float:
    steps = ISO286_STEPS_MM
    if not steps[0] <= size_mm <= steps[-1]:
        raise InputError(f"a size of {size_mm:g} mm", remedy="the formula holds from 1 to 500 mm")
    high = next(i for i in range(1, len(steps)) if size_mm <= steps[i])
    return math.sqrt(steps[high - 1] * steps[high])
