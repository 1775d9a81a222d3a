"""Exact moments of a surface: numbers that depend on the shape alone, not on its triangles or its place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.measure import triangle_areas

# exact for polynomials up to degree 3 on a triangle (Strang and Fix 1973: middle and three points at 3/5, 1/5, 1/5)
_AT = np.array([[1 / 3, 1 / 3, 1 / 3], [0.6, 0.2, 0.2], [0.2, 0.6, 0.2], [0.2, 0.2, 0.6]])
_WEIGHT = np.array([-27 / 48, 25 / 48, 25 / 48, 25 / 48])

_LEVI_CIVITA = np.zeros((3, 3, 3))
_LEVI_CIVITA[[0, 1, 2], [1, 2, 0], [2, 0, 1]] = 1.0
_LEVI_CIVITA[[0, 2, 1], [2, 1, 0], [1, 0, 2]] = -1.0


@dataclass(frozen=True, eq=False)
class SurfaceMoments:
    """Moments of the area about its own middle.

    `area_mm2`; `middle_mm` (3,); `second` (3, 3) mean of x x^T, mm²; `third` (3, 3, 3) mean of x x x, mm³.
    """

    area_mm2: float
    middle_mm: FloatArray
    second: FloatArray
    third: FloatArray

    @property
    def length_mm(self) -> float:
        """Root of the mean squared distance from the middle: the scale of the shape."""
        return float(np.sqrt(np.trace(self.second)))

    @property
    def spreads(self) -> FloatArray:
        """Square roots of the principal second moments, largest first, (3,) mm."""
        return np.asarray(np.sqrt(np.maximum(np.linalg.eigvalsh(self.second)[::-1], 0)))

    @property
    def skew(self) -> FloatArray:
        """Three invariants of the third moments, made dimensionless, (3,): lopsidedness of the shape.

        |T|, |t| with t_i = T_ijj, and t . C t, each scaled by the length of the shape.
        """
        c, t3 = self.second / self.length_mm**2, self.third / self.length_mm**3
        t = np.einsum("ijj->i", t3)
        return np.array([np.sqrt((t3**2).sum()), np.linalg.norm(t), t @ c @ t])

    @property
    def hands(self) -> FloatArray:
        """Three numbers that change sign in the mirror, (3,), dimensionless.

        With C the second moments, t_i = T_ijj and A_ij = T_ijk t_k:  det(t, C t, C C t);  t_i e_ijk (C A)_jk;
        e_lmk C_li (C C)_mj T_ijk. The first vanishes for any axis of symmetry, the second for two, so that
        together they know the hand of most machine parts; all vanish for parts equal to their mirror image.
        Parts with a threefold or higher axis (propellers, helical gears) need more than third moments.
        """
        c, t3 = self.second / self.length_mm**2, self.third / self.length_mm**3
        t = np.einsum("ijj->i", t3)
        ca = c @ np.einsum("ijk,k->ij", t3, t)
        axial = np.array([ca[1, 2] - ca[2, 1], ca[2, 0] - ca[0, 2], ca[0, 1] - ca[1, 0]])
        first = float(np.linalg.det(np.column_stack([t, c @ t, c @ c @ t])))
        third = float(np.einsum("lmk,li,mj,ijk->", _LEVI_CIVITA, c, c @ c, t3))
        return np.array([first, float(t @ axial), third])


def surface_moments(mesh: Mesh) -> SurfaceMoments:
    """Moments up to third order by quadrature that is exact for flat triangles."""
    corners = mesh.triangles - mesh.box_mm.mean(axis=0)
    area = triangle_areas(mesh)
    total = float(area.sum())
    share = area / total
    middle = share @ corners.mean(axis=1)
    points = np.einsum("qk,mki->qmi", _AT, corners - middle).reshape(-1, 3)
    weight = (_WEIGHT[:, None] * share).ravel()
    weighted = points * weight[:, None]
    second = weighted.T @ points
    products = (points[:, :, None] * points[:, None, :]).reshape(-1, 9)
    third = (weighted.T @ products).reshape(3, 3, 3)
    return SurfaceMoments(total, middle + mesh.box_mm.mean(axis=0), second, third)
