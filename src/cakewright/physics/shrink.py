"""Shrink that differs with the place in the chamber: learnt from ladders, applied to meshes, undone at the gauge.

measured / drawn = s0 + g · (p - centre) along each axis, p the middle of the measured length. Scale and offset
at one place are fitted in `quality`; here only the scale varies. Steinberger et al. (SFF, "Inhomogeneous
shrinkage ...", abstract read) compensate with factors that depend on the coordinates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.errors import InputError
from cakewright.model.build import Placement
from cakewright.model.mesh import FloatArray, Mesh

_LEAST = {1: 2, 4: 6}  # lengths per axis needed for one scale, and for a scale with three gradients


@dataclass(frozen=True, slots=True)
class Length:
    """One measured length: along axis 0, 1, 2 (chamber x, y, z) with its middle in chamber mm."""

    axis: int
    at_mm: tuple[float, float, float]
    drawn_mm: float
    measured_mm: float


@dataclass(frozen=True, eq=False)
class ShrinkField:
    """What is left of a drawn length: `scale` (3,) per axis at `centre_mm` (3,), `gradient` (3, 3) per mm.

    gradient[i, j] is the change of the scale along axis i per mm of chamber axis j. `error` (3,) is the
    spread of measured over drawn that remains.
    """

    centre_mm: FloatArray
    scale: FloatArray
    gradient: FloatArray
    error: FloatArray

    def scale_at(self, at_mm: Sequence[float] | FloatArray) -> FloatArray:
        """The three scales at a place, (3,)."""
        return np.asarray(self.scale + self.gradient @ (np.asarray(at_mm) - self.centre_mm))

    def drawn(self, wanted_mm: float, axis: int, at_mm: Sequence[float]) -> float:
        """Length to draw so that `wanted_mm` comes out there."""
        return float(wanted_mm / self.scale_at(at_mm)[axis])

    def cold(self, drawn_mm: float, axis: int, at_mm: Sequence[float]) -> float:
        """Length that a drawn one measures when cold: the inverse of `drawn`."""
        return float(drawn_mm * self.scale_at(at_mm)[axis])


def uniform(factor: tuple[float, float, float]) -> ShrinkField:
    """The same factor everywhere, as a cell file has it (1.03: drawn 3 % larger)."""
    if min(factor) <= 0:
        raise InputError(f"shrink factor {factor}", remedy="factors must be above zero")
    return ShrinkField(np.zeros(3), 1 / np.array(factor), np.zeros((3, 3)), np.zeros(3))


def fit_field(lengths: Sequence[Length], *, with_position: bool) -> ShrinkField:
    """Least squares of measured over drawn, weighted by length; with position: a plane over x, y, z for each axis.

    Needs two lengths per axis, six with position, at places that differ along every axis.
    """
    centre = np.mean([length.at_mm for length in lengths], axis=0) if lengths else np.zeros(3)
    scale, gradient, error = np.ones(3), np.zeros((3, 3)), np.zeros(3)
    terms = 4 if with_position else 1
    for axis in range(3):
        mine = [length for length in lengths if length.axis == axis]
        if len(mine) < _LEAST[terms]:
            raise InputError(
                f"{len(mine)} lengths along {'xyz'[axis]}", remedy=f"measure at least {_LEAST[terms]} along each axis"
            )
        drawn, measured = (np.array([getattr(m, k) for m in mine]) for k in ("drawn_mm", "measured_mm"))
        away = np.array([m.at_mm for m in mine]) - centre
        design = np.column_stack([np.ones(len(mine)), away])[:, :terms] * drawn[:, None]
        found, _, rank, _ = np.linalg.lstsq(design, measured, rcond=1e-10)
        if rank < terms:
            raise InputError(
                f"the lengths along {'xyz'[axis]} lie in one plane", remedy="spread them over the whole chamber"
            )
        scale[axis], gradient[axis, : terms - 1] = found[0], found[1:]
        rest = (measured - design @ found) / drawn
        error[axis] = np.sqrt((rest**2).sum() / max(len(mine) - terms, 1))
    return ShrinkField(centre, scale, gradient, error)


def drawn_for_build(mesh: Mesh, placement: Placement, field: ShrinkField) -> Mesh:
    """The placed mesh, drawn larger so that it is right when cold. Chamber coordinates.

    Every point moves away from the middle of the piece by the factors of that middle, so each piece stays
    true to itself and the gaps between pieces shrink a little: prove the clearance on the result.
    """
    placed = mesh.placed(placement.rotation, placement.translation)
    middle = placed.box_mm.mean(axis=0)
    return Mesh(middle + (placed.vertices - middle) / field.scale_at(middle), placed.faces)
