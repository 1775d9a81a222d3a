"""From measured lengths to the next scale and offset of a machine: what was drawn is asked of the plan, then undone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.app.build_files import drawing_for
from cakewright.errors import InputError
from cakewright.formats.lengths_csv import WantedLength
from cakewright.model.mesh import FloatArray
from cakewright.model.plan import WeekPlan
from cakewright.physics.drawing import Drawing
from cakewright.physics.shrink import Length, ShrinkField, fit_field
from cakewright.quality.calibrate import AxisFit, fit_axis

_LEAST_PLACES = 6


@dataclass(frozen=True, slots=True)
class AxisProposal:
    """What the machine makes along one axis and what to draw next: `scale` and `offset_mm` for the cell file.

    `left_mm`: what the lengths would still be off by with them (largest, outside lengths and holes).
    """

    axis: str
    fit: AxisFit
    lengths: int
    old_scale: float
    old_offset_mm: float
    scale: float
    offset_mm: float
    left_mm: float


@dataclass(frozen=True, slots=True)
class ShrinkProposal:
    """One proposal for each axis that was measured; `by_place` says what a scale by place would win, when told."""

    machine: str
    axes: tuple[AxisProposal, ...]
    by_place: str = ""


def propose_shrink(plan: WeekPlan, key: str, lengths: Sequence[WantedLength]) -> ShrinkProposal:
    """Fit scale and offset per axis from lengths measured on pieces of one build.

    Wanted lengths are turned into drawn ones with the scale and offset that the build file had. Outside
    lengths are fitted (three or more along an axis, short and long); holes only test the result. InputError
    for a build that the plan does not have, or too few lengths. Nothing is changed: a person decides.
    """
    builds = {build.key: build for build in plan.builds}
    if key not in builds:
        raise InputError(f"plan {plan.version} has no build {key!r}", remedy=f"use one of: {', '.join(builds)}")
    drawing = drawing_for(plan, builds[key])
    axes = sorted({length.axis for length in lengths})
    found = tuple(_axis(axis, [m for m in lengths if m.axis == axis], drawing) for axis in axes)
    return ShrinkProposal(builds[key].machine, found, _by_place(lengths, drawing))


def _axis(axis: int, lengths: Sequence[WantedLength], drawing: Drawing) -> AxisProposal:
    drawn = [drawing.drawn(m.wanted_mm, axis, is_hole=m.is_hole, at_mm=m.at_mm) for m in lengths]
    outside = [(d, m.measured_mm) for d, m in zip(drawn, lengths, strict=True) if not m.is_hole]
    if len({round(d, 3) for d, _ in outside}) < 3:
        raise InputError(
            f"{len(outside)} outside lengths along {'xyz'[axis]}", remedy="measure three or more, short and long ones"
        )
    fit = fit_axis([d for d, _ in outside], [m for _, m in outside])
    scale, offset = fit.factor, -fit.offset_mm / 2
    gaps = [m.measured_mm - fit.made(d, is_hole=m.is_hole) for d, m in zip(drawn, lengths, strict=True)]
    return AxisProposal(
        "xyz"[axis], fit, len(lengths), drawing.scale[axis], drawing.offset_mm[axis], scale, offset, max(gaps, key=abs)
    )


def _by_place(lengths: Sequence[WantedLength], drawing: Drawing) -> str:
    """What remains with one scale and with a scale by place, in words; '' without enough places."""
    placed = [
        Length(m.axis, m.at_mm, drawing.drawn(m.wanted_mm, m.axis, at_mm=m.at_mm), m.measured_mm)
        for m in lengths
        if m.at_mm is not None and not m.is_hole
    ]
    counts = [sum(p.axis == axis for p in placed) for axis in range(3)]
    if min(counts) < _LEAST_PLACES:
        return ""
    one, many = (fit_field(placed, with_position=by) for by in (False, True))
    said = ", ".join(
        f"{a} {100 * e:.2f} to {100 * p:.2f} %" for a, e, p in zip("xyz", one.error, many.error, strict=True)
    )
    rows = ", ".join("[" + ", ".join(f"{v:.2e}" for v in row) + "]" for row in _slopes(many))
    return (
        f"a scale that changes with the place would bring the spread down from {said}; for the cell file: "
        f"export_by_place = [{rows}]"
    )


def _slopes(field: ShrinkField) -> FloatArray:
    """Change of the export scale 1 / s for each mm: -g / s², (3, 3)."""
    return np.asarray(-field.gradient / field.scale[:, None] ** 2)
