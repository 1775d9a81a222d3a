"""Exact moments of a surface: numbers that depend on the shape alone, not on its triangles or its place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.measure import triangle_areas

# exact for polynomials up to degree 4 on a triangle (Dunavant 1985: six points in two rings)
_RINGS = ((0.445948490915965, 0.223381589678011), (0.091576213509771, 0.109951743655322))
_AT = np.array([np.roll([1 - 2 * a, a, a], k) for a, _ in _RINGS for k in range(3)])
_WEIGHT = np.array([w for _, w in _RINGS for _ in range(3)])

_LEVI_CIVITA = np.zeros((3, 3, 3))
_LEVI_CIVITA[[0, 1, 2], [1, 2, 0], [2, 0, 1]] = 1.0
_LEVI_CIVITA[[0, 2, 1], [2, 1, 0], [1, 0, 2]] = -1.0


@dataclass(frozen=True, eq=False)
class SurfaceMoments:
    """Moments of the area about its own middle.

    `area_mm2`; `middle_mm` (3,); `second` (3, 3) mean of x x^T, mm²; `third` (3, 3, 3) mean of x x x, mm³;
    `fourth` (3, 3, 3, 3) mean of x x x x, mm⁴.
    """

    area_mm2: float
    middle_mm: FloatArray
    second: FloatArray
    third: FloatArray
    fourth: FloatArray

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
        """Four numbers that change sign in the mirror, (4,), dimensionless.

        With C the second moments, t_i = T_ijj and A_ij = T_ijk t_k:  det(t, C t, C C t);  t_i e_ijk (C A)_jk;
        e_lmk C_li (C C)_mj T_ijk;  e_ijk C_il T_jmn F_klmn with F the fourth moments. The first vanishes for any
        axis of symmetry, the second for two; the last also knows the hand of parts with a threefold axis, such as
        propellers. All vanish for parts equal to their mirror image; a fourfold or higher axis (helical gears)
        hides its hand from all of them.
        """
        c, t3 = self.second / self.length_mm**2, self.third / self.length_mm**3
        t = np.einsum("ijj->i", t3)
        ca = c @ np.einsum("ijk,k->ij", t3, t)
        axial = np.array([ca[1, 2] - ca[2, 1], ca[2, 0] - ca[0, 2], ca[0, 1] - ca[1, 0]])
        first = float(np.linalg.det(np.column_stack([t, c @ t, c @ c @ t])))
        third = float(np.einsum("lmk,li,mj,ijk->", _LEVI_CIVITA, c, c @ c, t3))
        f4 = self.fourth / self.length_mm**4
        last = float(np.einsum("ijk,il,jmn,klmn->", _LEVI_CIVITA, c, t3, f4, optimize=True))
        return np.array([first, float(t @ axial), third, last])


def surface_moments(mesh: Mesh) -> SurfaceMoments:
    """Moments up to fourth order by quadrature that is exact for flat triangles."""
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
    fourth = ((products * weight[:, None]).T @ products).reshape(3, 3, 3, 3)
    return SurfaceMoments(total, middle + mesh.box_mm.mean(axis=0), second, third, fourth)
