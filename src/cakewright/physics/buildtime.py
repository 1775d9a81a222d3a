"""Hours on the machine: warm-up, then recoat and scan for each layer, then the end."""

from __future__ import annotations

from dataclasses import replace
from math import isclose

import numpy as np

from cakewright.errors import CellError, InputError
from cakewright.model.build import LayerProfile, PrintTime
from cakewright.model.cell import Machine
from cakewright.model.mesh import FloatArray
from cakewright.physics.layers import layer_count
from cakewright.sources.physics import TIME_SPREAD
from cakewright.units import S_PER_MIN


def print_time(
    profile: LayerProfile,
    machine: Machine,
    *,
    extra_layers_mm: float = 0.0,
    relative_sigma: float | None = None,
) -> PrintTime:
    """Machine time of a build, in seconds.

    Parameters
    ----------
    profile
        All part layers, also those in which nothing is scanned.
    machine
        Speeds and fixed times; its layer thickness must be that of the profile.
    extra_layers_mm
        Base plus cover powder: recoated (and held for the minimum layer time) but not scanned.
    relative_sigma
        Spread of actual over predicted. Default: the machine's own `time_spread`, learnt from its logs, or
        `physics.print_time_spread`.

    `layer_s` of the result covers the part layers; the extra layers are in `recoat_s` and `waiting_s`.
    Source: layer sums as in Pham & Wang 2000 (Proc IMechE B 214) and Ruffo, Tuck, Hague 2006 (IJPR 44);
    the form is first principles, their coefficients are not used.
    """
    _check(profile, machine, extra_layers_mm)
    machine = as_learnt(machine)
    scan = _scan_seconds(profile, machine)
    waiting = np.maximum(machine.minimum_layer_s - scan, 0.0)
    extra = layer_count(extra_layers_mm, machine.layer_mm) if extra_layers_mm > 0 else 0
    return PrintTime(
        warm_up_s=machine.warm_up_min * S_PER_MIN,
        recoat_s=machine.recoat_s * (profile.layers + extra),
        scan_s=float(scan.sum()),
        waiting_s=float(waiting.sum()) + extra * machine.minimum_layer_s,
        end_s=machine.end_min * S_PER_MIN,
        layer_s=machine.recoat_s + scan + waiting,
        relative_sigma=relative_sigma or machine.time_spread or TIME_SPREAD.value,
    )


def scan_seconds(profile: LayerProfile, machine: Machine) -> FloatArray:
    """Laser time of each layer, (n,) s: hatching by area, outlines by length, one jump per piece cut."""
    return _scan_seconds(profile, as_learnt(machine))


def as_learnt(machine: Machine) -> Machine:
    """The machine with its times multiplied by its learnt `time_factors`, which become 1."""
    fixed, recoat, hatch, outline = machine.time_factors
    return replace(
        machine,
        warm_up_min=machine.warm_up_min * fixed,
        end_min=machine.end_min * fixed,
        recoat_s=machine.recoat_s * recoat,
        hatch_speed_mm_s=machine.hatch_speed_mm_s / hatch,
        contour_speed_mm_s=machine.contour_speed_mm_s / outline,
        time_factors=(1.0, 1.0, 1.0, 1.0),
    )


def _scan_seconds(profile: LayerProfile, machine: Machine) -> FloatArray:
    hatch = profile.area_mm2 / (machine.hatch_spacing_mm * machine.hatch_speed_mm_s)
    outline = profile.contour_mm / machine.contour_speed_mm_s
    return np.asarray(hatch + outline + profile.outlines * machine.jump_s)


def _check(profile: LayerProfile, machine: Machine, extra_layers_mm: float) -> None:
    if not isclose(profile.layer_mm, machine.layer_mm, rel_tol=1e-6):
        raise InputError(
            f"the layers are {profile.layer_mm} mm, {machine.name} builds {machine.layer_mm} mm",
            remedy="slice for the machine that will build",
        )
    if extra_layers_mm < 0:
        raise InputError(f"extra powder of {extra_layers_mm} mm", remedy="base plus cover cannot be negative")
    speeds = (machine.hatch_spacing_mm, machine.hatch_speed_mm_s, machine.contour_speed_mm_s)
    if min(speeds) <= 0:
        raise CellError(
            f"hatch spacing, hatch speed, contour speed are {speeds}",
            remedy="each must be above zero",
            where=machine.name,
        )
