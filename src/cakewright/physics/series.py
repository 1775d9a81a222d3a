"""Closed forms of conduction: slabs, boxes, cylinders, half-spaces, and the slowly growing cake.

Symbols: Bi = h L / k, Fo = alpha t / L², L half thickness (m), theta = (T - T_room) / (T_start - T_room),
z_n the roots of z tan z = Bi. Sources: Incropera et al., Fundamentals of Heat and Mass Transfer, ch. 5;
Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, ch. II, III and section 1.15.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import erfc, erfcx, j0, j1, jn_zeros

from cakewright.errors import InputError
from cakewright.model.mesh import FloatArray
from cakewright.sources.physics import SERIES_TERMS


@lru_cache(maxsize=64)
def slab_roots(biot: float, terms: int = int(SERIES_TERMS.value)) -> FloatArray:
    """First `terms` roots of z tan z = Bi, (terms,); Bi = inf gives a fixed skin temperature."""
    if not biot >= 0:
        raise InputError(f"Biot number {biot}", remedy="it must be zero or above")
    n = np.arange(terms, dtype=np.float64)
    if np.isinf(biot):
        return _frozen((n + 0.5) * np.pi)
    low, high = n * np.pi, (n + 0.5) * np.pi
    for _ in range(60):  # halving: f = z sin z - Bi cos z changes sign once in each bracket
        middle = 0.5 * (low + high)
        sign = (middle * np.sin(middle) - biot * np.cos(middle)) * np.where(n % 2, -1.0, 1.0)
        low, high = np.where(sign < 0, middle, low), np.where(sign < 0, high, middle)
    return _frozen(0.5 * (low + high))


def _frozen(values: FloatArray) -> FloatArray:
    values.setflags(write=False)  # the cache hands the same array to everybody
    return values


def slab_coefficients(roots: FloatArray) -> FloatArray:
    """C_n = 4 sin z / (2 z + sin 2z) for the centre-symmetric slab, (terms,)."""
    z = np.where(roots == 0, 1.0, roots)
    return np.asarray(np.where(roots == 0, 1.0, 4 * np.sin(z) / (2 * z + np.sin(2 * z))))


def slab(biot: float, fourier: ArrayLike, at: float = 0.0) -> FloatArray:
    """theta at `at` = x / L (0 centre, 1 skin) for each Fourier number; shape of `fourier`."""
    z = slab_roots(biot)
    return _sum(slab_coefficients(z) * np.cos(z * at), z, fourier)


def slab_mean(biot: float, fourier: ArrayLike) -> FloatArray:
    """Mean theta over the slab; shape of `fourier`."""
    z = slab_roots(biot)
    shape = np.where(z == 0, 1.0, np.sin(z) / np.where(z == 0, 1.0, z))
    return _sum(slab_coefficients(z) * shape, z, fourier)


def _sum(weights: FloatArray, roots: FloatArray, fourier: ArrayLike) -> FloatArray:
    fo = np.asarray(fourier, dtype=np.float64)
    if (fo < 0).any():
        raise InputError("a Fourier number below zero", remedy="time cannot be negative")
    value = np.asarray(np.exp(-(roots**2) * fo[..., None]) @ weights)
    return np.where(fo == 0, 1.0, value)


def cylinder_first_term(biot: float) -> tuple[float, float]:
    """z1 and C1 of the infinite cylinder: z J1(z) = Bi J0(z)."""
    z = float(brentq(lambda x: x * j1(x) - biot * j0(x), 1e-9, float(jn_zeros(0, 1)[0]), xtol=1e-13))
    return z, float(2 * j1(z) / (z * (j0(z) ** 2 + j1(z) ** 2)))


def box(
    sides_m: tuple[float, float, float],
    seconds: ArrayLike,
    *,
    conductivity_w_mk: float,
    diffusivity_m2s: float,
    surface_w_m2k: float,
    at: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> FloatArray:
    """theta in a box that starts hot and cools through all six faces.

    `at` is the place as a fraction of the half side, each -1..1. For an insulated face give the side
    its double length and measure `at` from that face.
    """
    t = np.asarray(seconds, dtype=np.float64)
    theta = np.ones_like(t)
    for side, where in zip(sides_m, at, strict=True):
        half = side / 2
        theta = theta * slab(surface_w_m2k * half / conductivity_w_mk, diffusivity_m2s * t / half**2, abs(where))
    return theta


def box_mean(
    sides_m: tuple[float, float, float],
    seconds: ArrayLike,
    *,
    conductivity_w_mk: float,
    diffusivity_m2s: float,
    surface_w_m2k: float,
) -> FloatArray:
    """Mean theta of the same box."""
    t = np.asarray(seconds, dtype=np.float64)
    theta = np.ones_like(t)
    for side in sides_m:
        half = side / 2
        theta = theta * slab_mean(surface_w_m2k * half / conductivity_w_mk, diffusivity_m2s * t / half**2)
    return theta


def box_centre_seconds(
    sides_m: tuple[float, float, float],
    theta: float,
    *,
    conductivity_w_mk: float,
    diffusivity_m2s: float,
    surface_w_m2k: float,
) -> float:
    """Seconds until the centre of the box has fallen to `theta` (0 < theta < 1)."""
    if not 0 < theta < 1:
        raise InputError(f"theta {theta}", remedy="the target must lie between room and start temperature")

    def above(t: float) -> float:
        return (
            float(
                box(
                    sides_m,
                    t,
                    conductivity_w_mk=conductivity_w_mk,
                    diffusivity_m2s=diffusivity_m2s,
                    surface_w_m2k=surface_w_m2k,
                )
            )
            - theta
        )

    late = min(sides_m) ** 2 / diffusivity_m2s * 1e-3
    while above(late) > 0:
        late *= 2
    return float(brentq(above, late * 1e-3, late, rtol=1e-10))


def half_space(
    depth_m: float,
    seconds: ArrayLike,
    *,
    conductivity_w_mk: float,
    diffusivity_m2s: float,
    surface_w_m2k: float = float("inf"),
) -> FloatArray:
    """theta at a depth below one cooled face of a very thick body (Carslaw & Jaeger 2.4, 2.7)."""
    t = np.asarray(seconds, dtype=np.float64)
    root = np.sqrt(diffusivity_m2s * t)
    x = depth_m / (2 * root)
    fixed = erfc(x)
    if np.isinf(surface_w_m2k):
        return np.asarray(1 - fixed)
    # exp(a) erfc(b) with a = hx/k + h² alpha t/k², b² - a = x²: written with erfcx so that nothing overflows
    b = x + surface_w_m2k * root / conductivity_w_mk
    return np.asarray(1 - fixed + np.exp(-(x**2)) * erfcx(b))


def growing_cake(below_m: ArrayLike, *, speed_m_s: float, diffusivity_m2s: float, loss_per_s: float) -> FloatArray:
    """Steady theta below the hot surface of a cake fed downwards at `speed_m_s`, losing heat sideways.

    Solves a T'' - v T' - m (T - T_room) = 0 for the area-averaged cake, m = h P / (rho cp A) in 1/s
    (a fin, so the core of a real cake is hotter). Source: fin equation with feed, Carslaw & Jaeger ch. IV.
    """
    z = np.asarray(below_m, dtype=np.float64)
    v = speed_m_s
    rate = (v - np.sqrt(v**2 + 4 * diffusivity_m2s * loss_per_s)) / (2 * diffusivity_m2s)
    return np.asarray(np.exp(z * rate))
