"""Shrink and offset: what the machine makes of a drawn length, and when to change its scale.

measured = s x drawn + 2 d: s is the scale that is left, d the growth of each face (spot size). Both are
needed: a scale taken from short features alone carries the offset into every long part. Senthilkumaran,
Pandey, Rao (2009) and Steinberger et al. describe shrinkage that depends on place and exposure, so a
uniform scale is a compromise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from cakewright.errors import InputError
from cakewright.quality.fit import fit_powers
from cakewright.quality.spc import Chart, individuals, signals
from cakewright.sources.quality import SHRINK_GAIN


@dataclass(frozen=True, slots=True)
class AxisFit:
    """Scale and offset of one axis with standard errors; offset is 2 d, both faces together, mm."""

    scale: float
    offset_mm: float
    scale_error: float
    offset_error_mm: float

    @property
    def factor(self) -> float:
        """By what a length is to be drawn larger."""
        return 1.0 / self.scale

    def drawn(self, wanted_mm: float, *, is_hole: bool = False) -> float:
        """Length to draw so that the wanted one comes out; in a hole the faces grow inward."""
        return (wanted_mm + (self.offset_mm if is_hole else -self.offset_mm)) / self.scale

    def made(self, drawn_mm: float, *, is_hole: bool = False) -> float:
        """Length that comes out of a drawn one."""
        return self.scale * drawn_mm + (-self.offset_mm if is_hole else self.offset_mm)


def fit_axis(drawn_mm: Sequence[float], measured_mm: Sequence[float]) -> AxisFit:
    """Scale and offset from short and long outside lengths along one axis (three or more)."""
    fit = fit_powers(drawn_mm, measured_mm, (0, 1))
    if not 0.5 < fit.coefficients[1] < 1.5:
        raise InputError(
            f"a scale of {fit.coefficients[1]:.3f}", remedy="drawn and measured lengths do not belong together"
        )
    return AxisFit(float(fit.coefficients[1]), float(fit.coefficients[0]), float(fit.errors[1]), float(fit.errors[0]))


@dataclass(frozen=True, slots=True)
class Measured:
    """One measured ladder: scale of the axis, and the group it belongs to (all of these must be alike)."""

    build: str
    scale: float
    machine: str
    material: str
    blend_class: str
    opened_cold: bool


@dataclass(frozen=True, slots=True)
class ScaleProposal:
    """A change to be approved by a person, effective from a build; None in `new_factor` means leave it.

    `effect_mm` is what a part of 100 mm will measure more (or less) after the change.
    """

    axis: str
    old_factor: float
    new_factor: float | None
    reason: str
    effect_mm: float = 0.0
    evidence: tuple[str, ...] = field(default=())


def propose_scale(
    axis: str, history: Sequence[Measured], *, old_factor: float, target: float = 1.0, gain: float = SHRINK_GAIN.value
) -> ScaleProposal:
    """Propose a new scale factor only when a chart rule fires and the group is not mixed.

    The scale is measured against the wanted size (1 = right). The builds on the signal's side of the target
    without a break up to it, and those after it, decide:
    new = old x (1 + gain x (target / mean - 1)). Cakes opened hot never count.
    """
    cold = [m for m in history if m.opened_cold]
    mixed = _what_is_mixed(cold)
    if mixed:
        return ScaleProposal(axis, old_factor, None, f"the group is mixed ({mixed}): split it first")
    if len(cold) < 8:
        return ScaleProposal(
            axis, old_factor, None, f"{len(cold)} cold-opened builds: too few to tell drift from noise"
        )
    chart = individuals([m.scale for m in cold])
    fired = signals(_about(chart, target))
    recent = [s for s in fired if s.index >= len(cold) - 3]
    if not recent:
        return ScaleProposal(axis, old_factor, None, "no rule fires: what is seen is noise")
    tail = cold[_same_side(cold, recent[-1].index, target) :]
    mean = sum(m.scale for m in tail) / len(tail)
    new = old_factor * (1.0 + gain * (target / mean - 1.0))
    return ScaleProposal(
        axis,
        old_factor,
        new,
        f"{recent[-1].rule}; mean of the last {len(tail)} builds is {mean:.5f} of the wanted size",
        100.0 * (new / old_factor - 1.0),
        tuple(m.build for m in tail),
    )


def _same_side(history: Sequence[Measured], signal: int, target: float) -> int:
    """First build of the unbroken run, up to the signal, on the signal's side of the target."""
    side = history[signal].scale > target
    start = signal
    while start > 0 and history[start - 1].scale != target and (history[start - 1].scale > target) == side:
        start -= 1
    return start


def _about(chart: Chart, target: float) -> Chart:
    """The chart's spread around the target instead of around its own mean: drift from what is wanted."""
    half = (chart.high - chart.low) / 2.0
    return Chart(chart.name, chart.points, target, target - half, target + half, chart.sigma)


def _what_is_mixed(history: Sequence[Measured]) -> str:
    kinds = {
        "machines": {m.machine for m in history},
        "materials": {m.material for m in history},
        "blend classes": {m.blend_class for m in history},
    }
    return ", ".join(f"{name} {' and '.join(sorted(found))}" for name, found in kinds.items() if len(found) > 1)
